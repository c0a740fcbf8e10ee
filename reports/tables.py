"""The tables behind the charts: which columns of which result table are shown, under the contract's title and unit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from reports.columns import Limited, Merged, Range, Shown, View
from reports.figures import Day, Figure, Name, Part, Sentence, cell, field_of, shown_unit, within
from reports.long_tables import ROWS_SHOWN, all_findings_in, all_in, runs, some_of_each_kind
from reports.month import Month
from reports.words import month_name, spoken
from schemas.finding import Finding
from schemas.result_rows import Row, Rows, text_of

# Tables of more cells than these stand folded away until asked for; what is folded is not printed.
MANY_CELLS = 24
# More findings than these are left to the list of all of them. Our choice, no source.
FINDINGS_SHOWN = 60
# And more ranges of rows than these are counted. Our choice, no source.
RANGES_SHOWN = 40


@dataclass(frozen=True)
class Head:
    """The head of one column: the contract's title, the unit shown, whether it holds numbers, and the column of the
    result table ("": several, or none).
    """

    title: str
    unit: str
    numbers: bool
    column: str = ""


# What stands in a cell: a part, a number with its limits, or nothing.
Cell = Part | Sentence | None


@dataclass(frozen=True)
class PageTable:
    """A table as shown: an id, what it tells, the heads, and rows of cells (None for a cell with nothing to say).

    `source`, `numbers`: the result table that it shows, and which rows of it. `more`: of how many it shows some.
    `marks`: what each row is of (reports/filters.py), 0 for all.
    """

    id: str
    caption: str
    heads: tuple[Head, ...]
    rows: tuple[tuple[Cell, ...], ...]
    folded: bool = False
    more: str = ""
    source: str = ""
    numbers: tuple[int, ...] = ()
    marks: tuple[int, ...] = ()

    def own(self, at: int, each: Figure) -> str | None:
        """Return the column of a figure that is a cell of this very row of the result table that is shown, else None:
        it is then traced by the column alone.
        """
        start = f"{self.source}/{self.numbers[at]}/" if self.numbers else "/"
        return each.inputs[0].removeprefix(start) if each.inputs[0].startswith(start) else None


def table(
    month: Month, view: View, caption: str, last: int | None = None, some: Sequence[int] = (), how: str = ""
) -> PageTable | None:
    """Return the result table as shown, or None if it has no row. `last`: only so many of its last rows. `some`: these
    of its rows, and `how` they were chosen where they are not all.
    """
    rows = month.rows(view.source)
    first = max(0, len(rows) - last) if last else 0
    more = f"The last {last} of {len(rows)} rows{all_in(month, len(rows))}." if first else ""
    if some and len(some) < len(rows):
        more = f"{len(some)} of {len(rows)} rows, {how}{all_in(month, len(rows))}."
    return table_of(month, view, caption, some or range(first, len(rows)), more)


def table_of(month: Month, view: View, caption: str, every: Sequence[int], more: str = "") -> PageTable | None:
    """Return these rows of the result table as shown, the first of them where they are many; None if there are none."""
    numbers = every[:ROWS_SHOWN]
    if len(numbers) < len(every):
        more = f"The first {len(numbers)} of {len(every)} rows{all_in(month, len(month.rows(view.source)))}."
    if not numbers:
        return None
    rows = [month.rows(view.source)[at] for at in numbers]
    columns = [each for each in view.columns if _is_shown(each, view, rows)]
    heads = tuple(_head(view.source, column) for column in columns)
    cells = tuple(tuple(_cell(month, view.source, at, column) for column in columns) for at in numbers)
    folded = len(cells) * len(heads) > MANY_CELLS
    return PageTable(f"table-{view.name}", caption, heads, cells, folded, more, view.source, tuple(numbers))


def _is_shown(shown: Shown, view: View, rows: Rows) -> bool:
    name = shown.column if isinstance(shown, Limited) else shown
    return name not in view.if_known or any(row[name] is not None for row in rows)


def _head(table: str, shown: Shown) -> Head:
    match shown:
        case Merged(title):
            return Head(title, "", False)
        case Range(title, low):
            return Head(title, shown_unit(field_of(table, low)), True)
        case str(name) | Limited(name):
            field = field_of(table, name)
            unit = shown_unit(field) if field.is_number else ""
            said = unit.startswith("a ") and f"per {unit.removeprefix('a ')}" in field.title
            return Head(field.title, "" if said else unit, field.is_number, name)


def _cell(month: Month, table: str, at: int, shown: Shown) -> Cell:
    row = month.rows(table)[at]
    match shown:
        case Merged():
            return merged(shown, row)
        case Range(_, low, high):
            return (cell(month, table, at, low), " to ", cell(month, table, at, high))
        case Limited(name, low, high):
            return (cell(month, table, at, name), *within(month, table, at, low, high))
        case str(name):
            return cell(month, table, at, name) if field_of(table, name).is_number else _text(name, row)


def merged(shown: Merged, row: Row) -> Name:
    """Return the words of several columns as one: a recipe without what is blank in it."""
    given = [each for each in shown.columns if row[each] is not False and (row[each] or not shown.without_blanks)]
    return Name(shown.between.join(_words(str(row.get(shown.spoken_as) or each), row[each]) for each in given))


def _words(column: str, value: object) -> str:
    return "before a picking" if value is True else spoken(column, str(value))


# Columns of our own words, which are no names from a cell.
OWN_WORDS = frozenset({"factor", "measure", "verdict", "answer", "state", "part", "of", "unit"})
SPOKEN = frozenset({"factor", "measure", "of"})  # of these, those that name columns or measures


def _text(column: str, row: Row) -> Part | None:
    value = row[column]
    if value is None:
        return None
    if column == "month":
        return month_name(date.fromisoformat(f"{text_of(row, column)}-01"))
    if isinstance(value, date):
        return Day(value, short=True)
    if column in OWN_WORDS:
        return spoken(column, str(value)) if column in SPOKEN else str(value).replace("_", " ")
    if column == "container" and not value:
        return "whole batch"
    return Name(spoken(column, text_of(row, column)))


def findings_table(
    name: str, caption: str, found: Sequence[Finding], whole: int, waiting: bool = False
) -> PageTable | None:
    """Findings as a table: where, what, what to do, and with `waiting` how many rows wait; of many the first, or
    without `waiting` the first of each kind. `whole`: how many the month has. None without findings.
    """
    if not found:
        return None
    shown = found[:FINDINGS_SHOWN] if waiting else some_of_each_kind(found, FINDINGS_SHOWN)
    heads = ("Where", "What", "What to do", *(("Rows waiting",) if waiting else ()))
    rows = tuple(
        (
            Name(_where(each)),
            Name(f'"{each.value}" {each.message}' if each.value is not None else each.message),
            Name(each.fix),
            *((Name(str(each.waiting)) if each.waiting else None,) if waiting else ()),
        )
        for each in shown
    )
    first = "The first" if shown == found[: len(shown)] else "Some of each kind,"
    more = f"{first} {len(shown)} of {len(found)}{all_findings_in(whole)}." if len(shown) < len(found) else ""
    titles = tuple(Head(title, "", False) for title in heads)
    return PageTable(f"table-{name}", caption, titles, rows, len(rows) * len(heads) > MANY_CELLS, more)


def waiting_table(caption: str, found: Sequence[Finding], whole: int) -> PageTable | None:
    """Return which rows wait for which.

    One row for each parent and file, with the numbers of its rows; of many those with most rows. None without any.
    `whole`: how many findings the month has.
    """
    groups: dict[tuple[str, str], list[int]] = {}
    for each in found:
        parent = f"{each.waits_for[0]}, row {each.waits_for[1]}" if each.waits_for else "another row"
        groups.setdefault((parent, each.file), []).append(each.row)
    if not groups:
        return None
    shown = [*groups.items()]
    more = ""
    if len(groups) > FINDINGS_SHOWN:
        shown = sorted(shown, key=lambda of: -len(of[1]))[:FINDINGS_SHOWN]
        more = f"{len(shown)} of {len(groups)}, those with most rows{all_findings_in(whole)}."
    rows = tuple((Name(parent), Name(file), Name(_ranges(places))) for (parent, file), places in shown)
    heads = tuple(Head(title, "", False) for title in ("Waits for", "File", "Rows"))
    return PageTable("table-waiting", caption, heads, rows, len(rows) * len(heads) > MANY_CELLS, more)


def _ranges(rows: Sequence[int]) -> str:
    """Row numbers as a person writes them: 3, 5 to 8. Of many ranges the first, and how many rows more."""
    ranges = runs(sorted(set(rows)))
    shown = [str(first) if first == last else f"{first} to {last}" for first, last in ranges[:RANGES_SHOWN]]
    rest = sum(last - first + 1 for first, last in ranges[RANGES_SHOWN:])
    return ", ".join(shown) + (f", and {rest} more" if rest else "")


def _where(each: Finding) -> str:
    where = f"{each.file}, row {each.row}" if each.row else each.file
    return f"{where}, {each.column}" if each.column else where
