"""Screening: the texts of files become typed rows for the stage, with the findings about their cells.

What a whole row or several rows mean together is decided later, over the stage (pipeline/ledger/*.sql).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.read import BEYOND_HEADER, RawTable
from schemas.check import check
from schemas.contract import contract


@dataclass(frozen=True)
class Screened:
    """Screened files of one table. `frame`: one row per row that is not blank (file, and see schemas.check.Checked);
    `findings`: one row per faulty cell (file, row, column_name, rule, value, level).
    """

    raws: tuple[RawTable, ...]
    frame: pl.DataFrame
    findings: pl.DataFrame


def screen(raws: Sequence[RawTable]) -> Screened:
    """Which cells of these files of one table can be used, and what is wrong with the others?

    The files are judged together: a column repeats itself from file to file, and each text is judged once.
    """
    named = [raw.frame.insert_column(0, pl.lit(raw.source.name).alias("file")) for raw in raws]
    texts = pl.concat(named, how="diagonal")
    checked = check(texts, contract(raws[0].source.table))
    if BEYOND_HEADER not in texts.columns:
        return Screened(tuple(raws), checked.frame, checked.findings)
    ragged = pl.col(BEYOND_HEADER).is_not_null()
    longer = texts.filter(ragged).select(
        "file",
        "row",
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
