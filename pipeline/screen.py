"""Screening: the texts of a file become typed rows for the stage, with the findings about their cells.

What a whole row or several rows mean together is decided later, over the stage (pipeline/ledger/*.sql).
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipeline.read import BEYOND_HEADER, RawTable
from schemas.check import FINDING_COLUMNS, check
from schemas.contract import contract


@dataclass(frozen=True)
class Screened:
    """A screened file. `frame`: one row per row that is not blank (see schemas.check.Checked); `findings`: one row
    per faulty cell (row, column_name, rule, value, level).
    """

    raw: RawTable
    frame: pl.DataFrame
    findings: pl.DataFrame


def screen(raw: RawTable) -> Screened:
    """Which cells of this file can be used, and what is wrong with the others?"""
    checked = check(raw.frame, contract(raw.source.table))
    if BEYOND_HEADER not in raw.frame.columns:
        return Screened(raw, checked.frame, checked.findings)
    ragged = pl.col(BEYOND_HEADER).is_not_null()
    longer = raw.frame.filter(ragged).select(
        "row",
        pl.lit("").alias("column_name"),
        pl.lit("ragged").alias("rule"),
        pl.col(BEYOND_HEADER).alias("value"),
        pl.lit("set_aside").alias("level"),
    )
    # Cells after a stray comma stand in the wrong columns, so no cell of such a row can be trusted.
    faulty = raw.frame.select(ragged.alias("longer")).to_series()
    frame = checked.frame.with_columns(pl.col("faulty") | faulty)
    findings = pl.concat([checked.findings, longer.cast(FINDING_COLUMNS)])  # type: ignore[arg-type]
    return Screened(raw, frame, findings)
