"""Reading workbooks: a sheet of an .xlsx file as rows of texts, numbered as the sheet numbers them.

Only the process for workbooks runs this: others ask it through pipeline/files/workbook.py.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from pipeline.farm.folder import TableFile
from pipeline.files.dialect import refuse
from pipeline.files.workbook_formats import AS_IT_IS, shown_by
from pipeline.files.workbook_parts import BROKEN, BrokenPart, SheetPart, judge_references, sheet_part, unpacked_size
from schemas.contract import Contract
from schemas.finding import UnreadableFile

if TYPE_CHECKING:
    from python_calamine import CalamineWorkbook

# A workbook that unpacks to more is no farm's log: our choice, no source. 20,000 pickings unpack to 10 MB.
UNPACKED_BYTES = 512_000_000
# The library keeps a place for each cell from A1 to the farthest that holds anything: our choice, no source. 20,000
# pickings of 20 columns are 400,000 cells.
CELLS = 5_000_000
# How the older format and workbooks under a password begin (a compound file).
COMPOUND = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"

Cells = list[list[str | None]]


@dataclass(frozen=True)
class Sheet:
    """A sheet of a workbook: its rows from the first on, and the cells that are merged with those below them (first
    row, last row, column; all counted from 0). `chosen`: it is one of several, known by its name alone. `formats`: the
    cells that show another number than they hold, or a unit: row, column, power of ten, unit ("" for none).
    """

    name: str
    rows: Cells
    merged: tuple[tuple[int, int, int], ...] = ()
    chosen: bool = False
    formats: tuple[tuple[int, int, int, str], ...] = ()

    def record(self) -> dict[str, object]:
        """Return the sheet as it goes from one process to another."""
        return asdict(self)

    @classmethod
    def from_record(cls, record: dict[str, object]) -> Sheet:
        """Return the sheet that another process sent."""
        merged: list[tuple[int, int, int]] = record["merged"]  # type: ignore[assignment]
        formats: list[tuple[int, int, int, str]] = record["formats"]  # type: ignore[assignment]
        sent = {**record, "merged": tuple(map(tuple, merged)), "formats": tuple(map(tuple, formats))}
        return cls(**sent)  # type: ignore[arg-type]


def read_sheet(table: Contract, source: TableFile, data: bytes, decimal_mark: str) -> Sheet:
    """Return the sheet that holds the table. Numbers are written with the farm's decimal mark, days as
    year-month-day, blank cells as None, errors as the sheet shows them. Raises UnreadableFile.
    """
    with _refused_if_broken(table, source):
        workbook = _open(table, source, data)
        sheets = _visible(workbook)
        name = _choose(table, source, data, sheets, workbook.sheet_names)
        part = _bearable(table, source, data, name)
        opened = workbook.get_sheet_by_name(name)
        cells_of = opened.to_python(skip_empty_area=False)
        rows = [[_text(cell, decimal_mark) for cell in cells] for cells in cells_of]
        formats = _write_as_shown(rows, cells_of, part, decimal_mark)
        merged = tuple(
            (first[0], last[0], first[1]) for first, last in opened.merged_cell_ranges or () if last[0] > first[0]
        )
    for (row, column), text in part.odd.items():
        if row < len(rows) and column < len(rows[row]):
            rows[row][column] = text
    chosen = source.sheet is None and len(sheets) > 1 and name.strip().casefold() == table.name
    return Sheet(name, rows, merged, chosen, formats)


def _write_as_shown(
    rows: Cells, cells_of: Sequence[Sequence[object]], part: SheetPart, decimal_mark: str
) -> tuple[tuple[int, int, int, str], ...]:
    """Write numbers as their formats show them: in tens and hundreds of it, with its unit. Returns which (see Sheet).
    All their digits stay: a format that rounds changes no number.
    """
    found = []
    for (row, column), code in part.formats.items():
        cell = cells_of[row][column] if row < len(rows) and column < len(rows[row]) else None
        if isinstance(cell, bool) or not isinstance(cell, int | float):
            continue
        how = shown_by(code, cell)
        if how != AS_IT_IS:
            number = Decimal(f"{cell:.15g}").scaleb(how.power)
            rows[row][column] = f"{plain(number, decimal_mark)} {how.unit}".strip()
            found.append((row, column, how.power, how.unit))
    return tuple(found)


def plain(number: Decimal, decimal_mark: str) -> str:
    """Return the number in digits, with the farm's decimal mark."""
    text = f"{number:f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text).replace(".", decimal_mark)


