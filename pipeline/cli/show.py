"""Showing results: a plain table that fits 80 columns, or JSON."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any

import typer

WIDTH = 80
NOTHING = "-"


@dataclass(frozen=True)
class Column:
    """A column of a plain table: which key of the record, under which heading, shown how."""

    key: str
    heading: str
    decimals: int | None = None
    scale: float = 1.0


def _plain(value: object) -> object:
    if isinstance(value, Decimal):
        return float(value)
    if isinstance(value, date | datetime | time):
        return value.isoformat()
    return value if isinstance(value, str | int | float | bool | None) else str(value)


def as_json(records: Sequence[Mapping[str, Any]]) -> None:
    """Prints one array of objects: unrounded numbers, null for missing, ISO dates."""
    lines = [json.dumps({key: _plain(value) for key, value in each.items()}, ensure_ascii=False) for each in records]
    typer.echo("[" + ",\n ".join(lines) + "]")


def printable(text: str) -> str:
    """A cell's text without characters that would steer the terminal."""
    return "".join(letter if letter.isprintable() else " " for letter in text)


def _cell(record: Mapping[str, Any], column: Column) -> str:
    value = record[column.key]
    if value is None:
        return NOTHING
    if column.decimals is not None:
        return f"{float(value) * column.scale:.{column.decimals}f}"
    return printable(str(_plain(value)))


def as_table(records: Sequence[Mapping[str, Any]], columns: Sequence[Column], width: int = WIDTH) -> None:
    """Prints a plain table. Texts are cut, the longest first, until a line fits; numbers never are."""
    cells = [[_cell(record, column) for column in columns] for record in records]
    headings = [column.heading.split("\n") for column in columns]
    depth = max(len(lines) for lines in headings)
    heads = [[""] * (depth - len(lines)) + lines for lines in headings]
    widths = [max([len(line) for line in head] + [len(row[at]) for row in cells]) for at, head in enumerate(heads)]
    texts = [at for at, column in enumerate(columns) if column.decimals is None]
    while sum(widths) + 2 * (len(widths) - 1) > width and any(widths[at] > 4 for at in texts):
        widths[max(texts, key=lambda at: widths[at])] -= 1
    for level in range(depth):
        typer.echo(_line([head[level] for head in heads], widths, columns))
    typer.echo("  ".join("-" * each for each in widths))
    for row in cells:
        typer.echo(_line(row, widths, columns))


def _line(row: Sequence[str], widths: Sequence[int], columns: Sequence[Column]) -> str:
    parts = []
    for text, size, column in zip(row, widths, columns, strict=True):
        shown = text if len(text) <= size else text[: size - 1] + "~"
        parts.append(shown.rjust(size) if column.decimals is not None else shown.ljust(size))
    return "  ".join(parts).rstrip()
