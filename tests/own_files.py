"""Reads files in a farm's own manner, for the tests of real files, workbooks and own headings."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import openpyxl
import polars as pl
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.farm.conventions import Conventions, read_conventions
from pipeline.farm.folder import TableFile
from pipeline.farm.settings import read_settings
from pipeline.files.read import RawTable, read_table
from pipeline.files.validate import ValidatedRows, validate
from schemas.contract import contract
from schemas.finding import DataNeedAttention
from schemas.finding import finding as make_finding

HEADER = ("picked_on", "fresh_weight_g", "container")


def conventions(**settings: Any) -> Conventions:
    """What farm.toml says when it says just this."""
    return read_conventions(read_settings(settings)[0])


def load(
    data: str | bytes,
    own: Conventions | None = None,
    name: str = "harvests.csv",
    table: str = "harvests",
    sheet: str | None = None,
    beside: Sequence[str] = (),
) -> tuple[RawTable, ValidatedRows]:
    """The file as read and as screened."""
    raw_bytes = data.encode() if isinstance(data, str) else data
    own = own or Conventions()
    raw = read_table(TableFile(table, name, Path(name), sheet, tuple(beside)), raw_bytes, own)
    return raw, validate([raw], own)


def values(validated: ValidatedRows, *columns: str) -> list[tuple[Any, ...]]:
    """The rows' numbers in the spreadsheet and these columns' values."""
    row = (pl.col("line") % (1 << 32)).alias("row")
    return validated.frame.select(row, *columns).rows()


def told(raw: RawTable, validated: ValidatedRows) -> list[str]:
    """What is said of the file and its cells, in the grower's words."""
    table = contract(raw.source.table)
    names = ("row", "column_name", "rule", "level", "value")
    cells = validated.findings.sort("row").select(names).rows()
    return [each.sentence() for each in raw.notices] + [
        make_finding(table, raw.source.name, *cell).sentence() for cell in cells
    ]


def rules(validated: ValidatedRows) -> list[tuple[Any, ...]]:
    """What is found in the cells: row, column, rule, level."""
    return validated.findings.select("row", "column_name", "rule", "level").sort("row", "column_name").rows()


def refusal(data: str | bytes, *more: Any, **told_more: Any) -> str:
    """Why is the file refused?"""
    try:
        load(data, *more, **told_more)
    except DataNeedAttention as problem:
        return str(problem)
    raise AssertionError("the file was read")


def workbook(*rows: Sequence[object], fill: Callable[[Worksheet], None] | None = None, header: bool = True) -> bytes:
    """A workbook of one sheet with these rows below the header of harvests."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert isinstance(sheet, Worksheet)
    for row in [HEADER, *rows] if header else rows:
        sheet.append(list(row))
    if fill:
        fill(sheet)
    return saved(book)


def saved(book: openpyxl.Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def repacked(data: bytes, added: dict[str, bytes] | None = None, **parts: bytes | None) -> bytes:
    """The workbook with some of its parts (by their names' last part, with _ for the dot) changed, dropped or added."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for each in old.namelist():
            content = parts.get(each.rpartition("/")[2].replace(".", "_"), old.read(each))
            if content is not None:
                new.writestr(each, content)
        for name, content in (added or {}).items():
            new.writestr(name, content)
    return out.getvalue()
