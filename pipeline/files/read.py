"""Reading: one CSV file becomes one frame of trimmed texts, with the row numbers that the spreadsheet shows.

Polars reads; where a file is not plainly well formed, Python's csv module reads it again to say what is wrong, or to
read what is unusual but clear. Nothing is ever skipped: a file is read whole or refused with a reason.
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from hashlib import sha256
from typing import TypeAlias

import polars as pl

from pipeline.farm.conventions import Conventions, Heading
from pipeline.farm.folder import TableFile
from pipeline.farm.links import mending
from pipeline.farm.table_names import WORKBOOKS
from pipeline.files.csv_scan import Marks, empty_quotes, padded, quotation_marks, well_quoted
from pipeline.files.dialect import (
    MARK,
    SEPARATORS,
    Dialect,
    dialect_of,
    plain_text,
    records,
    refuse,
    refuse_many_columns,
)
from pipeline.files.grown import Beginning, rest_begins
from pipeline.files.totals import TOTALS_AT_MOST, totals_at_end
from pipeline.files.wide import BEYOND_HEADER, heading_of, own_part, read_beside, tells_of_sheet
from schemas.check import check_header
from schemas.contract import Contract, contract
from schemas.finding import ORIGIN, Finding, UnreadableFile, finding
from schemas.pickings import FORMULA_MARKS, GUARD, WITHIN

# A file as read: where it stands (a workbook may tell more of that than farm.toml), the header's row, the header, the
# rows below it (columns c0, c1 ... and row), the findings on it, and its beginning, whose rows are not among these.
Read: TypeAlias = tuple[TableFile, int, tuple[str, ...], pl.DataFrame, list[Finding], Beginning | None]

# A text that was written with an apostrophe before it, lest a spreadsheet run it (see write_csv.guarded). White space
# that stood behind the apostrophe goes with it: texts are trimmed.
GUARDED = rf"^{GUARD}(?:[\t\r\n]\s*|({GUARD}*[{re.escape(FORMULA_MARKS)}]))"


@dataclass(frozen=True)
class RawTable:
    """A file as read: `frame` has `row` (as the spreadsheet shows it, header = 1) and one text column per column of
    the file, null for blank; blank rows are left out and counted. rows_in = frame.height + rows_blank.
    A column that the contract does not know is called (NAME), one without a name [column 4], so that neither can
    clash with a column of ours. `units`: columns that are written in a unit of the farm's own; `totals_rows`: rows at
    the end that sum up the others. `first`: where the file only grew since it was read, the first row that it has more;
    `frame` holds the rows from there on, `notices` nothing, and the counts are of all rows.
    """

    source: TableFile
    frame: pl.DataFrame
    rows_in: int
    rows_blank: int
    content_hash: str
    notices: tuple[Finding, ...]
    units: Mapping[str, str] = field(default_factory=dict)
    totals_rows: tuple[int, ...] = ()
    first: int = 0


def content_hash(data: bytes) -> str:
    """Return a hash that two files share only where they are the same, byte for byte."""
    return sha256(data).hexdigest()


def read_bytes(source: TableFile) -> bytes:
    """Return the bytes of the file. Raises UnreadableFile when the operating system does not give it."""
    try:
        return source.path.read_bytes()
    except OSError as problem:
        reason = problem.strerror or str(problem)
        raise refuse(
            contract(source.table),
            source.name,
            f"cannot be opened ({reason})",
            mending(source.path),
        ) from problem


def read_table(
    source: TableFile,
    data: bytes,
    conventions: Conventions = Conventions(),  # noqa: B008  (frozen)
    digest: str | None = None,
    beginning: Beginning | None = None,
) -> RawTable:
    """Return the rows of this file. Raises UnreadableFile when it cannot be read as its table. `digest`: the hash of
    its content, where it is known; `beginning`: how it begins, where those rows were read before.
    """
    table = contract(source.table)
    conventions = conventions.of_file(source.name)
    digest = digest or content_hash(data)
    if source.path.suffix.lower() in WORKBOOKS:
        source, row, header, frame, problems, before = _read_workbook(table, source, data, conventions)
    else:
        source, row, header, frame, problems, before = _read_text(table, source, data, conventions, beginning)
    if header[-1:] == (ORIGIN,):
        # Where a straightened row is from tells no entry from another.
        header, frame = header[:-1], frame.drop(f"c{len(header) - 1}")
    meant = [heading_of(source, name, conventions) for name in header]
    beside = [
        heading is None and read_beside(source, name, conventions) for name, heading in zip(header, meant, strict=True)
    ]
    own = [(name, heading) for name, heading, other in zip(header, meant, beside, strict=True) if name and not other]
    problems += _header_problems(source, table, own, row)
    refusing = [each for each in problems if each.level == "set_aside"]
    if refusing:
        raise UnreadableFile(refusing)
    names = [f"<{at}>" if beside[at] else _column_name(meant[at], name, at) for at, name in enumerate(header)]
    frame = frame.rename({f"c{at}": name for at, name in enumerate(names)})
    if tells_of_sheet(source):
        problems += _unnamed_columns(table, source.name, frame, row)
    rows_in = frame.height
    frame = _drop_blank(frame)
    totals = _totals_rows(table, frame)
    if source.beside:
        others = [name for at, name in enumerate(names) if beside[at]]
        frame = _drop_blank(own_part(source, table, frame, others, conventions.cell_format.blank_words))
    units = {heading.column: heading.unit for heading in meant if heading and heading.unit}
    totals = tuple(each for each in totals if each in frame["row"]) if totals else ()
    blank = rows_in - frame.height
    if before is None:
        return RawTable(source, frame, rows_in, blank, digest, tuple(problems), units, totals)
    rows_in, blank, first = rows_in + before.rows, blank + before.blank, row + before.rows + 1
    return RawTable(source, frame, rows_in, blank, digest, (), units, totals, first)


def _header_problems(
    source: TableFile, table: Contract, own: Sequence[tuple[str, Heading | None]], row: int
) -> list[Finding]:
    """The findings on the header, which refuse the file where their level is set_aside. `own`: its headings, but for
    those that other tables of the sheet read.
    """
    known = {name for other in (source.table, *source.beside) for name in contract(other).names}
    shared = [name for name, heading in own if heading is None and name in known]
    columns = [heading.column if heading else name for name, heading in own if heading or name not in shared]
    found = check_header(columns, table, source.name, row)
    twice = dict.fromkeys(name for name in shared if shared.count(name) > 1)
    found += [finding(table, source.name, row, name, "duplicate_column", "set_aside") for name in twice]
    found += [finding(table, source.name, row, name, "shared_column", "notice", name) for name in shared]
    return [each for each in found if each.level != "notice" or tells_of_sheet(source)]


def _totals_rows(table: Contract, frame: pl.DataFrame) -> tuple[int, ...]:
    """Return the spreadsheet rows at the end that sum up the others."""
    last = range(frame.height - 1, max(frame.height - 1 - TOTALS_AT_MOST, -1), -1)
    # One by one, for mostly the last row is none already.
    count = totals_at_end(table, (frame.drop("row").row(at, named=True) for at in last))
    return tuple(frame["row"].tail(count).to_list())


def _read_text(
    table: Contract, source: TableFile, data: bytes, conventions: Conventions, beginning: Beginning | None
) -> Read:
    """A file of text as read (see Read): without its beginning, where that changes nothing."""
    marked = data.startswith(MARK)
    data = plain_text(table, source.name, data)
    dialect = dialect_of(table, source.name, data, conventions)
    data = data[dialect.body :]
    marks = quotation_marks(data)
    plain = well_quoted(data, marks, dialect.separator)
    at, last_row = None, dialect.row
    if beginning and plain and all(dialect.header) and not source.beside:
        at = rest_begins(data, marks, dialect.separator, beginning.size - dialect.body - marked * len(MARK))
    if beginning is None or at is None:
        beginning = None
    else:
        data, marks, last_row = data[at:], marks[marks >= at] - at, dialect.row + beginning.rows
    frame = _read_frame(table, source.name, data, replace(dialect, row=last_row), plain)
    # Where quotation marks stand out of place, they do not tell which white space is within them.
    frame = _trim(frame, data, marks, not plain or padded(data, marks, dialect.separator))
    said: list[Finding] = []
    if dialect.separator != "," and tells_of_sheet(source):
        said = [finding(table, source.name, dialect.row, "", "separator", "notice", SEPARATORS[dialect.separator])]
    return source, dialect.row, dialect.header, frame, said, beginning


def _read_workbook(table: Contract, source: TableFile, data: bytes, conventions: Conventions) -> Read:
    """Return a sheet of a workbook as read (see Read)."""
    from pipeline.files.workbook_table import read_workbook_table

    found = read_workbook_table(table, source, data, conventions)
    refuse_many_columns(table, source.name, found.row, found.header)
    frame = _framed(found.rows, [f"c{column}" for column in range(len(found.header))])
    notices = [finding(table, source.name, found.row, name, "merged_cells", "notice", name) for name in found.merged]
    notices += found.said
    if tells_of_sheet(found.source):
        notices.insert(0, finding(table, source.name, found.row, "", "sheet", "notice", found.sheet))
    return found.source, found.row, found.header, _numbered(frame, found.row + 1), notices, None


def _column_name(heading: Heading | None, name: str, at: int) -> str:
    if heading:
        return heading.column
    return f"({name})" if name else f"[column {at + 1}]"


def _unnamed_columns(table: Contract, file: str, frame: pl.DataFrame, row: int) -> list[Finding]:
    """A notice for each column that has cells but no name; empty ones are what spreadsheets leave behind."""
    unnamed = [name for name in frame.columns if name.startswith("[")]
    return [
        finding(table, file, row, "", "unnamed_column", "notice", name.strip("[]"))
        for name in unnamed
        if frame[name].null_count() < frame.height
    ]


def _read_frame(table: Contract, file: str, body: bytes, dialect: Dialect, plain: bool) -> pl.DataFrame:
    """All rows below the header, blank ones too, as texts (c0, c1 ...) with their row numbers."""
    names = [f"c{at}" for at in range(len(dialect.header))]
    frame = _read_fast(body, names, dialect.separator) if plain else None
    if frame is None:
        frame = _read_slowly(table, file, body, names, dialect)
    return _numbered(frame, dialect.row + 1)


def _numbered(frame: pl.DataFrame, first: int) -> pl.DataFrame:
    """With the spreadsheet's row numbers, of which the first is `first`."""
    return frame.insert_column(0, pl.int_range(first, first + frame.height, dtype=pl.Int32, eager=True).alias("row"))