def sheet_names(table: Contract, source: TableFile, data: bytes) -> list[str]:
    """Return the sheets of cells that one sees who opens the workbook. Raises UnreadableFile."""
    with _refused_if_broken(table, source):
        return _visible(_open(table, source, data))


@contextmanager
def _refused_if_broken(table: Contract, source: TableFile) -> Iterator[None]:
    """Refuses the file for whatever the libraries that read it find broken."""
    from python_calamine import CalamineError

    try:
        yield
    except (CalamineError, *BROKEN) as problem:
        raise broken(table, source) from problem


def broken(table: Contract, source: TableFile) -> UnreadableFile:
    """Return the refusal of what is no workbook, or none that can be read."""
    return refuse(table, source.name, "is no workbook that can be read", "Save it anew as .xlsx or CSV UTF-8.")


def _open(table: Contract, source: TableFile, data: bytes) -> CalamineWorkbook:
    from python_calamine import CalamineWorkbook

    if data.startswith(COMPOUND):
        wrong = "is under a password, or a workbook of the older format (.xls)"
        raise refuse(table, source.name, wrong, "Save it as .xlsx without a password, or as CSV UTF-8.")
    size = unpacked_size(data)
    if size > UNPACKED_BYTES:
        wrong = f"unpacks to {size / 1e6:,.0f} MB, which no farm's log does, and was not opened"
        raise refuse(table, source.name, wrong, "Save the sheet as CSV UTF-8.")
    judge_references(data)
    return CalamineWorkbook.from_filelike(io.BytesIO(data))


def _visible(workbook: CalamineWorkbook) -> list[str]:
    from python_calamine import SheetTypeEnum, SheetVisibleEnum

    return [
        each.name
        for each in workbook.sheets_metadata
        if each.typ == SheetTypeEnum.WorkSheet and each.visible == SheetVisibleEnum.Visible
    ]


def _choose(table: Contract, source: TableFile, data: bytes, sheets: list[str], there: list[str]) -> str:
    """Which sheet holds the table: the one that farm.toml names, the only one that one sees and that is not empty, or
    the one of the table's name?
    """
    if not there:
        raise BrokenPart("no sheet")
    if source.sheet is not None:
        if source.sheet in there:
            return source.sheet
        wrong = f'has no sheet "{source.sheet}"; there are {", ".join(there)}'
        raise refuse(table, source.name, wrong, "Mend the sheet's name in farm.toml.")
    if not sheets:
        raise refuse(table, source.name, "has no sheet that one sees", "Save the sheet as CSV UTF-8.")
    named = [sheet for sheet in sheets if sheet.strip().casefold() == table.name]
    if len(named) == 1:
        return named[0]
    filled = sheets if len(sheets) == 1 else [sheet for sheet in sheets if sheet_part(data, sheet).rows] or sheets[:1]
    if len(filled) == 1:
        return filled[0]
    fix = f'Call the right one {table.name}, or name it in farm.toml: [files."{source.name}"].'
    raise refuse(table, source.name, f"has several sheets ({', '.join(filled)})", fix)


def _bearable(table: Contract, source: TableFile, data: bytes, sheet: str) -> SheetPart:
    """The extent of the sheet's part. Refuses one whose cells reach so far that no memory holds all of them."""
    part = sheet_part(data, sheet)
    if part.rows * part.columns > CELLS:
        wrong = f'has cells as far as row {part.rows} and column {part.columns} in its sheet "{sheet}", too far to read'
        raise refuse(table, source.name, wrong, "Delete the rows and columns beyond your entries, or save it as CSV.")
    return part


def _text(cell: object, decimal_mark: str) -> str | None:
    """The cell as it would stand in a CSV file of this farm. A day is a day, and a number has the 15 digits that a
    spreadsheet shows at most: what a formula leaves beyond them is no part of a weight.
    """
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == time() else cell.isoformat(" ")
    if isinstance(cell, (date, time, timedelta)):
        return str(cell)
    if isinstance(cell, float):
        return f"{Decimal(f'{cell:.15g}'):f}".replace(".", decimal_mark)
    return str(cell).strip() or None
