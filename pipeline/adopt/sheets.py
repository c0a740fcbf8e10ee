"""The grower's files as they lie: each sheet with its cells as written, before anything is mapped."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.adopt.cells import NEUTRAL, looks_number
from pipeline.adopt.headings import candidates
from pipeline.farm.folder import TableFile
from pipeline.farm.table_names import SUFFIXES, WORKBOOKS
from pipeline.files.dialect import (
    MOST_HEADINGS,
    SEPARATORS,
    declared_separator,
    header_cells,
    plain_text,
    records,
    refuse,
    refuse_many_columns,
)
from pipeline.files.read import content_hash, read_bytes
from pipeline.files.write_csv import csv_lines
from schemas.contract import HARVESTS, contract
from schemas.exported import COLUMNS_SHEET, input_sheets, is_export
from schemas.finding import ORIGIN

if TYPE_CHECKING:
    from pipeline.files.workbook import Sheet

# What a table may be kept in, and what a list is exported as.
ADOPTED = (*SUFFIXES, ".txt")
# So far down headings are looked for that tell by which mark a text is cut.
LOOK_DOWN = 20
# Findings need a table to be about; which one these files are is not known yet.
ANY = contract(HARVESTS)

Rows = Sequence[Sequence[str | None]]


@dataclass(frozen=True)
class SourceFile:
    """A file as it lies: `name` is its path within the farm to be, `data` its bytes."""

    path: Path
    name: str
    data: bytes

    @property
    def digest(self) -> str:
        """A hash of its bytes."""
        return content_hash(self.data)


@dataclass(frozen=True)
class SheetGrid:
    """A sheet as it lies: `sheet`, its name (None: a text file, or the only one); `rows`, its cells from the first row
    on, None for blank; `units`, by heading, in which a workbook shows the numbers below.
    """

    file: SourceFile
    sheet: str | None
    rows: Rows
    units: Mapping[str, str] = field(default_factory=dict)

    @property
    def called(self) -> str:
        """What it is called in a sentence."""
        return self.file.name if self.sheet is None else f'{self.file.name}, sheet "{self.sheet}"'


@dataclass(frozen=True)
class Origin:
    """Where a straightened row comes from: the row of the sheet, and the heading of its cell where it is one of several
    of that row.
    """

    row: int
    heading: str = ""


@dataclass(frozen=True)
class SourceSheet:
    """A text file as it lies, or a sheet of a workbook, or a table straightened from one. `sheet`: its name (None: a
    text file, or the only one); `row`: the header's; `rows`: the cells below it (None for blank), the first in row + 1
    of the spreadsheet. Of a straightened table, `grid` is what it is made of, `origins` says where each row comes from,
    and `left_out` which rows are not read, with why. `meant`: known wordings that headings stand for, where the grower
    said so.
    """

    file: SourceFile
    sheet: str | None
    row: int
    header: tuple[str, ...]
    rows: Rows
    grid: SheetGrid | None = None
    origins: tuple[Origin, ...] = ()
    left_out: tuple[str, ...] = ()
    meant: Mapping[str, str] = field(default_factory=dict)

    @property
    def called(self) -> str:
        """What it is called in a sentence."""
        if self.grid:
            return self.grid.called
        return self.file.name if self.sheet is None else f'{self.file.name}, sheet "{self.sheet}"'

    def column(self, at: int) -> list[tuple[int, str]]:
        """Return the cells of this column that say anything, and the row of each."""
        numbers = [each.row for each in self.origins] or range(self.row + 1, self.row + 1 + len(self.rows))
        cells = ((row, cells[at]) for row, cells in zip(numbers, self.rows, strict=True) if at < len(cells))
        return [(row, cell) for row, cell in cells if cell is not None]

    def data(self, decimal_mark: str) -> bytes:
        """Return the bytes of its file: as they lie, or the straightened table as CSV with where each row is from."""
        if not self.grid:
            return self.file.data
        records = []
        for cells, origin in zip(self.rows, self.origins, strict=True):
            texts = [(cell or "").replace(NEUTRAL, decimal_mark) for cell in cells]
            place = f"{self.grid.called}, row {origin.row}" + (f", {origin.heading}" if origin.heading else "")
            records.append(dict(zip((*self.header, ORIGIN), (*texts, place), strict=True)))
        return "".join(csv_lines(records, (*self.header, ORIGIN))).encode()


def read_source(path: Path, name: str) -> SourceFile:
    """Return this file with its bytes. Raises UnreadableFile when it is of no kind that can be read."""
    suffix = path.suffix.lower()
    if suffix not in ADOPTED:
        fix = "Save it as .xlsx or as CSV UTF-8, and name that file."
        raise refuse(ANY, name, f"is of a kind that gillbook does not read ({suffix or 'no ending'})", fix)
    return SourceFile(path, name, read_bytes(TableFile(ANY.name, name, path)))


def grids_of(file: SourceFile) -> list[SheetGrid]:
    """Return the sheets of the file as they lie. Raises UnreadableFile when it cannot be read, or has no cells."""
    if file.path.suffix.lower() in WORKBOOKS:
        return _of_workbook(file)
    text = plain_text(ANY, file.name, file.data).decode("utf-8")
    _refuse_wide_lines(file, text)
    declared, text = declared_separator(text)
    separator = declared or max(SEPARATORS, key=lambda mark: _cut(text, mark))
    cells = records(ANY, file.name, io.StringIO(text, newline=""), 1, separator)
    return [SheetGrid(file, None, [[cell.strip() or None for cell in row] for row in cells])]


def _refuse_wide_lines(file: SourceFile, text: str) -> None:
    """Refuse a text with a line of more cells than any list has, before all of them are looked at."""
    for row, line in enumerate(text.split("\n"), start=1):
        mark = max(SEPARATORS, key=line.count)
        if line.count(mark) >= MOST_HEADINGS:
            refuse_many_columns(ANY, file.name, row, line.split(mark))


def _cut(text: str, mark: str) -> tuple[int, int, int, bool]:
    """How well this mark cuts the text: by the headings that one of its first lines then names."""
    lines = [line.split(mark) for line in text.split("\n")[:LOOK_DOWN]]
    header = header_cells(text, mark)
    best = max(sum(bool(candidates(cell.strip(' "\r'))) for cell in line) for line in lines)
    return max(_known(header), best), len(header), max(map(len, lines)), mark == ","


def _known(cells: Sequence[str]) -> int:
    return sum(bool(candidates(cell.strip())) for cell in cells)


def _of_workbook(file: SourceFile) -> list[SheetGrid]:
    from pipeline.adopt.shown_units import without_shown_units
    from pipeline.files.workbook import read_sheet, sheet_names

    source = TableFile(ANY.name, file.name, file.path)
    found = []
    names = _sheets_with_entries(source, file, sheet_names(ANY, source, file.data))
    for name in names:
        as_shown = read_sheet(ANY, TableFile(ANY.name, file.name, file.path, name), file.data, NEUTRAL)
        sheet, units = without_shown_units(as_shown)
        for row, cells in enumerate(sheet.rows, start=1):
            refuse_many_columns(ANY, file.name, row, cells)
        if any(any(cells) for cells in sheet.rows):
            found.append((name, _merged_filled(sheet), units))
    if not found:
        raise refuse(ANY, file.name, "has no sheet with cells in it", "Name a file that holds your entries.")
    return [SheetGrid(file, None if len(names) == 1 else name, rows, units) for name, rows, units in found]


def _sheets_with_entries(source: TableFile, file: SourceFile, names: Sequence[str]) -> Sequence[str]:
    """The sheets to be looked at: of an export of gillbook's own those with entries, for others follow from them."""
    from pipeline.files.workbook import read_sheet

    if COLUMNS_SHEET not in names:
        return names
    rows = read_sheet(ANY, replace(source, sheet=COLUMNS_SHEET), file.data, NEUTRAL).rows
    return input_sheets(names) if rows and is_export(rows[0]) else names


def _merged_filled(sheet: Sheet) -> Rows:
    """The rows, with texts and days that are merged with cells below them in each of these: as reading does."""
    rows = [list(cells) for cells in sheet.rows]
    for first, last, column in sheet.merged:
        cell = rows[first][column]
        if cell is not None and not looks_number(cell) and any(rows[first - 1] if first else ()):
            for cells in rows[first + 1 : last + 1]:
                cells[column] = cell
    return rows


def first_filled(grid: SheetGrid) -> int:
    """Return the place of the first row that is not blank. Raises UnreadableFile where none is."""
    at = next((at for at, cells in enumerate(grid.rows) if any(cells)), None)
    if at is None:
        raise refuse(ANY, grid.file.name, "has no header line", "Name a file that holds your entries.")
    return at
