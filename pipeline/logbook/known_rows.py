"""Whole rows of batches and fillings as they stand, for copying what stays the same."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal

from pipeline.farm.folder import Farm, table_files
from pipeline.logbook import cells
from pipeline.logbook.amounts import in_ours
from pipeline.logbook.text_table import TextTable, read_text_table
from schemas.contract import Field, contract
from schemas.finding import UnreadableFile

Value = date | Decimal | int | str


def rows_of(farm: Farm, table: str) -> Iterator[dict[str, Value]]:
    """What do the rows of this table say, file by file in their order? Blank and unreadable cells are left out; a file
    that cannot be read has none.
    """
    for source in table_files(farm.folder, farm.conventions.files):
        if source.table != table:
            continue
        try:
            sheet = read_text_table(source, source.path.read_bytes(), farm.conventions)
        except (OSError, UnreadableFile):
            continue
        for row in sheet.rows:
            told = {column: _value(farm, table, sheet, column, sheet.cell(row, column)) for column in sheet.at}
            yield {column: value for column, value in told.items() if value is not None}


def _value(farm: Farm, table: str, sheet: TextTable, column: str, cell: str) -> Value | None:
    each, cell_format = contract(table).field(column), farm.conventions.cell_format
    if each.type == "date":
        return cells.day(cell, cell_format)
    if each.type == "integer":
        return cells.whole(cell, cell_format)
    if each.type == "number":
        number = cells.quantity(cell, cell_format)
        return None if number is None else _in_ours(sheet, each, number)
    return (cells.word(cell, each, cell_format) if each.words else None) or cells.text(cell, cell_format) or None


def _in_ours(sheet: TextTable, each: Field, number: Decimal) -> Decimal:
    unit = sheet.units.get(each.name)
    return in_ours(number, unit, each.unit or "") if unit else number
