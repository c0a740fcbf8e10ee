"""Screening: the texts of files become typed rows for the stage, with the findings about their cells.

What a whole row or several rows mean together is decided later, over the stage (pipeline/ledger/*.sql).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from zlib import crc32

import polars as pl

from pipeline.read import BEYOND_HEADER, RawTable
from schemas.check import check
from schemas.contract import contract


@dataclass(frozen=True)
class Screened:
    """Screened files of one table. `frame`: one row per row that is not blank (line, and see schemas.check.Checked); `findings`: one row per faulty cell (line, file, row, column_name, rule, value, level)."""

    raws: tuple[RawTable, ...]
    frame: pl.DataFrame
    findings: pl.DataFrame


def file_part(table: str, file: str) -> int:
    """By which number do the lines of this file's rows of this table begin? The same whatever was loaded before it."""
    return crc32(f"{table}:{file}".encode())


def _with_line(raw: RawTable) -> pl.DataFrame:
    """What is a row called within the ledger? Its file's number, then its own; both can be told from it."""
    part = file_part(raw.source.table, raw.source.name)
    line = pl.lit(part << 32, dtype=pl.UInt64) + pl.col("row").cast(pl.UInt64)
    return raw.frame.with_columns(line.alias("line")).drop("row")


def screen(raws: Sequence[RawTable]) -> Screened:
    """Which cells of these files of one table can be used, and what is wrong with the others?

    The files are judged together: a column repeats itself from file to file, and each text is judged once.
    """
    texts = pl.concat([_with_line(raw) for raw in raws], how="diagonal")
    checked = check(texts, contract(raws[0].source.table))
    frame, findings = checked.frame, checked.findings
    if BEYOND_HEADER in texts.columns:
        ragged = pl.col(BEYOND_HEADER).is_not_null()
        longer = texts.filter(ragged).select(
            "line",
            pl.lit("").alias("column_name"),
            pl.lit("ragged").alias("rule"),
            pl.col(BEYOND_HEADER).alias("value"),
            pl.lit("set_aside").alias("level"),
        )
        # Cells after a stray comma stand in the wrong columns, so no cell of such a row can be trusted or judged.
        faulty = texts.select(ragged.alias("longer")).to_series()
        frame = frame.with_columns(pl.col("faulty") | faulty)
        findings = pl.concat([findings.join(longer, on="line", how="anti"), longer])
    return Screened(tuple(raws), frame, _with_place(raws, findings))


def _with_place(raws: Sequence[RawTable], findings: pl.DataFrame) -> pl.DataFrame:
    """In which file and row stands what is found?"""
    parts = {file_part(raw.source.table, raw.source.name): raw.source.name for raw in raws}
    part, row = pl.col("line") // (1 << 32), pl.col("line") % (1 << 32)
    file = part.replace_strict(list(parts), list(parts.values()), return_dtype=pl.String)
    return findings.with_columns(file.alias("file"), row.cast(pl.Int32).alias("row"))
