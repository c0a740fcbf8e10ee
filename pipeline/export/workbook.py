"""All tables in one workbook: a sheet each, with real dates and numbers. No text of a cell runs as a formula."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.export.table import Cell, ExportTable
from pipeline.files.replace import replacing
from schemas.exported import COLUMNS_HEADER, COLUMNS_SHEET, heading_of
from schemas.finding import OutOfReach

if TYPE_CHECKING:
    from xlsxwriter.format import Format  # type: ignore[import-untyped]
    from xlsxwriter.workbook import Workbook  # type: ignore[import-untyped]
    from xlsxwriter.worksheet import Worksheet  # type: ignore[import-untyped]

# What a sheet of this kind holds at most: rows with the heading, and letters in a cell; and its first day.
MOST_ROWS, MOST_LETTERS, FIRST_DAY = 1_048_576, 32_767, date(1900, 1, 1)
# Nothing that looks like a formula, an address or a number is made one: a text stays the text that it is.
AS_TEXT = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
WIDTH = 16


def write_workbook(path: Path, tables: Sequence[ExportTable]) -> None:
    """Write one sheet a table, and one that tells what their columns mean: whole or not at all.

    Raises OutOfReach, before anything is written, for a table or a text that no sheet holds.
    """
    import xlsxwriter  # type: ignore[import-untyped]

    for each in tables:
        _refuse_too_much(each)
    with replacing(path) as out, xlsxwriter.Workbook(out, {**AS_TEXT, "constant_memory": True}) as book:
        formats = _formats(book)
        _write_rows(book.add_worksheet(COLUMNS_SHEET), COLUMNS_HEADER, _meanings(tables), formats)
        for each in tables:
            _write_rows(
                book.add_worksheet(each.name), [heading_of(column) for column in each.columns], each.rows, formats
            )


def _formats(book: Workbook) -> tuple[Format, Format]:
    """How headings and days are shown."""
    return book.add_format({"bold": True, "text_wrap": True}), book.add_format({"num_format": "yyyy-mm-dd"})


def _meanings(tables: Sequence[ExportTable]) -> list[tuple[Cell, ...]]:
    return [
        (each.name, each.kind, column.name, heading_of(column), column.type, column.unit, column.description)
        for each in tables
        for column in each.columns
    ]


def _write_rows(
    sheet: Worksheet, header: Sequence[str], rows: Sequence[tuple[Cell, ...]], formats: tuple[Format, Format]
) -> None:
    bold, day = formats
    sheet.freeze_panes(1, 0)
    sheet.set_column(0, max(len(header) - 1, 0), WIDTH)
    for at, text in enumerate(header):
        sheet.write_string(0, at, text, bold)
    for row, cells in enumerate(rows, start=1):
        for at, cell in enumerate(cells):
            _write_cell(sheet, row, at, cell, day)


def _write_cell(sheet: Worksheet, row: int, at: int, cell: Cell, day: Format) -> None:
    match cell:
        case None:
            pass
        case bool():
            sheet.write_boolean(row, at, cell)
        case str():
            sheet.write_string(row, at, cell)
        case date():
            if cell < FIRST_DAY:
                sheet.write_string(row, at, cell.isoformat())
            else:
                sheet.write_datetime(row, at, cell, day)
        case int() | float() | Decimal():
            if math.isfinite(cell):
                sheet.write_number(row, at, float(cell))


def _refuse_too_much(table: ExportTable) -> None:
    if len(table.rows) >= MOST_ROWS:
        raise OutOfReach(
            f"{table.name} has {len(table.rows):,} rows, and a sheet holds {MOST_ROWS - 1:,}. Nothing was written. "
            "Name a month, or write files: --to DIR --format csv."
        )
    for number, cells in enumerate(table.rows, start=1):
        for column, cell in zip(table.columns, cells, strict=True):
            if isinstance(cell, str) and len(cell) > MOST_LETTERS:
                raise OutOfReach(
                    f"{table.name}, row {number}, {column.name}: {len(cell):,} letters, and a cell of a sheet holds "
                    f"{MOST_LETTERS:,}. Nothing was written. Shorten it, or write files: --to DIR --format csv."
                )
