"""The report of a year, or of a span of months or days: which days are meant, what they gave, and the page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.farm_access import read_ledger, timed
from pipeline.cli.options import date_of, first_day
from pipeline.cli.report_files import show_written, write_files
from pipeline.farm.settings import text
from schemas.finding import WrongRequest

if TYPE_CHECKING:
    from pipeline.farm.folder import Farm
    from pipeline.models.view import Ledger
    from reports.span import Span

A_MONTH = len("2026-05")
Days = tuple[date, date]


@dataclass(frozen=True)
class SpanGiven:
    """The options that say which days a report is of."""

    month: Annotated[
        str | None,
        typer.Option("--month", metavar="YYYY-MM", help="The month to report. Default: the last one with pickings."),
    ] = None
    year: Annotated[
        int | None, typer.Option("--year", metavar="YYYY", help="A year in place of a month: its months side by side.")
    ] = None
    start: Annotated[
        str | None, typer.Option("--from", metavar="DAY", help="A span in place of a month: its first day, or month.")
    ] = None
    end: Annotated[
        str | None, typer.Option("--to", metavar="DAY", help="Its last day, or month. Default: the as-of day.")
    ] = None


def span_wanted(given: SpanGiven, until: date) -> Days | None:
    """Return the first and the last day of the year or span that is asked for; None where a month is. `until`: the last
    day of a span without an end. Raises WrongRequest for options that contradict each other, and for no days.
    """
    if given.year is None and given.start is None and given.end is None:
        return None
    ways = [given.month is not None, given.year is not None, given.start is not None or given.end is not None]
    if sum(ways) > 1:
        raise WrongRequest("Give one of --month, --year, or --from with --to.")
    if given.year is not None:
        if not 1900 <= given.year <= 9998:
            raise WrongRequest(f"--year {given.year}: that is not a year. Write four digits, like 2026.")
        first, last = date(given.year, 1, 1), date(given.year, 12, 31)
    elif given.start is None:
        raise WrongRequest("--to without --from: say with which day or month it begins.")
    else:
        first = _day("--from", given.start)
        last = until if given.end is None else _day("--to", given.end, ends=True)
    if first > until:
        raise WrongRequest(f"{first} has not come yet on {until}.")
    if last < first:
        raise WrongRequest(f"--to {last} is before --from {first}.")
    return first, last


def _day(option: str, given: str, ends: bool = False) -> date:
    from pipeline.models.measures import last_day

    if len(given) == A_MONTH and given[:4].isdigit() and given[4] == "-":
        first = first_day(option, given)
        return last_day(first) if ends else first
    return date_of(option, given)


def write_span(farm: Farm, days: Days, today: date, json: bool) -> Path:
    """Write the report of these days, and return where its page is."""
    from reports.span_page import render_span, span_json

    with read_ledger(farm, "measures") as ledger:
        span = gather_span(ledger, farm, days, min(days[1], today))
    with timed("page"):
        contents = {"html": render_span(span).encode(), "json": span_json(span).encode()}
    first, last = days
    whole_year = (first, last) == (date(first.year, 1, 1), date(first.year, 12, 31))
    period = f"{first.year}" if whole_year else f"{first}-to-{last}"
    written = write_files(farm, f"report-{period}", contents)
    show_written(period, written, json)
    return written["html"]


def gather_span(ledger: Ledger, farm: Farm, days: Days, as_of: date) -> Span:
    """Return the result tables and findings of these days, as of `as_of`."""
    from pipeline.growth.recipes import recipes
    from pipeline.ledger.findings import ledger_findings
    from pipeline.logbook.lost import lost_entries, lost_findings
    from pipeline.models.spans import of_span
    from pipeline.models.view import Query
    from reports.month import Month
    from reports.span import Span

    first, last = days
    view = ledger.view(Query(as_of))
    month = Month(
        farm_name=text(farm.settings, "name"),
        month=first.replace(day=1),
        as_of=as_of,
        late_from=text(farm.settings, "late_from"),
        tables=of_span(view, first, last) | {"recipes": recipes(view, first, last)},
        findings=[*ledger_findings(ledger, as_of), *lost_findings(farm, lost_entries(farm))],
        missing=(),
        of_span=True,
    )
    return Span(month, first, last)
