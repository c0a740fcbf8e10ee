"""What is printed: results as a plain table that fits the screen, as JSON or in sentences; messages on stderr."""

from __future__ import annotations

import os
import sys
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import TYPE_CHECKING, TextIO

import typer

from pipeline.cli.cell_texts import column_texts, json_line, printable
from pipeline.cli.gathered_table import GatheredTable
from pipeline.cli.streams import give_up
from pipeline.cli.table_lines import TextColumn, table_lines
from schemas.result_rows import Row

if TYPE_CHECKING:
    from pipeline.compare.site_cells import SiteCells

# So many columns has what is printed into a file or pipe; and so many, at least and at most, what is printed on a
# terminal, which may say how wide it is.
USUAL_WIDTH, LEAST_WIDTH, MOST_WIDTH = 80, 40, 200
# A message with more letters than this is cut: our choice, no source.
LONGEST = 2000
# So many lines of a result are printed at once.
AT_ONCE = 50_000


@dataclass(frozen=True)
class Column:
    """A column of a plain table: which key of the record, under which heading, shown how. whole: a text with figures in
    it, which is never cut.
    """

    key: str
    heading: str
    decimals: int | None = None
    scale: float = 1.0
    whole: bool = False


@dataclass
class Gathered:
    """What a run would show, for it to be put together with the answers of other farms: its tables, its rows as lines
    of JSON (None: none were asked for), its sentences unwrapped, and what it says beside them; cells: what a comparison
    gives to that over all sites.
    """

    tables: list[GatheredTable] = field(default_factory=list)
    json: list[str] | None = None
    notes: list[str] = field(default_factory=list)
    paragraphs: list[str] = field(default_factory=list)
    cells: SiteCells | None = None


@dataclass
class Gathering:
    """Where tables, JSON and messages of this run go instead of the screen; None: they are shown. of_many: whether
    other farms are asked the same.
    """

    into: Gathered | None = None
    of_many: bool = False


GATHERING = Gathering()


def screen_width(screen: TextIO | None = None) -> int:
    """Return how many columns may be printed on this stream; by default on stdout."""
    stream = screen or sys.stdout
    try:
        if not stream.isatty():
            return USUAL_WIDTH
        said = os.environ.get("COLUMNS", "")
        columns = int(said) if said.isdecimal() else os.get_terminal_size(stream.fileno()).columns
    except (OSError, ValueError, AttributeError):
        return USUAL_WIDTH
    return min(max(columns, LEAST_WIDTH), MOST_WIDTH) if columns else USUAL_WIDTH


def _fitted(line: str, stream: TextIO, hanging: str = "") -> str:
    """The line as the terminal breaks it, between words; in a file or pipe it stays one line."""
    width = screen_width(stream)
    if len(line) <= width or not stream.isatty():
        return line
    indent = line[: len(line) - len(line.lstrip())] + hanging
    return textwrap.fill(line, width, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)


def print_line(line: str, hanging: str = "") -> None:
    """Print one line of a result: broken between words where the terminal is narrower; `hanging`: before what follows
    then.
    """
    _gather_paragraph(line)
    typer.echo(_fitted(printable(line), sys.stdout, hanging))


def _gather_paragraph(text: str) -> None:
    if GATHERING.into is not None and text.strip():
        GATHERING.into.paragraphs.append(printable(" ".join(text.split())))


def print_json(records: Sequence[Row]) -> None:
    """Print one array of objects: unrounded numbers, null for missing, ISO dates. What would steer the terminal is
    escaped.
    """
    if GATHERING.into is not None:
        GATHERING.into.json = [*(GATHERING.into.json or []), *map(json_line, records)]
        return
    print_json_lines(map(json_line, records))


def print_json_lines(lines: Iterable[str]) -> None:
    """Print one array of these lines, some thousand at once: those of many large farms do not fit into memory twice."""
    before = "["
    for some in _some_at_once(lines):
        typer.echo(before + ",\n ".join(some), nl=False)
        before = ",\n "
    typer.echo("[]" if before == "[" else "]")


def short(line: str) -> str:
    """A line of a message, cut where a cell of it has no end."""
    beyond = len(line) - LONGEST
    return line if beyond <= 0 else f"{line[:LONGEST]}... ({beyond:,} more letters)"


def notify(message: str) -> None:
    """Print on stderr what is no result: a message, a note under a table, a reason."""
    if GATHERING.into is not None:
        GATHERING.into.notes.append(message)
        return
    text = "\n".join(_fitted(printable(short(line)), sys.stderr) for line in message.split("\n"))
    try:
        typer.echo(text, err=True)
    except OSError:
        # A message that nobody can read stops nothing.
        give_up(sys.stderr)


def print_sentences(*sentences: str) -> None:
    """Print sentences that are the result, each from a line of its own, wrapped to the screen; empty ones are none."""
    for each in sentences:
        _gather_paragraph(each)
        for line in textwrap.wrap(printable(each), screen_width()):
            typer.echo(line)


def print_records(
    records: Sequence[Row], columns: Sequence[Column], json: bool, nothing: str, cut: bool = True
) -> bool:
    """Print records as JSON or as a plain table, or say that there is `nothing`; True after a table."""
    if json:
        print_json(records)
    elif not records:
        notify(nothing)
    else:
        print_table(records, columns, cut)
    return bool(records) and not json


def print_table(records: Sequence[Row], columns: Sequence[Column], cut: bool = True) -> None:
    """Print a plain table that fits the screen. Texts may be cut (unless `cut` is false), the longest first; numbers
    never are. What does not fit even so is printed as one line per cell.
    """
    if GATHERING.into is not None:
        GATHERING.into.tables.append(gathered_table(records, columns))
        return
    print_columns([_as_text(records, column, cut) for column in columns])


def print_columns(columns: Sequence[TextColumn]) -> None:
    """Print a plain table of these columns."""
    for some in _some_at_once(table_lines(columns, screen_width())):
        typer.echo("\n".join(some))


def _some_at_once(lines: Iterable[str]) -> Iterator[list[str]]:
    rest = iter(lines)
    while some := [*islice(rest, AT_ONCE)]:
        yield some


def gathered_table(records: Sequence[Row], columns: Sequence[Column]) -> GatheredTable:
    """Return a table as it is put together with those of other farms, whose texts may be cut."""
    return GatheredTable.of({column.key: _as_text(records, column, cut=True) for column in columns})


def _as_text(records: Sequence[Row], column: Column, cut: bool) -> TextColumn:
    heading = [printable(line) for line in column.heading.split("\n")]
    number = column.decimals is not None
    cells = column_texts([record[column.key] for record in records], column.decimals, column.scale)
    return TextColumn(heading, cells, right=number, cut=cut and not number and not column.whole)
