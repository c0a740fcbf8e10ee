"""The tables behind the charts: which columns of which result table are shown, under the contract's title and unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from reports.columns import BANDS, LEFT_OUT_WHEN_BLANK, LIMITS, MERGED, SHOWN, TABLE_OF
from reports.figures import Day, Name, Part, Sentence, cell, field_of, shown_unit, within
from reports.month import Month
from reports.words import month_name, spoken
from schemas.finding import Finding

# Tables of more cells than these stand folded away until asked for; what is folded is not printed.
MANY_CELLS = 24
# More findings than these are left to the list of all of them. Our choice, no source.
FINDINGS_SHOWN = 60


@dataclass(frozen=True)
class Head:
    """The head of one column: the contract's title, the unit shown, whether it holds numbers."""

    title: str
    unit: str
    numbers: bool


# What stands in a cell: a part, a number with its limits, or nothing.
Cell = Part | Sentence | None


@dataclass(frozen=True)
class Table:
    """A table as shown: an id, what it tells, the heads, and rows of cells (None for a cell with nothing to say)."""

    id: str
    caption: str
    heads: tuple[Head, ...]
    rows: tuple[tuple[Cell, ...], ...]
    folded: bool = False
    more: str = ""


def table(month: Month, view: str, caption: str, last: int | None = None) -> Table | None:
    """The result table as shown, or None if it has no row. `last`: only so many of its last rows."""
    rows = month.rows(TABLE_OF.get(view, view))
    first = max(0, len(rows) - last) if last else 0
    more = f"The last {last} of {len(rows)} rows." if first else ""
    return table_of(month, view, caption, range(first, len(rows)), more)


def table_of(month: Month, view: str, caption: str, places: Sequence[int], more: str = "") -> Table | None:
    """These rows of the result table as shown, or None if there are none."""
    name = TABLE_OF.get(view, view)
    if not places:
        return None
    rows = [month.rows(name)[at] for at in places]
    columns = [
        column
        for column in SHOWN[view]
        if column not in LEFT_OUT_WHEN_BLANK or any(row[column] is not None for row in rows)
    ]
    heads = tuple(_head(name, column) for column in columns)
    shown = tuple(tuple(_shown(month, name, at, column) for column in columns) for at in places)
    return Table(f"table-{view}", caption, heads, shown, len(shown) * len(heads) > MANY_CELLS, more)


def _head(name: str, column: str) -> Head:
    if column in MERGED:
        return Head(MERGED[column][0], "", False)
    if column in BANDS:
        title, low, _ = BANDS[column]
        return Head(title, shown_unit(field_of(name, low)), True)
    each = field_of(name, column)
    numbers = each.type in ("number", "integer")
    return Head(each.title, shown_unit(each) if numbers else "", numbers)


def _shown(month: Month, name: str, at: int, column: str) -> Cell:
    row = month.rows(name)[at]
    if column in MERGED:
        return merged(column, row)
    if column in BANDS:
        _, low, high = BANDS[column]
        return (cell(month, name, at, low), " to ", cell(month, name, at, high))
    if (name, column) in LIMITS:
        return (cell(month, name, at, column), *within(month, name, at, *LIMITS[name, column]))
    if field_of(name, column).type in ("number", "integer"):
        return cell(month, name, at, column)
    return _told(column, row)


def merged(column: str, row: Mapping[str, Any]) -> Name:
    """How are several columns told as one? A recipe without what is blank in it."""
    if column == "pair":
        return Name(" against ".join(spoken(row["factor"], row[each]) for each in MERGED[column][1]))
    kept = [each for each in MERGED[column][1] if row[each] is not False and (column != "tried" or row[each])]
    return Name(" \u00b7 ".join(_words(each, row[each]) for each in kept))


def _words(column: str, value: str | bool) -> str:
    return "before a picking" if value is True else spoken(column, str(value))


# Columns of our own words, which are no names from a cell.
OWN_WORDS = frozenset({"factor", "measure", "verdict", "answer", "state", "part", "of", "unit"})


def _told(column: str, row: Mapping[str, Any]) -> Part | None:
    value = row[column]
    if value is None:
        return None
    if column == "month":
        return month_name(date(int(value[:4]), int(value[5:]), 1))
    if isinstance(value, date):
        return Day(value, short=True)
    if column in OWN_WORDS:
        return str(value).replace("_", " ")
    if column == "container" and not value:
        return "whole batch"
    return Name(spoken(column, value))


def findings_table(name: str, caption: str, found: Sequence[Finding], waiting: bool = False) -> Table | None:
    """Findings as a table: where, what, what to do, and with `waiting` how many rows wait. None without findings."""
    if not found:
        return None
    heads = ("Where", "What", "What to do", *(("Rows waiting",) if waiting else ()))
    rows = tuple(
        (
            Name(_where(each)),
            Name(f'"{each.value}" {each.message}' if each.value is not None else each.message),
            Name(each.fix),
            *((Name(str(each.waiting)) if each.waiting else None,) if waiting else ()),
        )
        for each in found[:FINDINGS_SHOWN]
    )
    more = (
        f"The first {FINDINGS_SHOWN} of {len(found)}; gillbook check lists all." if len(found) > FINDINGS_SHOWN else ""
    )
    shown = tuple(Head(title, "", False) for title in heads)
    return Table(f"table-{name}", caption, shown, rows, len(rows) * len(heads) > MANY_CELLS, more)


def waiting_table(caption: str, found: Sequence[Finding]) -> Table | None:
    """Which rows wait for which? One row for each parent and file, with the numbers of its rows. None without any."""
    groups: dict[tuple[str, str], list[int]] = {}
    for each in found:
        parent = f"{each.waits_for[0]}, row {each.waits_for[1]}" if each.waits_for else "another row"
        groups.setdefault((parent, each.file), []).append(each.row)
    rows = tuple((Name(parent), Name(file), Name(_runs(places))) for (parent, file), places in groups.items())
    heads = tuple(Head(title, "", False) for title in ("Waits for", "File", "Rows"))
    return Table("table-waiting", caption, heads, rows, len(rows) * len(heads) > MANY_CELLS) if rows else None


def _runs(rows: Sequence[int]) -> str:
    """Row numbers as a person writes them: 3, 5 to 8."""
    told: list[str] = []
    numbers = sorted(set(rows))
    start = 0
    for at in range(1, len(numbers) + 1):
        if at == len(numbers) or numbers[at] != numbers[at - 1] + 1:
            first, last = numbers[start], numbers[at - 1]
            told.append(str(first) if first == last else f"{first} to {last}")
            start = at
    return ", ".join(told)


def _where(each: Finding) -> str:
    where = f"{each.file}, row {each.row}" if each.row else each.file
    return f"{where}, {each.column}" if each.column else where
