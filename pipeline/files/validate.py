"""Screening: the texts of files become typed rows for the stage, with the findings about their cells.

What a whole row or several rows mean together is decided later, over the stage (pipeline/ledger/*.sql).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from zlib import crc32

import polars as pl

from pipeline.farm.conventions import Conventions
from pipeline.farm.units import conversion
from pipeline.files.read import RawTable
from pipeline.files.wide import BEYOND_HEADER
from schemas.cell_format import CellFormat
from schemas.check import check
from schemas.contract import contract


@dataclass(frozen=True)
class ValidatedRows:
    """Validated files of one table. `frame`: one row per row that is not blank (line, and see schemas.check.Checked);
    `findings`: one row per faulty cell (line, file, row, column_name, rule, value, level). `more`: whether rows of the
    same file follow in another of these.
    """

    raws: tuple[RawTable, ...]
    frame: pl.DataFrame
    findings: pl.DataFrame
    more: bool = False


def file_part(table: str, file: str) -> int:
    """Return the number by which the lines of this file's rows of this table begin: the same whatever was loaded before
    it.
    """
    return crc32(f"{table}:{file}".encode())


def _with_line(raw: RawTable) -> pl.DataFrame:
    """The number of a row within the ledger. Its file's number, then its own; both follow from it."""
    part = file_part(raw.source.table, raw.source.name)
    line = pl.lit(part << 32, dtype=pl.UInt64) + pl.col("row").cast(pl.UInt64)
    return raw.frame.with_columns(line.alias("line")).drop("row")


def validate(raws: Sequence[RawTable], conventions: Conventions = Conventions()) -> ValidatedRows:  # noqa: B008  (frozen)
    """Return the rows of these files of one table with the cells that can be used, and what is wrong with the others.

    The files are judged together: a column repeats itself from file to file, and each text is judged once. Only files
    with the same units are: a text means the same in all of them.
    """
    by_units: dict[object, list[RawTable]] = {}
    for raw in raws:
        was = conventions.written.get(raw.source.name)
        marks = (was.decimal_mark, was.thousands_mark, was.date_order) if was else None
        by_units.setdefault((tuple(sorted(raw.units.items())), marks), []).append(raw)
    parts = [_validate_alike(alike, conventions) for alike in by_units.values()]
    frame, findings = (pl.concat(each) for each in zip(*parts, strict=True))
    return ValidatedRows(tuple(raws), frame, _with_place(raws, findings))


def _cell_format(raw: RawTable, conventions: Conventions) -> CellFormat:
    """How the cells of this file are written."""
    table = contract(raw.source.table)
    units = {name: (unit, table.field(name).unit or unit) for name, unit in raw.units.items()}
    own = conventions.of_file(raw.source.name).cell_format
    return replace(own, conversions={name: conversion(*pair) for name, pair in units.items()})


def _validate_alike(raws: Sequence[RawTable], conventions: Conventions) -> tuple[pl.DataFrame, pl.DataFrame]:
    """As validate, for files that are written in the same units."""
    texts = pl.concat([_with_line(raw) for raw in raws], how="diagonal")
    checked = check(texts, contract(raws[0].source.table), _cell_format(raws[0], conventions))
    frame, findings = checked.frame, checked.findings
    for rows in (_longer_rows(texts), _totals(raws)):
        # No cell of such a row can be trusted or judged.
        if not rows.is_empty():
            frame = frame.with_columns(pl.col("faulty") | pl.col("line").is_in(rows["line"].to_list()))
            findings = pl.concat([findings.join(rows, on="line", how="anti"), rows])
    return frame, findings


def _row_findings(lines: pl.DataFrame, rule: str) -> pl.DataFrame:
    """Findings on whole rows (line, value)."""
    return lines.select(
        "line",
        pl.lit("").alias("column_name"),
        pl.lit(rule).alias("rule"),
        "value",
        pl.lit("set_aside").alias("level"),
    )


def _longer_rows(texts: pl.DataFrame) -> pl.DataFrame:
    """The rows that have cells beyond the header. After a stray comma their cells stand in the wrong columns."""
    if BEYOND_HEADER not in texts.columns:
        return pl.DataFrame(schema={"line": pl.UInt64})
    longer = texts.filter(pl.col(BEYOND_HEADER).is_not_null())
    return _row_findings(longer.select("line", pl.col(BEYOND_HEADER).alias("value")), "ragged")


def _totals(raws: Sequence[RawTable]) -> pl.DataFrame:
    """The rows that sum up the others."""
    lines = [(file_part(raw.source.table, raw.source.name) << 32) + row for raw in raws for row in raw.totals_rows]
    frame = pl.DataFrame({"line": lines}, schema={"line": pl.UInt64})
    return _row_findings(frame.with_columns(pl.lit(None, dtype=pl.String).alias("value")), "totals_row")


def _with_place(raws: Sequence[RawTable], findings: pl.DataFrame) -> pl.DataFrame:
    """The findings with their file and row."""
    parts = {file_part(raw.source.table, raw.source.name): raw.source.name for raw in raws}
    part, row = pl.col("line") // (1 << 32), pl.col("line") % (1 << 32)
    file = part.replace_strict(list(parts), list(parts.values()), return_dtype=pl.String)
    return findings.with_columns(file.alias("file"), row.cast(pl.Int32).alias("row"))
