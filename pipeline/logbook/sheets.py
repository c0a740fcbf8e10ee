"""One file of a table as rows of cells, without the libraries that the ledger needs: for looking up, and for appending.

What the file means (separator, header, headings of the farm's own) is told by the same modules that the ledger's
reading uses: pipeline/files/dialect.py, pipeline/farm/conventions.py and pipeline/files/wide.py.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.farm.conventions import Conventions
from pipeline.farm.folder import TableFile
from pipeline.files.dialect import CSV_FIELD_LIMIT, MARK, dialect_of, plain_text, records, refuse
from pipeline.files.wide import heading_of
from schemas.contract import contract
from schemas.finding import UnreadableFile, finding


@dataclass(frozen=True)
class Sheet:
    """A file as read: `at` says at which place of a row each column of ours stands, `units` which are written in
    another unit than the contract's; `rows` the cells below the header, which is row `row` of the spreadsheet.
    `workbook`: it is no text and cannot be added to.
    """

    at: Mapping[str, int]
    units: Mapping[str, str]
    row: int
    header: Sequence[str]
    rows: Sequence[Sequence[str]]
    separator: str = ","
    line_end: str = "\n"
    workbook: bool = False

    def cell(self, row: Sequence[str], column: str) -> str:
        """What stands in this row under this column? "" where the row or the file does not reach it."""
        at = self.at.get(column)
        return row[at].strip() if at is not None and at < len(row) else ""

    @property
    def empty(self) -> bool:
        """Is there nothing below the header?"""
        return not any(cell.strip() for row in self.rows for cell in row)


def read_sheet(source: TableFile, data: bytes, conventions: Conventions) -> Sheet:
    """Which rows does this file hold? Raises UnreadableFile when it cannot be read as its table."""
    table = contract(source.table)
    if source.path.suffix.lower() == ".xlsx":
        return _workbook(source, data, conventions)
    plain = plain_text(table, source.name, data)
    dialect = dialect_of(table, source.name, plain, conventions)
    body = plain[dialect.body :].decode("utf-8")
    at, units = _columns(source, dialect.header, conventions)
    line_end = dialect.line_end
    if b"\n" not in data.removeprefix(MARK):
        line_end = "\r" if b"\r" in data else line_end
    rows = _rows(source, body, dialect.separator, dialect.row + 1)
    return Sheet(at, units, dialect.row, dialect.header, rows, dialect.separator, line_end)


def _rows(source: TableFile, body: str, separator: str, row: int) -> list[list[str]]:
    csv.field_size_limit(CSV_FIELD_LIMIT)
    try:
        return list(csv.reader(io.StringIO(body, newline=""), strict=True, delimiter=separator))
    except csv.Error:
        # Slower, but it says in which row what is wrong.
        return list(records(contract(source.table), source.name, io.StringIO(body, newline=""), row, separator))


def _workbook(source: TableFile, data: bytes, conventions: Conventions) -> Sheet:
    from pipeline.files.workbook import read_sheet as sheet_of

    read = sheet_of(contract(source.table), source, data, conventions.cell_format.decimal_mark)
    rows = [[cell or "" for cell in cells] for cells in read.rows]
    for first, last, column in read.merged:
        for row in rows[first + 1 : last + 1]:
            row[column] = rows[first][column]
    at = next((at for at, cells in enumerate(rows) if any(cells)), None)
    if at is None:
        raise refuse(contract(source.table), source.name, "has no header line", "Put one in.")
    columns, units = _columns(source, rows[at], conventions)
    return Sheet(columns, units, at + 1, rows[at], rows[at + 1 :], workbook=True)


def _columns(
    source: TableFile, header: Sequence[str], conventions: Conventions
) -> tuple[dict[str, int], dict[str, str]]:
    """At which place stands each column, and in which unit where it is another?"""
    at: dict[str, int] = {}
    units: dict[str, str] = {}
    for place, name in enumerate(header):
        meant = heading_of(source, name, conventions)
        if meant is None:
            continue
        if meant.column in at:
            twice = finding(contract(source.table), source.name, 1, meant.column, "duplicate_column", "set_aside")
            raise UnreadableFile([twice])
        at[meant.column] = place
        if meant.unit:
            units[meant.column] = meant.unit
    return at, units


def why_unreadable(problem: UnreadableFile) -> str:
    """What is wrong with the file, in one sentence?"""
    return problem.findings[0].sentence()
