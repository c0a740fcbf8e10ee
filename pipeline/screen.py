"""Screening: the texts of files become typed rows for the stage, with the findings about their cells.

What a whole row or several rows mean together is decided later, over the stage (pipeline/ledger/*.sql).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from zlib import crc32

import polars as pl

from pipeline.read import BEYOND_HEADER, RawTable
from schemas.check import PLACE, check
from schemas.contract import contract


@dataclass(frozen=True)
class Screened:
    """Screened files of one table. `frame`: one row per row that is not blank (line, file, and see
    schemas.check.Checked); `findings`: one row per faulty cell (line, file, row, column_name, rule, value, level).
    """

    raws: tuple[RawTable, ...]
    frame: pl.DataFrame
    findings: pl.DataFrame


def file_part(file: str) -> int:
    """By which number do the lines of this file begin? The same whatever was loaded before it."""
    return crc32(file.encode())


def _line(file: str) -> pl.Expr:
    """What is a row called within the ledger? Its file's number, then its own."""
    return pl.lit(file_part(file) << 32, dtype=pl.UInt64) + pl.col("row").cast(pl.UInt64)


def screen(raws: Sequence[RawTable]) -> Screened:
    """Which cells of these files of one table can be used, and what is wrong with the others?

    The files are judged together: a column repeats itself from file to file, and each text is judged once.
    """
    named = [
        raw.frame.with_columns(pl.lit(raw.source.name).alias("file"), _line(raw.source.name).alias("line"))
        for raw in raws
    ]
    texts = pl.concat(named, how="diagonal")
    checked = check(texts, contract(raws[0].source.table))
    if BEYOND_HEADER not in texts.columns:
        return Screened(tuple(raws), checked.frame, checked.findings)
    ragged = pl.col(BEYOND_HEADER).is_not_null()
    longer = texts.filter(ragged).select(
        *(name for name in PLACE if name in checked.findings.columns),
        pl.lit("").alias("column_name"),
        pl.lit("ragged").alias("rule"),
        pl.col(BEYOND_HEADER).alias("value"),
        pl.lit("set_aside").alias("level"),
    )
    # Cells after a stray comma stand in the wrong columns, so no cell of such a row can be trusted or judged.
    faulty = texts.select(ragged.alias("longer")).to_series()
    frame = checked.frame.with_columns(pl.col("faulty") | faulty)
    findings = checked.findings.join(longer, on=["file", "row"], how="anti")
    return Screened(tuple(raws), frame, pl.concat([findings, longer]))
