"""Rows of result tables: cells by the columns of their contracts (schemas/results), which say the type of each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from operator import itemgetter

from schemas.contract import contract

ResultCell = str | int | float | bool | date | None
ResultRow = dict[str, ResultCell]
ResultRows = list[ResultRow]
# A row, or rows, as they are read: of whatever made them.
Row = Mapping[str, object]
Rows = Sequence[Row]


def text_of(row: Row, column: str) -> str:
    """Return the text of this cell, blank where it has none. Raises TypeError where it holds something else."""
    value = row[column]
    if not isinstance(value, str | None):
        raise TypeError(f"{column} is no text: {value!r}")
    return value or ""


def texts_of(rows: Rows, *columns: str) -> list[list[str]]:
    """Return the texts of these columns, as text_of does: of many rows in a fraction of the time."""
    texts = [[value for value in map(itemgetter(name), rows) if isinstance(value, str)] for name in columns]
    return [
        of if len(of) == len(rows) else [text_of(row, name) for row in rows]
        for name, of in zip(columns, texts, strict=True)
    ]


def number_of(row: Row, column: str) -> float:
    """Return the number of this cell. Raises TypeError where it holds none."""
    value = row[column]
    if not isinstance(value, int | float):
        raise TypeError(f"{column} is no number: {value!r}")
    return value


def number_if_known(row: Row, column: str) -> float | None:
    """Return the number of this cell, None where it has none. Raises TypeError where it holds something else."""
    return None if row[column] is None else number_of(row, column)


def whole_of(row: Row, column: str) -> int:
    """Return the whole number of this cell. Raises TypeError where it holds none."""
    value = row[column]
    if not isinstance(value, int):
        raise TypeError(f"{column} is no whole number: {value!r}")
    return value


def day_of(row: Row, column: str) -> date:
    """Return the day of this cell. Raises TypeError where it holds none."""
    value = row[column]
    if not isinstance(value, date):
        raise TypeError(f"{column} is no day: {value!r}")
    return value


def labels_of(rows: Rows, columns: Sequence[str]) -> list[tuple[str, ...]]:
    """Return the texts of these columns, a tuple for each row."""
    return [*zip(*texts_of(rows, *columns), strict=True)] if columns else [()] * len(rows)


def names_together(of_each: Iterable[Iterable[str]]) -> list[str]:
    """Return the names of all, each once, each where the first that has it puts it."""
    found: list[str] = []
    for names in of_each:
        at = 0
        for name in names:
            if name in found:
                at = found.index(name) + 1
            else:
                found.insert(at, name)
                at += 1
    return found


def in_columns(name: str, rows: Iterable[Mapping[str, ResultCell]]) -> ResultRows:
    """Return these rows with the columns of this result table alone, in the order of its contract."""
    names = contract(name).names
    return [{key: row[key] for key in names} for row in rows]
