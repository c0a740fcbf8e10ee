"""How one CSV file is written: its separator, its line ends and its header, found in its first bytes.

Used to read files and to append to them, so it needs no library that takes long to import.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pipeline.farm.conventions import Conventions
from pipeline.files.write_csv import unguarded
from schemas.contract import Contract
from schemas.finding import Finding, UnreadableFile

SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}
MARK = b"\xef\xbb\xbf"
CSV_FIELD_LIMIT = 2**31 - 1
# The header must end within this many bytes; it mostly does within fewer.
HEADER_WITHIN, HEADER_MOSTLY_WITHIN = 1 << 20, 1 << 12
# A spreadsheet has no more columns (Office Open XML); so many headings are in no list of a farm: our choice, no source.
MOST_COLUMNS, MOST_HEADINGS = 16_384, 1000


@dataclass(frozen=True)
class Dialect:
    """How a file is written. `row`: the header's, as the spreadsheet shows it; `body`: the byte at which the row below
    it begins, not counting a byte-order mark.
    """

    separator: str
    line_end: str
    row: int
    header: tuple[str, ...]
    body: int


def refuse(table: Contract, file: str, message: str, fix: str, row: int = 0) -> UnreadableFile:
    """A file that cannot be read as its table, for one reason."""
    return UnreadableFile([Finding(table.name, file, row, "", "unreadable", "set_aside", None, message, "", fix)])


def starred(table: Contract) -> str:
    """Return a header line that would do."""
    return ",".join(each.name for each in table.fields if each.starred)


def plain_text(table: Contract, file: str, data: bytes) -> bytes:
    """Return the file's UTF-8 text without its byte-order mark, line ends as they are or one kind for CR alone.

    Raises UnreadableFile for anything else.
    """
    blank = MARK + b" \t\r\n"
    if not data[:100].strip(blank) and not data.strip(blank):
        raise refuse(table, file, "is empty", f"Put a header line in it: {starred(table)}")
    try:
        # No text has a byte of zero; UTF-16 without its mark passes for UTF-8 but for them.
        bad = data.find(b"\0") if data.isascii() or data.decode("utf-8") else -1
    except UnicodeDecodeError as problem:
        bad = problem.start
    if bad >= 0 and data[bad] == 0 and not _two_bytes_a_letter(data):
        wrong = f"holds a byte of zero (byte {bad + 1}), which no text has"
        fix = "Open it in a text editor, take that sign out and save it; or put back a copy of the file that is sound."
        raise refuse(table, file, wrong, fix, _row_at(data, bad))
    if bad >= 0:
        raise refuse(
            table,
            file,
            f"is not UTF-8 text (byte {bad + 1}, value {data[bad]:#04x})",
            "In the spreadsheet choose Save as: CSV UTF-8.",
            _row_at(data, bad),
        )
    data = data.removeprefix(MARK)
    return data if b"\n" in data else data.replace(b"\r", b"\n")


def _two_bytes_a_letter(data: bytes) -> bool:
    """Whether this is UTF-16, of which every other byte is mostly zero, and the others are not."""
    start = data[:400]
    fewer, more = sorted((start[::2].count(0), start[1::2].count(0)))
    return 4 * more > len(start) and 8 * fewer < len(start)


def _row_at(data: bytes, at: int) -> int:
    """The row of the spreadsheet in which this byte stands. All bytes before it are UTF-8."""
    csv.field_size_limit(CSV_FIELD_LIMIT)
    before = io.StringIO(data[:at].decode("utf-8") + "x", newline="")
    return sum(1 for _ in csv.reader(before))


def records(table: Contract, file: str, text: io.StringIO, row: int, separator: str) -> Iterator[list[str]]:
    """Yield the rows that follow, from spreadsheet row `row` on. Refuses the file at a quotation mark out of place."""
    csv.field_size_limit(CSV_FIELD_LIMIT)
    reader = csv.reader(text, strict=True, delimiter=separator)
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as problem:
            if "end of data" in str(problem):
                wrong = "has a quotation mark that opens a cell and never closes"
            else:
                wrong = "has more text in a cell after its closing quotation mark"
            fix = 'A cell that begins with " ends with "; within it, write each " twice.'
            raise refuse(table, file, wrong, fix, row) from problem
        yield cells
        row += 1


def dialect_of(table: Contract, file: str, data: bytes, conventions: Conventions) -> Dialect:
    """Return how this file is written. `data`: see plain_text. Raises UnreadableFile when it has no header."""
    within = HEADER_WITHIN
    # A quoted line break may stand in the header, so it is plain where it ends only if no quotation mark is there.
    start = data[:HEADER_MOSTLY_WITHIN]
    if b'"' not in start and b"\n" in start.lstrip(b" \t\r\n,;") and start[:4].lower() != b"sep=":
        within = HEADER_MOSTLY_WITHIN
    head = data[:within].decode("utf-8", errors="ignore")
    whole = len(head.encode("utf-8"))
    declared, head = declared_separator(head)
    skipped = whole - len(head.encode("utf-8"))
    separator = declared or _likeliest(table, head, conventions)
    _refuse_bars(table, file, head, conventions)
    text = io.StringIO(head, newline="")
    line_end = "\r\n" if b"\r\n" in start else "\n"
    for row, cells in enumerate(records(table, file, text, 1, separator), start=1):
        if any(cell.strip() for cell in cells):
            refuse_many_columns(table, file, row, cells)
            body = len(head[: text.tell()].encode("utf-8")) + skipped
            return Dialect(separator, line_end, row, tuple(unguarded(cell.strip()) for cell in cells), body)
    raise refuse(table, file, "has no header line", f"Put one in: {starred(table)}")


def refuse_many_columns(table: Contract, file: str, row: int, cells: Sequence[str | None]) -> None:
    """Refuse a file with more columns than a spreadsheet has, or with more headings than anybody reads."""
    headings = sum(1 for cell in cells if cell and cell.strip())
    if len(cells) > MOST_COLUMNS or headings > MOST_HEADINGS:
        wrong = f"has {len(cells):,} columns, {headings:,} of them with a heading"
        fix = f"At most {MOST_HEADINGS:,} headings are read. Delete the columns that are no part of the table."
        raise refuse(table, file, wrong, fix, row)


def declared_separator(head: str) -> tuple[str | None, str]:
    """Return the separator that a first line sep=; declares (None: there is none), and the text below that line.
    Spreadsheets obey it and do not show it as a row.
    """
    declared = re.match(r"sep=([,;\t]) *(\r\n|\r|\n)", head, re.IGNORECASE)
    return (declared[1], head[declared.end() :]) if declared else (None, head)


def _header_line(head: str) -> tuple[int, str]:
    """The number and text of the first line that holds more than separators."""
    lines = enumerate(io.StringIO(head), start=1)
    return next(((row, line) for row, line in lines if line.strip(' ,;|"\t\r\n')), (0, ""))


def header_cells(head: str, mark: str) -> list[str]:
    """Return the headings of a file that is cut at this mark. Line breaks may stand within quoted ones."""
    csv.field_size_limit(CSV_FIELD_LIMIT)
    try:
        rows = csv.reader(io.StringIO(head, newline=""), delimiter=mark)
        return next((cells for cells in rows if any(cell.strip(' ,;|"\t\r\n') for cell in cells)), [])
    except csv.Error:
        return []


def _known(table: Contract, cells: list[str], conventions: Conventions) -> int:
    """The number of these headings that the table knows."""
    return sum(conventions.heading(table, unguarded(cell.strip())) is not None for cell in cells)


def _likeliest(table: Contract, head: str, conventions: Conventions) -> str:
    """The mark by which the header names the most columns; where none names more, the one that cuts it most."""
    cut = {mark: header_cells(head, mark) for mark in SEPARATORS}
    return max(cut, key=lambda mark: (_known(table, cut[mark], conventions), len(cut[mark]), mark == ","))


def _refuse_bars(table: Contract, file: str, head: str, conventions: Conventions) -> None:
    """Refuse the file where its columns are separated by bars."""
    row, _ = _header_line(head)
    if any(_known(table, header_cells(head, mark), conventions) for mark in SEPARATORS):
        return
    if _known(table, header_cells(head, "|"), conventions):
        fix = "Save it with commas, semicolons or tabs between the columns."
        raise refuse(table, file, "is separated by bars", fix, row)
