"""The grower's files as they lie: each sheet with its headings and its cells as written, before anything is mapped."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pipeline.adopt.cells import NEUTRAL
from pipeline.adopt.headings import candidates
from pipeline.farm.folder import SUFFIXES, WORKBOOKS, TableFile
from pipeline.files.dialect import SEPARATORS, declared_separator, header_cells, plain_text, records, refuse
from pipeline.files.read import content_hash, read_bytes
from schemas.contract import HARVESTS, contract

# What a table may be kept in, and what a list is exported as.
ADOPTED = (*SUFFIXES, ".txt")
# So far down a header is looked for, to be named: it is only ever read in the first row that is not blank.
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
class SourceSheet:
    """A text file as it lies, or a sheet of a workbook. `sheet`: its name (None: a text file, or the only one);
    `row`: the header's; `rows`: the cells below it (None for blank), the first in row + 1 of the spreadsheet.
    """

    file: SourceFile
    sheet: str | None
    row: int
    header: tuple[str, ...]
    rows: Rows

    @property
    def called(self) -> str:
        """What it is called in a sentence."""
        return self.file.name if self.sheet is None else f'{self.file.name}, sheet "{self.sheet}"'

    def column(self, at: int) -> list[tuple[int, str]]:
        """Return the cells of this column that say anything, and the row of each."""
        cells = ((row, cells[at]) for row, cells in enumerate(self.rows, self.row + 1) if at < len(cells))
        return [(row, cell) for row, cell in cells if cell is not None]


def read_source(path: Path, name: str) -> SourceFile:
    """Return this file with its bytes. Raises UnreadableFile when it is of no kind that can be read."""
    suffix = path.suffix.lower()
    if suffix not in ADOPTED:
        fix = "Save it as .xlsx or as CSV UTF-8, and name that file."
        raise refuse(ANY, name, f"is of a kind that gillbook does not read ({suffix or 'no ending'})", fix)
    return SourceFile(path, name, read_bytes(TableFile(ANY.name, name, path)))


def sheets_of(file: SourceFile) -> list[SourceSheet]:
    """Return the sheets of the file. Raises UnreadableFile when it cannot be read, or has no header."""
    if file.path.suffix.lower() in WORKBOOKS:
        return _of_workbook(file)
    text = plain_text(ANY, file.name, file.data).decode("utf-8")
    declared, text = declared_separator(text)
    separator = declared or max(SEPARATORS, key=lambda mark: (_known(header_cells(text, mark)), mark == ","))
    cells = records(ANY, file.name, io.StringIO(text, newline=""), 1, separator)
    return [_sheet(file, None, [[cell.strip() or None for cell in row] for row in cells])]


def _known(cells: Sequence[str]) -> tuple[int, int]:
    return sum(bool(candidates(cell.strip())) for cell in cells), len(cells)


def _of_workbook(file: SourceFile) -> list[SourceSheet]:
    from pipeline.files.workbook import read_sheet, sheet_names

    source = TableFile(ANY.name, file.name, file.path)
    found = []
    names = sheet_names(ANY, source, file.data)
    for name in names:
        rows = read_sheet(ANY, TableFile(ANY.name, file.name, file.path, name), file.data, NEUTRAL).rows
        if any(any(cells) for cells in rows):
            found.append((name, rows))
    if not found:
        raise refuse(ANY, file.name, "has no sheet with cells in it", "Name a file that holds your entries.")
    return [_sheet(file, None if len(names) == 1 else name, rows) for name, rows in found]


def _sheet(file: SourceFile, sheet: str | None, rows: Rows) -> SourceSheet:
    at = next((at for at, cells in enumerate(rows) if any(cells)), None)
    if at is None:
        raise refuse(ANY, file.name, "has no header line", "Name a file that holds your entries.")
    return SourceSheet(file, sheet, at + 1, tuple(cell or "" for cell in rows[at]), rows[at + 1 :])


def header_below(sheet: SourceSheet) -> int | None:
    """Return the row in which the header seems to stand, if not in the first that is not blank."""
    if _known(sheet.header)[0] > 1:
        return None
    for row, cells in enumerate(sheet.rows[:LOOK_DOWN], sheet.row + 1):
        if _known([cell for cell in cells if cell])[0] > max(1, _known(sheet.header)[0]):
            return row
    return None
