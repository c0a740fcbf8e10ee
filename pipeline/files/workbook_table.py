"""A sheet of a workbook as one of the farm's tables: its header, the rows below, and what merged cells stand for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from pipeline.farm.conventions import Conventions, Heading
from pipeline.farm.folder import TableFile
from pipeline.farm.units import conversion, units_of
from pipeline.files.dialect import refuse, starred
from pipeline.files.wide import first_to_read, heading_of
from pipeline.files.workbook import Cells, Sheet, read_sheet
from pipeline.files.workbook_formats import unit_called
from pipeline.files.workbook_reading import plain
from schemas.contract import Contract, Field, contract
from schemas.finding import Finding, finding


@dataclass(frozen=True)
class WorkbookTable:
    """A sheet as read: the header stands in spreadsheet row `row`, the first of `rows` (None for blank) in the next.
    `source`: without the tables beside it where each has a sheet of its own; `sheet`: its name; `merged`: headings of
    columns whose merged cells stand for each of their rows; `said`: what is to be said of number formats.
    """

    source: TableFile
    sheet: str
    row: int
    header: tuple[str, ...]
    rows: Cells
    merged: tuple[str, ...]
    said: tuple[Finding, ...] = ()


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
    said = _in_units_of_columns(source, sheet, header, at, conventions)
    return WorkbookTable(source, sheet.name, at + 1, header, sheet.rows[at + 1 :], tuple(merged), tuple(said))


def _in_units_of_columns(
    source: TableFile, sheet: Sheet, header: Sequence[str], at: int, conventions: Conventions
) -> list[Finding]:
    """Write the numbers that are shown with a unit in the unit of their column, and return what is to be said of them.
    A number in a unit that does not become the column's stays with it, and is a faulty cell.
    """
    mark, table = conventions.cell_format.decimal_mark, contract(source.table)
    by_column: dict[int, dict[int, tuple[int, str]]] = {}
    for row, column, power, unit in sheet.formats:
        if row > at and column < len(header):
            by_column.setdefault(column, {})[row] = (power, unit)
    said: list[Finding] = []
    for column, cells in sorted(by_column.items()):
        heading = heading_of(source, header[column], conventions)
        if heading is None:
            continue
        each = table.field(heading.column)
        for row, (power, unit) in cells.items():
            number = Decimal((sheet.rows[row][column] or "").removesuffix(f" {unit}").replace(mark, "."))
            if each.type not in ("number", "integer"):
                sheet.rows[row][column] = plain(number.scaleb(-power), mark)
            elif unit:
                sheet.rows[row][column] = _in_unit(number, unit, heading, each, mark)
        if each.type in ("number", "integer"):
            said += _said_of(table, source.name, sheet, column, heading.column, cells, at)
    return said


def _in_unit(number: Decimal, unit: str, heading: Heading, each: Field, mark: str) -> str:
    called, wanted = unit_called(unit), heading.unit or each.unit
    if called == wanted:
        return plain(number, mark)
    if called not in units_of(each.unit) or each.unit is None:
        return f"{plain(number, mark)} {unit}"
    ours = conversion(called, each.unit).convert(number)
    if heading.unit:
        return plain(conversion(heading.unit, each.unit).revert(ours), mark)
    return plain(round(ours, each.decimals) if each.decimals is not None else ours, mark)


def _said_of(
    table: Contract,
    file: str,
    sheet: Sheet,
    column: int,
    name: str,
    cells: Mapping[int, tuple[int, str]],
    at: int,
) -> list[Finding]:
    """What is said of a column's formats: which unit or scale they show; and, as a warning, that not all do."""
    ways = sorted({unit or f"x {Decimal(1).scaleb(power):f}" for power, unit in cells.values()})
    first = min(cells) + 1
    others = [row for row in range(at + 1, len(sheet.rows)) if row not in cells and _filled(sheet.rows[row], column)]
    if others or len(ways) > 1:
        row = (others[0] if others else min(cells)) + 1
        return [finding(table, file, row, name, "mixed_formats", "warning", ", ".join(ways))]
    return [finding(table, file, first, name, "number_format", "notice", ways[0])]


def _filled(cells: Sequence[str | None], column: int) -> bool:
    return column < len(cells) and cells[column] is not None


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
