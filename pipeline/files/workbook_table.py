"""A sheet of a workbook as one of the farm's tables: its header, the rows below, and what merged cells stand for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipeline.farm.conventions import Conventions
from pipeline.farm.folder import TableFile
from pipeline.files.dialect import refuse, starred
from pipeline.files.wide import first_to_read, heading_of
from pipeline.files.workbook import Cells, Sheet, read_sheet
from schemas.contract import Contract, contract


@dataclass(frozen=True)
class WorkbookTable:
    """A sheet as read: the header stands in spreadsheet row `row`, the first of `rows` (None for blank) in the next.
    `source`: without the tables beside it where each has a sheet of its own; `sheet`: its name; `merged`: headings of
    columns whose merged cells stand for each of their rows.
    """

    source: TableFile
    sheet: str
    row: int
    header: tuple[str, ...]
    rows: Cells
    merged: tuple[str, ...]


def read_workbook_table(table: Contract, source: TableFile, data: bytes, conventions: Conventions) -> WorkbookTable:
    """Return the sheet that holds this table. Raises UnreadableFile where there is none, or no header in it."""
    sheet = read_sheet(table, source, data, conventions.cell_format.decimal_mark)
    if sheet.chosen:
        # Each table has a sheet of its name, so none stands beside another.
        source = replace(source, beside=())
    at = next((at for at, cells in enumerate(sheet.rows) if any(cells)), None)
    if at is None:
        where = f'has no header line in its sheet "{sheet.name}"'
        raise refuse(table, source.name, where, f"Put one in: {starred(table)}")
    header = tuple(cell or "" for cell in sheet.rows[at])
    merged = _fill_merged(source, sheet, header, at, conventions)
    return WorkbookTable(source, sheet.name, at + 1, header, sheet.rows[at + 1 :], tuple(merged))


def _fill_merged(
    source: TableFile, sheet: Sheet, header: Sequence[str], at: int, conventions: Conventions
) -> list[str]:
    """Write a cell that is merged with those below it into each of their rows, and return the headings of such columns
    that no other table tells of. Texts and days hold for each row; a number might be the sum of all, and stays in the
    first alone.
    """
    found = []
    for first, last, column in sorted(sheet.merged, key=lambda cells: cells[2]):
        heading = heading_of(source, header[column], conventions) if first > at and column < len(header) else None
        if heading is None or contract(source.table).field(heading.column).type not in ("string", "date"):
            continue
        if first_to_read(source, header[column], conventions):
            found.append(header[column])
        for cells in sheet.rows[first + 1 : last + 1]:
            cells[column] = sheet.rows[first][column]
    return list(dict.fromkeys(found))
