"""What the logbook needs to know of each file, summed up once and saved beside the ledger (see store.py).

A file is read again when its size or time differs, or when it was changed close to its last reading; of one that only
grew, only what was added is read.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from pipeline.farm.folder import Farm, TableFile, table_files
from pipeline.farm.links import mending
from pipeline.farm.table_names import WORKBOOKS
from pipeline.files.looked import Stamp, look
from pipeline.logbook.facts import FactsByKey, FileFacts, facts_of
from pipeline.logbook.text_table import TextTable, read_text_table, without_totals
from schemas.contract import GROWING
from schemas.finding import UnreadableFile
from schemas.steps import STEPS

# So many bytes that are to be read take longer row by row than the import of what reads columns; and a file of fewer is
# read row by row all the same. Measured with `python -m tests.bench_weigh`.
MUCH, MUCH_OF_ONE = 1_000_000, 20_000


@dataclass(frozen=True)
class Shape:
    """How a file is written. `row` is the header's and `rows` how many stand below it, as the spreadsheet counts;
    `alike` the last day as written; `totals` whether the last row adds up the others; `ended` by a line end. The rest
    as in TextTable.
    """

    at: Mapping[str, int] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    row: int = 1
    rows: int = 0
    header: Sequence[str] = ()
    separator: str = ","
    line_end: str = "\n"
    workbook: bool = False
    alike: str = ""
    totals: bool = False
    ended: bool = True
    empty: bool = True


@dataclass(frozen=True)
class Summary:
    """One file of a table. `trouble`: why it cannot be read, or ""; it has no shape and no facts then. `facts`: of its
    parts, from the first row on.
    """

    table: str
    stamp: Stamp
    trouble: str = ""
    shape: Shape = field(default_factory=Shape)
    facts: tuple[FactsByKey, ...] = ()


# By table and file name, as "harvests:harvests/2026-05.csv".
Summaries = dict[str, Summary]
Texts = dict[str, dict[str, str]]


def current_summaries(farm: Farm, known: Summaries) -> tuple[Summaries, int]:
    """Return the summaries of the files as they are now, and how many bytes had to be read for them."""
    found: Summaries = {}
    read = 0
    sources = table_files(farm.folder, farm.conventions.files)
    # What texts of columns were read as, where there is much to read.
    texts: Texts | None = {} if _bytes_to_read(sources, known) > MUCH else None
    with STEPS.during("Reading the farm's files"):
        for at, source in enumerate(sources):
            STEPS.at("Reading the farm's files", at, len(sources))
            key = f"{source.table}:{source.name}"
            found[key], size = _current(farm, source, known.get(key), texts)
            read += size
    return found, read


def _bytes_to_read(sources: Iterable[TableFile], known: Summaries) -> int:
    """Return of how many bytes the files are that differ in size from what is known, less what was known of them."""
    total = 0
    for source in sources:
        summary = known.get(f"{source.table}:{source.name}")
        try:
            size = os.stat(source.path).st_size
        except OSError:
            continue
        total += size if summary is None or size < summary.stamp.size else size - summary.stamp.size
    return total


def _current(farm: Farm, source: TableFile, known: Summary | None, texts: Texts | None) -> tuple[Summary, int]:
    try:
        found = look(source.path, known.stamp if known else None)
    except OSError as problem:
        trouble = f"{source.name} cannot be opened ({problem.strerror or problem}). {mending(source.path)}"
        return Summary(source.table, Stamp(), trouble), 0
    if known and found.data is None:
        return known, 0
    if known and not known.trouble and found.added is not None:
        if not found.added:
            return replace(known, stamp=found.stamp), 0
        grown = None if len(found.added) > MUCH else _grown(farm, source, known, found.added)
        if grown:
            return replace(grown, stamp=found.stamp), len(found.added)
    data = found.data or b""
    return _summary(farm, source, data, found.stamp, texts), len(data)


def _summary(farm: Farm, source: TableFile, data: bytes, stamp: Stamp, texts: Texts | None) -> Summary:
    try:
        by_column = source.table in GROWING and not source.path.name.lower().endswith(WORKBOOKS)
        if texts is not None and len(data) > MUCH_OF_ONE and by_column:
            from pipeline.logbook.columns import read_columns

            if found := read_columns(source, data, farm, texts):
                last, height, facts = found
                return Summary(source.table, stamp, "", replace(_shape(last, data, Shape()), rows=height), (facts,))
        return Summary(source.table, stamp, "", *rows_read(farm, source, data))
    except UnreadableFile as problem:
        return Summary(source.table, stamp, problem.findings[0].sentence())


def rows_read(farm: Farm, source: TableFile, data: bytes) -> tuple[Shape, tuple[FileFacts]]:
    """Return how these bytes of the file are written and what they say, row by row. Raises UnreadableFile."""
    table = read_text_table(source, data, farm.conventions)
    return _shape(table, data, Shape()), (facts_of(source.table, table, farm.for_file(source.name)),)


def _grown(farm: Farm, source: TableFile, known: Summary, added: bytes) -> Summary | None:
    """Return the summary of a file that only grew, from the one before and what was added; None where those do not
    say enough.
    """
    before = known.shape
    odd = b'"' in added or b"\0" in added or (b"\r" in added) != (before.line_end == "\r\n")
    if odd or before.workbook or before.totals or not before.ended:
        return None
    try:
        text = added.decode("utf-8")
    except UnicodeDecodeError:
        return None
    rows = [line.removesuffix("\r").split(before.separator) for line in text.removesuffix("\n").split("\n")]
    entries = without_totals(source.table, before.at, rows)
    table = TextTable(before.at, before.units, before.row, before.header, entries, len(rows), before.separator)
    shape = replace(_shape(table, added, before), line_end=before.line_end)
    more = facts_of(source.table, table, farm.for_file(source.name))
    return replace(known, shape=shape, facts=_with_more(known.facts, more))


def _with_more(parts: tuple[FactsByKey, ...], more: FileFacts) -> tuple[FactsByKey, ...]:
    """Return these parts with what was added: joined to the last one where that is in memory by key."""
    last = parts[-1] if parts else None
    return (*parts[:-1], last.joined(more)) if isinstance(last, FileFacts) else (*parts, more)


def _shape(table: TextTable, data: bytes, before: Shape) -> Shape:
    """Return how a file is written that was written as `before`, and then got these rows."""
    last = next((row for row in reversed(table.rows) if any(cell.strip() for cell in row)), ())
    days = [
        cell
        for name in ("sold_on", "due_on", "picked_on", "seen_on", "inoculated_on")
        if (cell := table.cell(last, name))
    ]
    return Shape(
        table.at,
        table.units,
        table.row,
        before.rows + table.height,
        list(table.header),
        table.separator,
        table.line_end,
        table.workbook,
        days[0] if days else before.alike,
        table.ends_with_totals,
        data.endswith((b"\n", b"\r")),
        before.empty and table.empty,
    )