def _read_fast(body: bytes, names: list[str], separator: str) -> pl.DataFrame | None:
    """The rows as Polars reads them; None when it cannot, as with rows longer than the header."""
    # A header of our own, because Polars drops blank lines above a header and compares names with the schema's.
    header = separator.join(names).encode() + b"\n"
    try:
        return pl.read_csv(
            header + body, schema=dict.fromkeys(names, pl.String), infer_schema=False, separator=separator
        )
    except pl.exceptions.PolarsError:
        return None


def _read_slowly(table: Contract, file: str, body: bytes, names: list[str], dialect: Dialect) -> pl.DataFrame:
    """The rows record by record: for files with stray quotation marks or rows longer than the header."""
    text = io.StringIO(body.decode("utf-8"), newline="")
    return _framed(list(records(table, file, text, dialect.row + 1, dialect.separator)), names)


def _framed(rows: Sequence[Sequence[str | None]], names: list[str]) -> pl.DataFrame:
    """These rows as a frame: null for blank, and what stands beyond the header in a column of its own."""
    columns: dict[str, list[str | None]] = {
        name: [(cells[at] or None) if at < len(cells) else None for cells in rows] for at, name in enumerate(names)
    }
    width = len(names)
    beyond = [" ".join(filter(None, ((cell or "").strip() for cell in cells[width:]))) or None for cells in rows]
    if any(beyond):
        columns[BEYOND_HEADER] = beyond
    return pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String))


