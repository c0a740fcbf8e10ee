"""Reading: one CSV file becomes one frame of trimmed texts, with the row numbers that the spreadsheet shows.

Polars reads; where a file is not plainly well formed, Python's csv module reads it again to say what is wrong, or to
read what is unusual but clear. Nothing is ever skipped: a file is read whole or refused with a reason.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from hashlib import sha256

import polars as pl

from pipeline.farm import TableFile
from schemas.check import check_header
from schemas.contract import Contract, contract
from schemas.finding import Finding, UnreadableFile

BEYOND_HEADER = "(beyond the header)"
CSV_FIELD_LIMIT = 2**31 - 1


@dataclass(frozen=True)
class RawTable:
    """A file as read: `frame` has `row` (as the spreadsheet shows it, header = 1) and one text column per column of
    the file, null for blank; blank rows are left out and counted. rows_in = frame.height + rows_blank.
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
    skipped, header = _header(table, source.name, data)
    problems = check_header([name for name in header if name], table, source.name)
    if any(each.level == "set_aside" for each in problems):
        raise UnreadableFile(problems)
    names = [name or f"(column {at + 1})" for at, name in enumerate(header)]
    frame = _read_frame(table, source.name, data, names, skipped)
    rows_in = frame.height
    frame = _drop_blank(_trim(frame))
    return RawTable(source, frame, rows_in, rows_in - frame.height, digest, tuple(problems))


def _plain_text(table: Contract, file: str, data: bytes) -> bytes:
    """Is it UTF-8 text with a content? Without its byte-order mark, line ends as they are or one kind for CR alone."""
    if not data.strip(b"\xef\xbb\xbf \t\r\n"):
        raise _refuse(table, file, "is empty", f"Put a header line in it: {','.join(_starred(table))}")
    try:
        data.decode("utf-8")
    except UnicodeDecodeError as problem:
        row = data.count(b"\n", 0, problem.start) + 1
        raise _refuse(
            table,
            file,
            f"is not UTF-8 text (byte {problem.start + 1}, value {data[problem.start]:#04x})",
            "In the spreadsheet choose Save as: CSV UTF-8.",
            row,
        ) from problem
    data = data.removeprefix(b"\xef\xbb\xbf")
    return data if b"\n" in data else data.replace(b"\r", b"\n")


def _starred(table: Contract) -> list[str]:
    return [each.name for each in table.fields if each.starred]


def _header(table: Contract, file: str, data: bytes) -> tuple[int, list[str]]:
    """How many blank lines stand before the header, and which names does it have (trimmed)?"""
    text = io.StringIO(data[: 1 << 20].decode("utf-8", errors="ignore"), newline="")
    csv.field_size_limit(CSV_FIELD_LIMIT)
    for skipped, cells in enumerate(csv.reader(text)):
        if any(cell.strip() for cell in cells):
            header = [cell.strip() for cell in cells]
            if not set(header) & set(table.names):
                _refuse_separator(table, file, header, skipped + 1)
            return skipped, header
    raise _refuse(table, file, "has no header line", f"Put one in: {','.join(_starred(table))}")


def _refuse_separator(table: Contract, file: str, header: list[str], row: int) -> None:
    """Are the columns separated by something else than commas? Then refuse the file and say so."""
    line = ",".join(header)
    for mark, word in ((";", "semicolons"), ("\t", "tabs"), ("|", "bars")):
        if set(part.strip().strip('"') for part in line.split(mark)) & set(table.names):
            raise _refuse(table, file, f"is separated by {word}", "Save it with commas between the columns.", row)


def well_quoted(data: bytes) -> bool:
    """Does every quotation mark open, close or double as RFC 4180 has it, so that any reader reads the same rows?"""
    inside, skip = False, -1
    for match in re.finditer(rb'"', data):
        at = match.start()
        if at == skip:
            continue
        if not inside:
            if at and data[at - 1 : at] not in (b",", b"\n", b"\r"):
                return False
            inside = True
        elif data[at + 1 : at + 2] == b'"':
            skip = at + 1
        elif data[at + 1 : at + 2] in (b",", b"\n", b"\r", b""):
            inside = False
        else:
            return False
    return not inside


def _read_frame(table: Contract, file: str, data: bytes, names: list[str], skipped: int) -> pl.DataFrame:
    """All rows below the header, blank ones too, as texts with their row numbers."""
    first = skipped + 2
    if well_quoted(data):
        try:
            frame = pl.read_csv(data, schema=dict.fromkeys(names, pl.String), infer_schema=False)
        except pl.exceptions.PolarsError:
            frame = _read_slowly(table, file, data, names, skipped)
    else:
        frame = _read_slowly(table, file, data, names, skipped)
    return frame.with_row_index("row", offset=first).with_columns(pl.col("row").cast(pl.Int32))


def _read_slowly(table: Contract, file: str, data: bytes, names: list[str], skipped: int) -> pl.DataFrame:
    """As _read_frame, record by record: for files with stray quotation marks or rows longer than the header."""
    reader = csv.reader(io.StringIO(data.decode("utf-8"), newline=""), strict=True)
    records: list[list[str]] = []
    try:
        records.extend(reader)
    except csv.Error as problem:
        raise _refuse(
            table,
            file,
            f"has a quotation mark that opens or closes in the wrong place ({problem})",
            'Each " that opens a cell must close it; within a cell write it twice.',
            len(records) + 1,
        ) from problem
    width = len(names)
    rows = records[skipped + 1 :]
    columns: dict[str, list[str | None]] = {
        name: [cells[at] if at < len(cells) else None for cells in rows] for at, name in enumerate(names)
    }
    beyond = [" ".join(filter(None, (cell.strip() for cell in cells[width:]))) or None for cells in rows]
    if any(beyond):
        columns[BEYOND_HEADER] = beyond
    return pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String))


def _trim(frame: pl.DataFrame) -> pl.DataFrame:
    """Texts without white space around them, null for nothing. Only columns that need it are touched: it is dear."""
    texts = [name for name in frame.columns if name != "row"]
    if frame.is_empty() or not texts:
        return frame
    padded = frame.select(pl.col(texts).str.contains(r"^\s|\s$").any()).row(0, named=True)
    trimmed = [name for name, found in padded.items() if found]
    return frame.with_columns(pl.col(trimmed).str.strip_chars()).with_columns(pl.col(texts).replace("", None))


def _drop_blank(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.filter(~pl.all_horizontal(pl.exclude("row").is_null()))
