"""Of long tables some rows are shown, drawn and kept in report.json: which of them, and where all of them are.

What is added up anew where the page is filtered comes in tables of its own (reports/sums), which are never long.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from reports.month import Month
from schemas.finding import Finding
from schemas.result_rows import Row, number_of

# The page shows so many rows of a table; report.json beside it has all. Our choice, no source.
ROWS_SHOWN = 40
# And report.json so many of a table: all that a farm of some 100,000 pickings has. Our choice, no source.
ROWS_KEPT = 10_000
BESIDE = "; the file .json beside this page has all"
# Of these the last rows are kept, which are the newest or, by name, mostly so; of others the first.
NEWEST_LAST = frozenset({"soaks", "batch_courses", "batch_kinds", "batch_pickings", "picking_rows"})
# From worst to mildest: of many findings those are kept that come first in this order.
LEVELS = ("error", "lost", "set_aside", "waiting", "dropped", "missing", "warning", "notice")


def all_in(month: Month, whole: int) -> str:
    """Return the end of the line that says of how many rows a table shows some: where all of them are."""
    if whole <= ROWS_KEPT or month.of_span:
        return BESIDE
    return f"; gillbook export --month {month.month:%Y-%m} has all"


def all_findings_in(whole: int) -> str:
    """Return where all findings are. `whole`: how many the month has, of all levels."""
    return BESIDE if whole <= ROWS_KEPT else "; gillbook check tells of all"


def highest(rows: Sequence[Row], column: str, most: int) -> list[int]:
    """Return the numbers of the `most` of these rows with the highest value in this column, the highest first. All, as
    they come, where they are no more.
    """
    if len(rows) <= most:
        return [*range(len(rows))]
    return sorted(range(len(rows)), key=lambda at: -_value(rows[at], column))[:most]


def lowest_and_highest(rows: Sequence[Row], column: str, most: int) -> list[int]:
    """Return the numbers of `most` of these rows: of those above 0 in this column half with the lowest values, then
    half with the highest, in rising order. All, as they come, where no more than `most` are above 0.
    """
    above = [at for at in range(len(rows)) if _value(rows[at], column) > 0]
    if len(above) <= most:
        return [*range(len(rows))]
    above.sort(key=lambda at: _value(rows[at], column))
    return [*above[: most // 2], *above[-(most - most // 2) :]]


def _value(row: Row, column: str) -> float:
    return -1.0 if row[column] is None else number_of(row, column)


def evenly(numbers: Sequence[int], most: int) -> list[int]:
    """Return `most` of these numbers, evenly spread over them; all where they are no more."""
    if len(numbers) <= most:
        return [*numbers]
    return [numbers[at * len(numbers) // most] for at in range(most)]


def some_of_each_kind(found: Sequence[Finding], most: int) -> Sequence[Finding]:
    """Return `most` of these findings, in their order: the first of each rule, then the next of each, as far as there
    is room; all where they are no more.
    """
    if len(found) <= most:
        return found
    places: dict[tuple[str, str, str], int] = {}
    turns = []
    for at, each in enumerate(found):
        kind = (each.table, each.column, each.rule)
        places[kind] = places.get(kind, -1) + 1
        turns.append((places[kind], at))
    return [found[at] for at in sorted(at for _, at in sorted(turns)[:most])]


def rows_to_hold(name: str, whole: int, named: Collection[int]) -> list[int]:
    """Return which rows of a table report.json keeps, by their numbers: those that the page shows, draws or tells of,
    and beside them the first, or the newest, up to ROWS_KEPT.
    """
    room = max(0, ROWS_KEPT - len(named))
    every = reversed(range(whole)) if name in NEWEST_LAST else range(whole)
    others = (at for at in every if at not in named)
    return sorted({*named, *(at for at, _ in zip(others, range(room), strict=False))})


def findings_to_hold(found: Sequence[Finding]) -> list[int]:
    """Return which findings report.json keeps, by their numbers: the worst, up to ROWS_KEPT."""
    order = sorted(range(len(found)), key=lambda at: LEVELS.index(found[at].level))
    return sorted(order[:ROWS_KEPT])


def runs(numbers: Iterable[int]) -> list[list[int]]:
    """Return rising numbers as runs, the first and the last of each: 3, 5, 6, 7 are 3 to 3 and 5 to 7."""
    found: list[list[int]] = []
    for each in numbers:
        if found and found[-1][1] == each - 1:
            found[-1][1] = each
        else:
            found.append([each, each])
    return found
