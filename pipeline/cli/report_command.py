"""The command that writes the monthly report: it gathers result tables, and `reports` makes the page of them."""

from __future__ import annotations

import gc
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.farm_access import notify_newest_day, open_the_farm, read_ledger, timed
from pipeline.cli.options import AsOfOption, FarmOption, as_of_day, first_day, spread
from pipeline.cli.report_beside import process_beside
from pipeline.cli.report_files import ReportKind, contents_of, show_written, write_files
from pipeline.cli.report_span import SpanGiven, span_wanted, write_span
from pipeline.cli.show import notify
from pipeline.cli.typeset import can_typeset
from pipeline.farm.settings import text
from schemas.finding import Finding, WrongRequest
from schemas.phrases import counted
from schemas.steps import STEPS

if TYPE_CHECKING:
    from pipeline.cli.report_beside import Beside
    from pipeline.cli.report_tables import Tables
    from pipeline.farm.folder import Farm
    from pipeline.models.view import Ledger
    from reports.month import Month


@spread
def report(
    *,
    days: SpanGiven,
    brief: Annotated[bool, typer.Option("--brief", help="Its first page alone, to send by mail.")] = False,
    kind: Annotated[
        ReportKind, typer.Option("--format", help="html: a page for the screen; pdf: typeset for paper, A4.")
    ] = ReportKind.HTML,
    open_it: Annotated[bool, typer.Option("--open", help="Open it when it is written.")] = False,
    deep: Annotated[
        bool, typer.Option("--deep", help="Audit the ledger first, as gillbook check --deep does.")
    ] = False,
    as_of: AsOfOption = None,
    json: Annotated[bool, typer.Option("--json", help="One JSON array that names the month and its files.")] = False,
    farm: FarmOption = None,
) -> None:
    """Write the report of a month: one page that opens anywhere, without a network. As of the month's last day. Beside
    it stands the same as data, report-YYYY-MM.json.
    """
    from pipeline.models.measures import last_day, last_picked

    wanted = first_day("--month", days.month) if days.month else None
    if kind == ReportKind.PDF:
        can_typeset()
    today = as_of_day(as_of)
    farm_here = open_the_farm(farm)
    span = span_wanted(days, today)
    if span:
        if brief or kind == ReportKind.PDF:
            raise WrongRequest("--brief and --format pdf are for a month: leave out --year, --from and --to.")
        path = write_span(farm_here, span, today, json)
        if open_it:
            typer.launch(str(path))
        return
    with process_beside() as beside, read_ledger(farm_here, "measures", note_newest_day=False) as ledger:
        first = wanted or (last_picked(ledger, today) or today).replace(day=1)
        if first > today:
            raise WrongRequest(f"--month {first:%Y-%m}: that month has not begun.")
        until = min(last_day(first), today)
        notify_newest_day(ledger, until)
        if deep:
            _audit(ledger, farm_here, until)
        gathered = with_last_audit(ledger, farm_here, gather(ledger, farm_here, first, until, beside))
    # What was gathered stays to the end: to look through it for circles takes a tenth of the page's time.
    gc.freeze()
    with timed("page"):
        contents = contents_of(gathered, kind, brief)
    written = write_files(farm_here, f"report-{first:%Y-%m}{'-brief' if brief else ''}", contents)
    show_written(f"{first:%Y-%m}", written, json)
    if open_it:
        typer.launch(str(written[kind]))


def _without_later_days(found: Sequence[Finding], as_of: date) -> list[Finding]:
    """Return what a report tells of these: of a month that is over not which days come after it."""
    over = (as_of + timedelta(days=1)).day == 1
    return [each for each in found if not (over and each.rule == "future")]


def gather(ledger: Ledger, farm: Farm, first: date, as_of: date, beside: Beside | None = None) -> Month:
    """Return the result tables and findings of the month that `first` begins, as of `as_of`.
    beside: who compares meanwhile, if anybody.
    """
    from pipeline.cli import report_tables
    from pipeline.ledger.findings import ledger_findings
    from pipeline.ledger.flush_findings import flush_findings
    from pipeline.ledger.missing_inputs import missing_findings, silent_findings
    from pipeline.ledger.places import Places
    from pipeline.logbook.lost import lost_entries, lost_findings
    from pipeline.models.flush_rule import flush_rule
    from pipeline.models.missing_cells import missing_cells
    from pipeline.models.silent import silent_units
    from pipeline.models.view import Query
    from reports.month import Month

    at_work = beside if beside and beside.ask(ledger, as_of) else None
    settings, view = farm.settings, ledger.view(Query(as_of))
    silent, missing = silent_findings(farm, silent_units(view)), missing_findings(Places(farm), missing_cells(view))
    tables = report_tables.of_measures(view, first)
    found, lost = _without_later_days(ledger_findings(ledger, as_of), as_of), lost_findings(farm, lost_entries(farm))
    STEPS.at("The report: flushes and pins")
    tables |= report_tables.of_growth(view)
    compared = None if at_work else _compared(ledger, as_of)
    STEPS.at("The report: the weeks ahead")
    ahead, why_no_outlook = report_tables.of_outlook(ledger, as_of)
    if at_work:
        STEPS.at("The report: comparisons")
        # Now, for the other process may not be done yet.
        from reports.page import make_ready

        make_ready()
        compared = at_work.answer(lambda: report_tables.of_spawn(ledger, as_of))
    tables |= compared or _compared(ledger, as_of)
    return Month(
        farm_name=text(settings, "name"),
        month=first,
        as_of=as_of,
        late_from=text(settings, "late_from"),
        tables=tables | ahead,
        findings=[*found, *flush_findings(flush_rule(ledger)), *silent, *lost],
        missing=missing,
        why_no_outlook=why_no_outlook,
        currency=text(settings, "currency"),
    )


def _compared(ledger: Ledger, as_of: date) -> Tables:
    from pipeline.cli.report_tables import compared

    STEPS.at("The report: comparisons")
    return compared(ledger, as_of)


def _audit(ledger: Ledger, farm: Farm, as_of: date) -> None:
    """Audit the ledger and keep the result, which the page then quotes as the last one."""
    from pipeline.cli.deep import audited
    from pipeline.ledger.findings import ledger_findings
    from pipeline.models.view import Query

    errors = audited(ledger.view(Query(as_of)), farm, ledger_findings(ledger, as_of)).failed("error")
    if errors:
        notify(f"The audit found {counted(errors, 'error')}: gillbook check --deep tells where.")


def with_last_audit(ledger: Ledger, farm: Farm, month: Month) -> Month:
    """Return the month with the last audit, if there was one: stale when it was of another ledger than this."""
    from pipeline.audit.saved import last
    from pipeline.models.measures import ledger_id

    audit = last(farm.out)
    return replace(month, audit=audit, audit_is_stale=audit is not None and audit.ledger_id != ledger_id(ledger))
