"""The measures: the result tables of a view of the ledger, in the columns of their contracts."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from operator import itemgetter

from pipeline.farm.shelf_order import in_order_of_shelves
from pipeline.models.lost_shares import INTERVAL, SHARES, interval_columns
from pipeline.models.money import keeps_books, money_months
from pipeline.models.view import LedgerView, Models
from pipeline.models.weight_shares import BOUNDS
from schemas.contract import contract
from schemas.result_rows import ResultRows, in_columns

OF_MONTH = (
    "weeks",
    "strains",
    "strains_begun",
    "waiting_months",
    "finished_units",
    "finished_batches",
    "finished_recipes",
    "stages",
    "soaks",
    "picked_days",
    "months_by_kind",
    "days_by_kind",
    "batch_courses",
    "batch_pickings",
    "batch_kinds",
    "picking_rows",
)


def yields(view: LedgerView) -> ResultRows:
    """Biological efficiency and what it rests on, one record per group (contract `yields`)."""
    through = view.query.through_flush
    wanted = [each.name for each in contract("yields").fields if not each.only_through or through]
    return _with_groups(view, "yields", wanted)


def flushes(view: LedgerView) -> ResultRows:
    """The sums of each flush, one record per group and flush (contract `flushes`, without the columns that are
    estimated: pipeline.growth adds those).
    """
    return _with_groups(view, "flushes", [each.name for each in contract("flushes").fields if not each.estimated])


def days(view: LedgerView) -> ResultRows:
    """How long the waits are, one record per group and wait (contract `days`)."""
    return _with_groups(view, "days", contract("days").names)


def losses(view: LedgerView) -> ResultRows:
    """What was closed without a picking, one record per group; by container, over all its fillings (contract `losses`).

    The interval comes from the shares of soaks: see pipeline.stats.proportions.share_interval.
    """
    counted = [name for name in contract("losses").names if name not in INTERVAL]
    found = _with_groups(_with_fates(view), "losses", [*counted, *SHARES])
    for record in found:
        record.update(interval_columns(record, "container" in view.query.by))
    return [{key: record[key] for key in (*view.query.by, *contract("losses").names)} for record in found]


def causes(view: LedgerView) -> ResultRows:
    """Why units were closed without a picking, one record per group and cause (contract `causes`)."""
    return _with_groups(_with_fates(view), "causes", contract("causes").names)


def _with_fates(view: LedgerView) -> LedgerView:
    """Return a view whose groups are of the fillings themselves where they are by container."""
    return view.of_fillings() if "container" in view.query.by else view


def months(view: LedgerView) -> ResultRows:
    """What was picked, finished and inoculated in each month, one record per month (contract `months`), with its money
    where the farm keeps books.
    """
    paid = {row["month"]: row for row in money_months(view)} if keeps_books(view) else {}
    nothing = dict.fromkeys(contract("months").names)
    return in_columns("months", [{**nothing, **paid.get(row["month"], {}), **row} for row in view.records("months")])


def weeks(view: LedgerView) -> ResultRows:
    """What was picked in each week from the farm's first month to the as-of day, one record per week and strain
    (contract `weeks`).
    """
    found = view.records("months")
    if not found:
        return []
    view.set_variables(month_first=date.fromisoformat(f"{found[0]['month']}-01"), month_last=view.query.as_of)
    return _in_columns(view, "weeks")


def last_day(first: date) -> date:
    """Return the day that ends the month which `first` begins."""
    return (first.replace(day=28) + timedelta(days=4)).replace(day=1) - timedelta(days=1)


def of_month(view: LedgerView, month: date) -> dict[str, ResultRows]:
    """The tables in OF_MONTH, by name, of the month that `month` (its first day) begins."""
    view.set_variables(month_first=month, month_last=last_day(month))
    return {name: _in_columns(view, name) for name in OF_MONTH} | {"positions": positions(view)}


def positions(view: LedgerView) -> ResultRows:
    """What each written position gave, in the order of the shelves, one record per room and position (contract
    `positions`); none where no position is written.
    """
    nobody = {"container": "", "batch": ""}
    found = in_order_of_shelves({**row, **nobody} for row in view.records("positions"))
    return in_columns("positions", found)


def running_units(view: LedgerView) -> ResultRows:
    """What can still be picked from, in the order of the shelves: one record per running unit, and per filling of a
    batch weighed together (contract `running_units`).
    """
    view.set_variables(**BOUNDS)
    found = in_order_of_shelves(view.records("running_units"))
    return in_columns("running_units", found)


def ledger_id(ledger: Models) -> str:
    """The mark of what the ledger was made from: alike for the same files and settings, "" where it has none."""
    rows = ledger.records("ledger_id")
    return str(rows[0]["ledger_id"]) if rows else ""


def last_picked(ledger: Models, until: date) -> date | None:
    """The last day with a picking, up to a day. None where there is none."""
    ledger.set_variables(until=until)
    (row,) = ledger.records("last_picked")
    found: date | None = row["picked_on"]
    return found


def containers(ledger: Models) -> list[str]:
    """The names of the farm's containers in the order of the shelves, wherever they last stood."""
    return [str(row["container"]) for row in in_order_of_shelves(ledger.records("containers"))]


def filled_twice(ledger: Models) -> list[str]:
    """The containers that were filled more than once on one day, of which only the last counts as filled."""
    return [str(container) for (container,) in ledger.tuples("filled_twice")]


def separators(ledger: Models) -> dict[str, list[str]]:
    """The separators other than commas, in words: by each, the names of its files, in order."""
    return dict(ledger.tuples("separators"))


def _in_columns(view: LedgerView, name: str) -> ResultRows:
    """The rows of a model in the columns of its contract, each made in one go: a large farm has tens of thousands."""
    names, rows = view.table(name)
    wanted = contract(name).names
    if names == [*wanted]:
        return [dict(zip(wanted, row, strict=True)) for row in rows]
    cells = itemgetter(*map(names.index, wanted))
    return [dict(zip(wanted, cells(row), strict=True)) for row in rows]


def _with_groups(view: LedgerView, name: str, wanted: Sequence[str]) -> ResultRows:
    """The rows of a model with what each group is called, then these columns. Each is made in one go: a large farm has
    28,000 groups.
    """
    groups = {group: (*called.values(),) for group, called in view.groups().items()}
    names, rows = view.table(name)
    group_at, cells = names.index("group_id"), itemgetter(*map(names.index, wanted))
    keys = (*view.query.by, *wanted)
    return [dict(zip(keys, (*groups[row[group_at]], *cells(row)), strict=True)) for row in rows]
