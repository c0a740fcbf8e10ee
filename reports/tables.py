"""The tables behind the charts: which columns of which result table are shown, under the contract's title and unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from reports.figures import Day, Name, Part, cell, field_of, shown_unit
from reports.month import Month
from reports.words import month_name, spoken
from schemas.finding import Finding

# Several columns of a table told as one: name -> (title, columns)
MERGED: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "recipe": ("Recipe", ("substrate", "treatment", "spawn_form")),
    "end": ("Ended by", ("finished_by", "contaminated_before_pick")),
    "kind": ("Substrate, treatment", ("substrate", "treatment")),
}
# Views that show other columns of a result table.
TABLE_OF = {"contaminated": "losses"}
SHOWN: Mapping[str, tuple[str, ...]] = {
    "months": (
        "month",
        "fresh_g",
        "pickings",
        "units_finished",
        "be_finished_pct",
        "units_inoculated",
        "be_inoculated_pct",
        "picked_late_pct",
        "culled_pct",
    ),
    "weeks": ("week", "strain", "fresh_g", "pickings"),
    "strains": ("strain", "fresh_g", "pickings", "share_pct"),
    "finished_batches": ("batch", "substrate", "units", "units_without_dry_mass", "fresh_g", "be_pct"),
    "finished_units": (
        "batch",
        "container",
        "strain",
        "recipe",
        "finished_on",
        "end",
        "fresh_g",
        "substrate_dry_g",
        "be_pct",
    ),
    "finished_recipes": ("recipe", "batches", "units", "units_without_dry_mass", "fresh_g", "be_pct"),
    "flushes": ("substrate", "flush", "units_known", "units_not_yet", "fresh_g", "share_pct", "decline_vs_first"),
    "days": (
        "substrate",
        "wait",
        "n",
        "median_days",
        "q1_days",
        "q3_days",
        "mean_days",
        "units_not_yet",
        "units_lost",
    ),
    "losses": (
        "kind",
        "units",
        "units_not_yet",
        "lost",
        "lost_pct",
        "low_pct",
        "high_pct",
        "why_no_interval",
        "soaks",
        "soaks_with_loss",
    ),
    "contaminated": ("kind", "units", "contaminated_before_pick", "contaminated_after_pick"),
    "causes": ("cause", "lost"),
    "soaks": ("soak", "inoculated_on", "units", "lost", "lost_pct"),
    "stages": ("cap_stage", "fresh_g", "pickings", "share_pct"),
}
# Tables of more cells than these stand folded away until asked for, or printed.
MANY_CELLS = 24
# More findings than these are left to the list of all of them. Our choice, no source.
FINDINGS_SHOWN = 60


@dataclass(frozen=True)
class Head:
    """The head of one column: the contract's title, the unit shown, whether it holds numbers."""

    title: str
    unit: str
    numbers: bool


@dataclass(frozen=True)
class Table:
    """A table as shown: an id, what it tells, the heads, and rows of parts (None for a cell with nothing to say)."""

    id: str
    caption: str
    heads: tuple[Head, ...]
    rows: tuple[tuple[Part | None, ...], ...]
    folded: bool = False
    more: str = ""


def table(month: Month, view: str, caption: str, last: int | None = None) -> Table | None:
    """The result table as shown, or None if it has no row. `last`: only so many of its last rows."""
    name = TABLE_OF.get(view, view)
    rows = month.rows(name)
    if not rows:
        return None
    first = max(0, len(rows) - last) if last else 0
    heads = tuple(_head(name, column) for column in SHOWN[view])
    shown = tuple(tuple(_shown(month, name, at, column) for column in SHOWN[view]) for at in range(first, len(rows)))
    more = f"The last {last} of {len(rows)} rows." if first else ""
    return Table(f"table-{view}", caption, heads, shown, len(shown) * len(heads) > MANY_CELLS, more)


def _head(name: str, column: str) -> Head:
    if column in MERGED:
        return Head(MERGED[column][0], "", False)
    each = field_of(name, column)
    numbers = each.type in ("number", "integer")
    return Head(each.title, shown_unit(each) if numbers else "", numbers)


def _shown(month: Month, name: str, at: int, column: str) -> Part | None:
    row = month.rows(name)[at]
    if column in MERGED:
        return Name(" · ".join(_words(each, row[each]) for each in MERGED[column][1] if row[each] is not False))
    if field_of(name, column).type in ("number", "integer"):
        return cell(month, name, at, column)
    return _told(column, row)


def _words(column: str, value: str | bool) -> str:
    return "before a picking" if value is True else spoken(column, str(value))


def _told(column: str, row: Mapping[str, Any]) -> Part | None:
    value = row[column]
    if value is None:
        return None
    if column == "month":
        return month_name(date(int(value[:4]), int(value[5:]), 1))
    if isinstance(value, date):
        return Day(value, short=True)
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
