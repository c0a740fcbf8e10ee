"""The result tables of a span of days: a year, some months, or any days from one to another."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

from pipeline.models.measures import last_day
from pipeline.models.view import LedgerView
from schemas.result_rows import ResultRow, ResultRows, Row, day_of, in_columns, number_of, whole_of

OF_SPAN = (
    "strains",
    "strains_begun",
    "finished_units",
    "finished_batches",
    "picked_days",
    "batch_courses",
)


def of_span(view: LedgerView, first: date, last: date) -> dict[str, ResultRows]:
    """Return the tables in OF_SPAN, by name, of the days from `first` to `last`, both included; `span_months`;
    `span_be`, the BE of what finished in them; `causes`, of what was lost; and
    `waiting_months` of those months that lie in the span as a whole.
    """
    view.set_variables(month_first=first, month_last=last)
    tables = {name: in_columns(name, view.records(name)) for name in OF_SPAN}
    until = min(last, view.query.as_of)
    months = [_month(tables, begun, first, until) for begun in _months(first, until)]
    whole = {row["month"] for row in months if row["whole"]}
    waiting = [row for row in view.records("waiting_months") if row["month"] in whole]
    units = tables["finished_units"]
    in_be = sum(1 for row in units if row["substrate_dry_g"] is not None)
    return tables | {
        "span_months": in_columns("span_months", months),
        "span_be": in_columns("span_be", [{"be_finished_pct": _be(units), "units_in_be": in_be}]),
        "causes": in_columns("causes", view.records("span_causes")),
        "waiting_months": in_columns("waiting_months", waiting),
    }


def _months(first: date, last: date) -> Iterator[date]:
    """The first day of each month that has a day in the span."""
    month = first.replace(day=1)
    while month <= last:
        yield month
        month = last_day(month) + timedelta(days=1)


def _month(tables: dict[str, ResultRows], month: date, first: date, last: date) -> ResultRow:
    start, end = max(month, first), min(last_day(month), last)
    days = [row for row in tables["picked_days"] if start <= day_of(row, "day") <= end]
    units = [row for row in tables["finished_units"] if start <= day_of(row, "finished_on") <= end]
    return {
        "month": f"{month:%Y-%m}",
        "days": (end - start).days + 1,
        "whole": (start, end) == (month, last_day(month)),
        "fresh_g": sum(number_of(row, "fresh_g") for row in days),
        "pickings": sum(whole_of(row, "pickings") for row in days),
        "units_finished": len(units),
        "units_lost": sum(1 for row in units if not row["fresh_g"]),
        "be_finished_pct": _be(units),
    }


def _be(units: list[ResultRow]) -> float | None:
    """Return fresh over dry mass of the units that have both, sum over sum; None where nothing was picked from them."""
    known: list[Row] = [row for row in units if row["substrate_dry_g"] is not None]
    fresh = sum(number_of(row, "fresh_g") for row in known)
    dry = sum(number_of(row, "substrate_dry_g") for row in known)
    return 100 * fresh / dry if fresh and dry else None
