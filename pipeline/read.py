"""Reading: one CSV file becomes one frame of trimmed texts, with the row numbers that the spreadsheet shows.

Polars reads; where a file is not plainly well formed, Python's csv module reads it again to say what is wrong, or to
read what is unusual but clear. Nothing is ever skipped: a file is read whole or refused with a reason.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256

import polars as pl

from pipeline.farm import TableFile
from pipeline.look import Marks, empty_quotes, padded, quotation_marks, well_quoted
from schemas.check import check_header
from schemas.contract import Contract, contract
from schemas.finding import Finding, UnreadableFile, finding

BLANK = b" \t\r\n,"
BEYOND_HEADER = "beyond the header"
CSV_FIELD_LIMIT = 2**31 - 1
# The header must end within this many bytes; it mostly does within fewer.
HEADER_WITHIN, HEADER_MOSTLY_WITHIN = 1 << 20, 1 << 12


@dataclass(frozen=True)
class RawTable:
    """A file as read: `frame` has `row` (as the spreadsheet shows it, header = 1) and one text column per column of
    the file, null for blank; blank rows are left out and counted. rows_in = frame.height + rows_blank.
    A column that the contract does not know is called (NAME), one without a name [column 4], so that neither can
    clash with a column of ours.
    """

    source: TableFile
    frame: pl.DataFrame
    rows_in: int
    rows_blank: int
    content_hash: str
    notices: tuple[Finding, ...]


def content_hash(data: bytes) -> str:
    """Are two files the same, byte for byte?"""
    return sha256(data).hexdigest()


def _refuse(table: Contract, file: str, message: str, fix: str, row: int = 0) -> UnreadableFile:
    return UnreadableFile([Finding(table.name, file, row, "", "unreadable", "set_aside", None, message, "", fix)])


def read_bytes(source: TableFile) -> bytes:
    """What is in the file? Raises UnreadableFile when the operating system does not give it."""
    try:
        return source.path.read_bytes()
    except OSError as problem:
        reason = problem.strerror or str(problem)
        raise _refuse(
            contract(source.table),
            source.name,
            f"cannot be opened ({reason})",
            "Close other programs or mend its rights.",
        ) from problem


def read_table(source: TableFile, data: bytes) -> RawTable:
    """What rows does this file hold? Raises UnreadableFile when it cannot be read as its table."""
    table = contract(source.table)
    digest = content_hash(data)
    data = _plain_text(table, source.name, data)
    row, header, body = _header(table, source.name, data)
    problems = check_header([name for name in header if name], table, source.name)
    if any(each.level == "set_aside" for each in problems):
        raise UnreadableFile(problems)
    names = [_column_name(table, name, at) for at, name in enumerate(header)]
    data = data[body:]
    marks = quotation_marks(data)
    frame = _read_frame(table, source.name, data, names, row + 1, well_quoted(data, marks))
    frame = _trim(frame, data, marks)
    problems += _unnamed_columns(table, source.name, frame)
    rows_in = frame.height
    frame = _drop_blank(frame)
    return RawTable(source, frame, rows_in, rows_in - frame.height, digest, tuple(problems))


def _column_name(table: Contract, name: str, at: int) -> str:
    if not name:
        return f"[column {at + 1}]"
    return name if name in table.names else f"({name})"


def _unnamed_columns(table: Contract, file: str, frame: pl.DataFrame) -> list[Finding]:
    """Which columns have cells but no name? One notice for each; empty ones are what spreadsheets leave behind."""
    unnamed = [name for name in frame.columns if name.startswith("[")]
    return [
        finding(table, file, 1, "", "unnamed_column", "notice", name.strip("[]"))
        for name in unnamed
        if frame[name].null_count() < frame.height
    ]


def _plain_text(table: Contract, file: str, data: bytes) -> bytes:
    """Is it UTF-8 text with a content? Without its byte-order mark, line ends as they are or one kind for CR alone."""
    blank = b"\xef\xbb\xbf \t\r\n"
    if not data[:100].strip(blank) and not data.strip(blank):
        raise _refuse(table, file, "is empty", f"Put a header line in it: {','.join(_starred(table))}")
    try:
        # No text has a byte of zero; UTF-16 without its mark passes for UTF-8 but for them.
        bad = data.find(b"\0") if data.isascii() or data.decode("utf-8") else -1
    except UnicodeDecodeError as problem:
        bad = problem.start
    if bad >= 0:
        raise _refuse(
            table,
            file,
            f"is not UTF-8 text (byte {bad + 1}, value {data[bad]:#04x})",
            "In the spreadsheet choose Save as: CSV UTF-8.",
            _row_at(data, bad),
        )
    data = data.removeprefix(b"\xef\xbb\xbf")
    return data if b"\n" in data else data.replace(b"\r", b"\n")


def _row_at(data: bytes, at: int) -> int:
    """In which row of the spreadsheet does this byte stand? All bytes before it are UTF-8."""
    csv.field_size_limit(CSV_FIELD_LIMIT)
    before = io.StringIO(data[:at].decode("utf-8") + "x", newline="")
    return sum(1 for _ in csv.reader(before))


def _records(table: Contract, file: str, text: io.StringIO, row: int) -> Iterator[list[str]]:
    """Which rows follow, from spreadsheet row `row` on? Refuses the file at a quotation mark out of place."""
    csv.field_size_limit(CSV_FIELD_LIMIT)
    reader = csv.reader(text, strict=True)
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as problem:
            if "end of data" in str(problem):
                said = "has a quotation mark that opens a cell and never closes"
            else:
                said = "has more text in a cell after its closing quotation mark"
            fix = 'A cell that begins with " ends with "; within it, write each " twice.'
            raise _refuse(table, file, said, fix, row) from problem
        yield cells
        row += 1


def _starred(table: Contract) -> list[str]:
    return [each.name for each in table.fields if each.starred]


def _header(table: Contract, file: str, data: bytes) -> tuple[int, list[str], int]:
    """In which row is the header, which names has it (trimmed), and at which byte begins the row below it?"""
    within = HEADER_WITHIN
    # A quoted line break may stand in the header, so it is plain where it ends only if no quotation mark is there.
    start = data[:HEADER_MOSTLY_WITHIN]
    if b'"' not in start and b"\n" in start.lstrip(BLANK):
        within = HEADER_MOSTLY_WITHIN
    head = data[:within].decode("utf-8", errors="ignore")
    _refuse_separator(table, file, head)
    text = io.StringIO(head, newline="")
    for row, cells in enumerate(_records(table, file, text, 1), start=1):
        if any(cell.strip() for cell in cells):
            header = [cell.strip() for cell in cells]
            return row, header, len(head[: text.tell()].encode("utf-8"))
    raise _refuse(table, file, "has no header line", f"Put one in: {','.join(_starred(table))}")


def _refuse_separator(table: Contract, file: str, head: str) -> None:
    """Are the columns separated by something else than commas? Then refuse the file and say so."""
    lines = enumerate(io.StringIO(head), start=1)
    row, line = next(((row, line) for row, line in lines if line.strip(' ,;|"\t\r\n')), (0, ""))

    def known(mark: str) -> set[str]:
        return {part.strip(' "\r\n') for part in line.split(mark)} & set(table.names)

    for mark, word in ((";", "semicolons"), ("\t", "tabs"), ("|", "bars")):
        if known(mark) and not known(","):
            raise _refuse(table, file, f"is separated by {word}", "Save it with commas between the columns.", row)


def _read_frame(table: Contract, file: str, body: bytes, names: list[str], first: int, plain: bool) -> pl.DataFrame:
    """All rows below the header, blank ones too, as texts with their row numbers; the first has the number `first`."""
    frame = _read_fast(body, names) if plain else None
    if frame is None:
        frame = _read_slowly(table, file, body, names, first)
    rows = pl.int_range(first, first + frame.height, dtype=pl.Int32, eager=True).alias("row")
    return frame.insert_column(0, rows)


def _read_fast(body: bytes, names: list[str]) -> pl.DataFrame | None:
    """The rows as Polars reads them; None when it cannot, as with rows longer than the header."""
    # A header of our own, because Polars drops blank lines above a header and compares names with the schema's.
    plain = [f"c{at}" for at in range(len(names))]
    try:
        frame = pl.read_csv(
            ",".join(plain).encode() + b"\n" + body, schema=dict.fromkeys(plain, pl.String), infer_schema=False
        )
    except pl.exceptions.PolarsError:
        return None
    return frame.rename(dict(zip(plain, names, strict=True)))


def _read_slowly(table: Contract, file: str, body: bytes, names: list[str], first: int) -> pl.DataFrame:
    """The rows record by record: for files with stray quotation marks or rows longer than the header."""
    rows = list(_records(table, file, io.StringIO(body.decode("utf-8"), newline=""), first))
    width = len(names)
    columns: dict[str, list[str | None]] = {
        name: [(cells[at] or None) if at < len(cells) else None for cells in rows] for at, name in enumerate(names)
    }
    beyond = [" ".join(filter(None, (cell.strip() for cell in cells[width:]))) or None for cells in rows]
    if any(beyond):
        columns[BEYOND_HEADER] = beyond
    return pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String))


def _trim(frame: pl.DataFrame, data: bytes, marks: Marks) -> pl.DataFrame:
    """Texts without white space around them, null for nothing. Only columns that need it are touched: it is dear."""
    texts = [name for name in frame.columns if name != "row"]
    if frame.is_empty() or not texts:
        return frame
    trimmed: list[str] = []
    if padded(data, marks):
        found_in = frame.select(pl.col(texts).str.contains(r"^\s|\s$").any()).row(0, named=True)
        trimmed = [name for name, found in found_in.items() if found]
    # A pair of quotation marks side by side is text of no length.
    if not trimmed and not empty_quotes(marks):
        return frame
    return frame.with_columns(pl.col(trimmed).str.strip_chars()).with_columns(pl.col(texts).replace("", None))


def _drop_blank(frame: pl.DataFrame) -> pl.DataFrame:
    if any(column.null_count() == 0 for column in frame.get_columns() if column.name != "row"):
        return frame
    return frame.filter(~pl.all_horizontal(pl.exclude("row").is_null()))
