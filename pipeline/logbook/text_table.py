"""One file of a table as rows of cells, without the libraries that the ledger needs: for looking up, and for appending.

What the file means (separator, header, headings of the farm's own, merged cells, rows of totals) is told by the same
modules that the ledger's reading uses: pipeline/files and pipeline/farm/conventions.py.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

from pipeline.farm.conventions import Conventions
from pipeline.farm.folder import TableFile
from pipeline.farm.table_names import WORKBOOKS
from pipeline.files.dialect import CSV_FIELD_LIMIT, MARK, dialect_of, plain_text, records
from pipeline.files.totals import TOTALS_AT_MOST, totals_at_end
from pipeline.files.wide import heading_of
from schemas.contract import contract
from schemas.finding import UnreadableFile, finding

Rows = Sequence[Sequence[str]]


@dataclass(frozen=True)
class TextTable:
    """A file as read: `at` says at which place of a row each column of ours stands, `units` which are written in
    another unit than the contract's; `rows` the cells below the header (spreadsheet row `row`), without the rows of
    totals at the end; `height` how many rows stand below the header, totals among them. `workbook`: it is no text and
    cannot be added to.
    """

    at: Mapping[str, int]
    units: Mapping[str, str]
    row: int
    header: Sequence[str]
    rows: Rows
    height: int
    separator: str = ","
    line_end: str = "\n"
    workbook: bool = False

    def cell(self, row: Sequence[str], column: str) -> str:
        """Return what stands in this row under this column; "" where the row or the file does not reach it."""
        at = self.at.get(column)
        return row[at].strip() if at is not None and at < len(row) else ""

    @property
    def ends_with_totals(self) -> bool:
        """Whether the last row adds up the others."""
        return self.height > len(self.rows)

    @property
    def empty(self) -> bool:
        """Whether nothing stands below the header."""
        return not self.ends_with_totals and not any(cell.strip() for row in self.rows for cell in row)


def read_text_table(source: TableFile, data: bytes, conventions: Conventions) -> TextTable:
    """Return the rows of this file. Raises UnreadableFile when it cannot be read as its table."""
    table = contract(source.table)
    conventions = conventions.of_file(source.name)
    if source.path.suffix.lower() in WORKBOOKS:
        return _workbook(source, data, conventions)
    plain = plain_text(table, source.name, data)
    dialect = dialect_of(table, source.name, plain, conventions)
    body = plain[dialect.body :].decode("utf-8")
    at, units = columns_of(source, dialect.header, conventions)
    line_end = dialect.line_end
    if b"\n" not in data.removeprefix(MARK):
        line_end = "\r" if b"\r" in data else line_end
    rows = _rows(source, body, dialect.separator, dialect.row + 1)
    entries = without_totals(source.table, at, rows)
    return TextTable(at, units, dialect.row, dialect.header, entries, len(rows), dialect.separator, line_end)


def without_totals(table: str, at: Mapping[str, int], rows: Rows) -> Rows:
    """Return these rows without those at the end that sum up the others. `at`: see TextTable."""
    names = {place: column for column, place in at.items()}
    filled = (number for number in range(len(rows) - 1, -1, -1) if any(cell.strip() for cell in rows[number]))
    last = list(islice(filled, TOTALS_AT_MOST))
    named = (
        {names.get(place, f"<{place}>"): cell.strip() or None for place, cell in enumerate(rows[number])}
        for number in last
    )
    count = totals_at_end(contract(table), named)
    return rows[: last[count - 1]] if count else rows


def _rows(source: TableFile, body: str, separator: str, row: int) -> list[list[str]]:
    csv.field_size_limit(CSV_FIELD_LIMIT)
    try:
        return list(csv.reader(io.StringIO(body, newline=""), strict=True, delimiter=separator))
    except csv.Error:
        # Slower, but it says in which row what is wrong.
        return list(records(contract(source.table), source.name, io.StringIO(body, newline=""), row, separator))


def _workbook(source: TableFile, data: bytes, conventions: Conventions) -> TextTable:
    from pipeline.files.workbook_table import read_workbook_table

    found = read_workbook_table(contract(source.table), source, data, conventions)
    at, units = columns_of(found.source, found.header, conventions)
    rows = [[cell or "" for cell in cells] for cells in found.rows]
    entries = without_totals(source.table, at, rows)
    return TextTable(at, units, found.row, found.header, entries, len(rows), workbook=True)


def columns_of(
    source: TableFile, header: Sequence[str], conventions: Conventions
) -> tuple[dict[str, int], dict[str, str]]:
    """Return at which place each column stands, and in which unit where it is another than the contract's."""
    at: dict[str, int] = {}
    units: dict[str, str] = {}
    for place, name in enumerate(header):
        heading = heading_of(source, name, conventions)
        if heading is None:
            continue
        if heading.column in at:
            twice = finding(contract(source.table), source.name, 1, heading.column, "duplicate_column", "set_aside")
            raise UnreadableFile([twice])
        at[heading.column] = place
        if heading.unit:
            units[heading.column] = heading.unit
    return at, units
