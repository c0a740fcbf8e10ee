"""What figures of the whole farm are made of, by recipe, strain and kind of container: what the page adds up anew where
a reader filters it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from reports.figures import SHOWN_UNITS, field_of
from reports.filters import Filters, Marks
from reports.month import Month
from schemas.result_rows import Row, number_of, whole_of

MONTHS_SUMMED = 26  # those of the chart of months, and of the year before each: more than the page shows
EXACT = 12  # digits of an amount: thousandths of a gram of a large farm
Parts = list[list[float]]  # each: the mark of what it is of, and how much


@dataclass(frozen=True)
class Summed:
    """A column of a result table that is made of parts: rows of the table `of`, in its columns `parts` (over `over`, in
    per cent, where it is a ratio). `by`: the column in which both say whose row it is.

    `average`: the parts add up to a mean, where the column is a median. `upto`: all rows up to it are its parts.
    """

    column: str
    of: str
    parts: str
    by: str
    over: str = ""
    average: bool = False
    upto: bool = False


SUMMED = {
    "months": (
        Summed("fresh_g", "months_by_kind", "fresh_g", "month"),
        Summed("units_finished", "months_by_kind", "units_finished", "month"),
        Summed("units_lost", "months_by_kind", "units_lost", "month"),
        Summed("be_finished_pct", "months_by_kind", "fresh_in_be_g", "month", over="substrate_dry_g"),
    ),
    "picked_days": (Summed("fresh_g", "days_by_kind", "fresh_g", "day"),),
    "outlook": (
        Summed("median_kg", "outlook_by_batch", "expected_kg", "week", average=True),
        Summed("sum_median_kg", "outlook_by_batch", "expected_kg", "week", average=True, upto=True),
    ),
}


def sums(month: Month, filters: Filters, marks: Marks) -> dict[str, object]:
    """Return the parts of each figure that is made of such, by its cell (table/row/column)."""
    found: dict[str, object] = {}
    for table, columns in SUMMED.items():
        for each in columns:
            marked = [(row, marks.of(filters.of_part(row))) for row in month.rows(each.of)]
            if marked:
                found |= {f"{table}/{at}/{each.column}": made for at, made in _cells(month, table, each, marked)}
    return found


def _cells(month: Month, table: str, of: Summed, marked: list[tuple[Row, int]]) -> Iterator[tuple[int, object]]:
    unit, divisor, decimals = SHOWN_UNITS[field_of(table, of.column).unit]
    shown = {
        "unit": unit,
        "divisor": divisor,
        "decimals": 0 if field_of(table, of.column).type == "integer" else decimals,
    }
    rows = month.rows(table)
    by_key: dict[object, list[tuple[Row, int]]] = {}
    for row, mark in marked:
        by_key.setdefault(row[of.by], []).append((row, mark))
    last = month.place() if table == "months" else None
    places = range(len(rows)) if last is None else range(max(0, last + 1 - MONTHS_SUMMED), last + 1)
    for at in places:
        own = _upto(marked, of.by, rows[at]) if of.upto else by_key.get(rows[at][of.by], [])
        made: dict[str, object] = {**shown, "parts": _added(own, of.parts)}
        made |= {"over": _added(own, of.over)} if of.over else {}
        yield at, made | ({"average": True} if of.average else {})


def _upto(marked: Iterable[tuple[Row, int]], by: str, row: Row) -> list[tuple[Row, int]]:
    return [(each, mark) for each, mark in marked if whole_of(each, by) <= whole_of(row, by)]


def _added(marked: Iterable[tuple[Row, int]], column: str) -> Parts:
    """Return how much is of each mark, in order of the marks; nothing of those without any."""
    found: dict[int, float] = {}
    for row, mark in marked:
        found[mark] = found.get(mark, 0.0) + number_of(row, column)
    return [[mark, float(f"{amount:.{EXACT}g}")] for mark, amount in sorted(found.items()) if amount]