def _trim(frame: pl.DataFrame, data: bytes, marks: Marks, maybe_padded: bool) -> pl.DataFrame:
    """Texts without white space around them, null for nothing. Only columns that need it are touched: it is dear."""
    texts = [name for name in frame.columns if name != "row"]
    if frame.is_empty() or not texts:
        return frame
    trimmed: list[str] = []
    if maybe_padded:
        found_in = frame.select(pl.col(texts).str.contains(r"^\s|\s$").any()).row(0, named=True)
        trimmed = [name for name, found in found_in.items() if found]
        frame = frame.with_columns(pl.col(trimmed).str.strip_chars())
    if GUARD.encode() in data:
        unguarded = pl.col(texts).str.replace(GUARDED, "${1}")
        frame = frame.with_columns(unguarded.str.replace_all(WITHIN % (GUARD, GUARD), "${1}${3}${2}${4}"))
    # A pair of quotation marks side by side is text of no length.
    if not trimmed and not empty_quotes(marks):
        return frame
    return frame.with_columns(pl.col(texts).replace("", None))


def _drop_blank(frame: pl.DataFrame) -> pl.DataFrame:
    if any(column.null_count() == 0 for column in frame.get_columns() if column.name != "row"):
        return frame
    return frame.filter(~pl.all_horizontal(pl.exclude("row").is_null()))
