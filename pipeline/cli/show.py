"""What is printed: results as a plain table that fits the screen, as JSON or in sentences; messages on stderr."""

from __future__ import annotations

import json
import math
import os
import sys
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal
from typing import TYPE_CHECKING, TextIO

import typer

from pipeline.cli.cut_texts import cut_apart
from pipeline.cli.streams import give_up
from schemas.result_rows import Row
from schemas.unseen import shown_letter

if TYPE_CHECKING:
    from pipeline.compare.site_cells import SiteCells

# So many columns has what is printed into a file or pipe; and so many, at least and at most, what is printed on a
# terminal, which may say how wide it is.
USUAL_WIDTH, LEAST_WIDTH, MOST_WIDTH = 80, 40, 200
NOTHING = "-"
# No text is cut to fewer letters than this.
SHORTEST = 4
# A message with more letters than this is cut: our choice, no source.
LONGEST = 2000


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
    """What a run would show, for it to be put together with the answers of other farms: the rows and columns of its
    tables, its rows as JSON (None: none were asked for), its sentences unwrapped, and what it says beside them; cells:
    what a comparison gives to that over all sites.
    """

    tables: list[tuple[list[Row], list[Column]]] = field(default_factory=list)
    json: list[Row] | None = None
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


def _plain(value: object) -> object:
    if value is None or type(value) is str:
        return value
    if isinstance(value, Decimal):
        return float(value)
    if isinstance(value, float) and not math.isfinite(value):
        # JSON has no word for infinity or no number at all.
        return None
    if isinstance(value, date | datetime | time):
        return value.isoformat()
    return value if isinstance(value, str | int | float | bool | None) else str(value)


def print_json(records: Sequence[Row]) -> None:
    """Print one array of objects: unrounded numbers, null for missing, ISO dates. What would steer the terminal is
    escaped.
    """
    if GATHERING.into is not None:
        GATHERING.into.json = [*(GATHERING.into.json or []), *records]
        return
    lines = [json.dumps({key: _plain(value) for key, value in each.items()}, ensure_ascii=False) for each in records]
    lines = [line if line.isprintable() else _escaped(line) for line in lines]
    typer.echo("[" + ",\n ".join(lines) + "]")


def _escaped(line: str) -> str:
    return "".join(letter if letter.isprintable() else json.dumps(letter)[1:-1] for letter in line)


def printable(text: str) -> str:
    """A cell's text without characters that would steer the terminal; those that nobody sees are shown by number."""
    if text.isprintable():
        return text
    return "".join(letter if letter.isprintable() else shown_letter(letter) for letter in text)


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


def cell_texts(records: Sequence[Row], column: Column) -> list[str]:
    """Return the cells of a column as they are shown."""
    plain = [_plain(record[column.key]) for record in records]
    if column.decimals is None:
        return [NOTHING if value is None else printable(str(value)) for value in plain]
    return [
        NOTHING
        if value is None
        else f"{value * column.scale:.{column.decimals}f}"
        if isinstance(value, int | float)
        else printable(str(value))
        for value in plain
    ]


def print_table(records: Sequence[Row], columns: Sequence[Column], cut: bool = True) -> None:
    """Print a plain table that fits the screen. Texts may be cut (unless `cut` is false), the longest first; numbers
    never are. What does not fit even so is printed as one line per cell.
    """
    if GATHERING.into is not None:
        GATHERING.into.tables.append((list(records), list(columns)))
        return
    cells = [cell_texts(records, column) for column in columns]
    headings = [[printable(line) for line in column.heading.split("\n")] for column in columns]
    depth = max(len(lines) for lines in headings)
    heads = [[""] * (depth - len(lines)) + lines for lines in headings]
    widths = [max([len(line) for line in head] + [*map(len, cells[at])]) for at, head in enumerate(heads)]
    texts = [at for at, column in enumerate(columns) if column.decimals is None and not column.whole]
    beyond = sum(widths) + 2 * (len(widths) - 1) - screen_width()
    while cut and beyond > 0 and any(widths[at] > SHORTEST for at in texts):
        widths[max(texts, key=lambda at: widths[at])] -= 1
        beyond -= 1
    if beyond > 0:
        _as_lines([" ".join(lines).strip().replace("- ", "") for lines in heads], [*zip(*cells, strict=True)])
        return
    shown = [
        _aligned([*head, "-" * size, *own], size, column)
        for head, size, own, column in zip(heads, widths, cells, columns, strict=True)
    ]
    typer.echo("\n".join("  ".join(row).rstrip() for row in zip(*shown, strict=True)))


def _as_lines(names: Sequence[str], cells: Sequence[Sequence[str]]) -> None:
    """Print each record as a block of lines: the column's name, then its cell, wrapped."""
    width = screen_width()
    size = min(max(map(len, names)), width // 2)
    for row in cells:
        for name, text in zip(names, row, strict=True):
            shown = name if len(name) <= size else name[: size - 1] + "~"
            lines = _wrapped(text, width - size - 2)
            for at, line in enumerate(lines):
                typer.echo(f"{shown if at == 0 else '':{size}}  {line}".rstrip())
        typer.echo("")


def _wrapped(text: str, width: int) -> list[str]:
    """Return the lines of a cell. One with no end is cut wherever a line is full: looking for spaces takes too long."""
    if len(text) > LONGEST:
        return [text[at : at + width] for at in range(0, len(text), width)]
    return textwrap.wrap(text, width) or [""]


def _aligned(texts: Sequence[str], size: int, column: Column) -> list[str]:
    """The texts of a column, each as wide as it: cut, and numbers at the right."""
    named = cut_apart(texts, size)
    cut = [named[text] for text in texts]
    return [text.rjust(size) for text in cut] if column.decimals is not None else [text.ljust(size) for text in cut]
