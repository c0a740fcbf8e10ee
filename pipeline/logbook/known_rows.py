"""Whole rows of batches and fillings as they stand, for copying what stays the same."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from decimal import Decimal

from pipeline.farm.folder import Farm, table_files
from pipeline.logbook import cells
from pipeline.logbook.amounts import in_ours
from pipeline.logbook.text_table import read_text_table
from schemas.contract import contract
from schemas.finding import UnreadableFile

Value = date | Decimal | int | str


def rows_of(farm: Farm, table: str) -> Iterator[dict[str, Value]]:
    """Yield the rows of this table, file by file in their order. Blank and unreadable cells are left out; a file that
    cannot be read has none.
    """
    for source in table_files(farm.folder, farm.conventions.files):
        if source.table != table:
            continue
        try:
            found = read_text_table(source, source.path.read_bytes(), farm.conventions)
        except (OSError, UnreadableFile):
            continue
        own = farm.for_file(source.name)
        for row in found.rows:
            values = {name: value_of(own, table, found.units, name, found.cell(row, name)) for name in found.at}
            yield {column: value for column, value in values.items() if value is not None}


def value_of(farm: Farm, table: str, units: Mapping[str, str], column: str, cell: str) -> Value | None:
    """Return what this cell says, in the contract's unit; None for a blank or unreadable one. `units`: of columns whose
    unit is not the contract's.
    """
    each, cell_format = contract(table).field(column), farm.conventions.cell_format
    if each.type == "date":
        return cells.day(cell, cell_format)
    if each.type == "integer":
        return cells.whole(cell, cell_format)
    if each.type == "number":
        number, unit = cells.quantity(cell, cell_format), units.get(column)
        return in_ours(number, unit, each.unit or "") if number is not None and unit else number
    return (cells.word(cell, each, cell_format) if each.words else None) or cells.text(cell, cell_format) or None
