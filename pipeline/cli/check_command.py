"""The command that tells what is wrong in the rows, what is missing, and what nobody said was over: check."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.farm_access import open_the_farm, read_ledger
from pipeline.cli.options import ReadOptions, spread
from pipeline.cli.show import notify
from schemas.finding import OutOfReach

if TYPE_CHECKING:
    from datetime import date

    from pipeline.farm.folder import Farm
    from schemas.audit_outcome import Audit
    from schemas.finding import Finding

HEADINGS = {
    "error": "Wrong in the ledger: found by the audit, whatever the files say.",
    "lost": "Lost: gillbook wrote these entries, and they are in no file any more.",
    "set_aside": "Set aside: these rows stay in their files and are in no figure.",
    "waiting": "Waiting: these rows follow once the row that they wait for is mended.",
    "dropped": "Cells not used: the row counts, the cell is taken as empty.",
    "warning": "Doubtful: counted as they stand.",
    "notice": "Good to know.",
    "missing": "What would make more numbers possible.",
}
SHOWN_OF_A_KIND = 3
SHOWN_MISSING = 12


@spread
def check(
    deep: Annotated[
        bool,
        typer.Option(
            "--deep",
            help="Also audit the loaded ledger: a second engine holds it against what is expected of it.",
        ),
    ] = False,
    *,
    read: ReadOptions,
) -> None:
    """Tell what is wrong in the rows, and how to mend it. Writes all of it to out/set_aside.csv and out/findings.csv.

    Exit code 1 if rows are set aside (but for rows of totals), entries are lost, or an expectation of severity error
    fails in the audit.
    """
    from pipeline.cli.deep import audit_lines
    from pipeline.cli.show import print_json, print_line

    until = read.day
    farm = open_the_farm(read.farm)
    found, audit = found_now(farm, until, deep)
    failed = _write_lists(farm, found)
    if read.json:
        print_json([each.record() for each in found])
    else:
        _print_findings(found)
        for line in audit_lines(audit, farm) if audit else ():
            print_line(line)
    if failed:
        raise OutOfReach(failed)
    errors = audit.failed("error") if audit else 0
    # A row of totals is in no figure either, but it may stand where it stands.
    if errors or any(each.level in ("lost", "set_aside", "waiting") and each.rule != "totals_row" for each in found):
        raise typer.Exit(1)


def found_now(farm: Farm, until: date, deep: bool) -> tuple[list[Finding], Audit | None]:
    """Return all findings as of a day, the audit's among them, and the audit."""
    from pipeline.audit.findings import findings as audit_findings
    from pipeline.cli.deep import audited
    from pipeline.farm.folder import unread_files
    from pipeline.ledger.findings import grouped_findings, ledger_findings
    from pipeline.ledger.flush_findings import flush_findings
    from pipeline.ledger.missing_inputs import missing_findings, silent_findings
    from pipeline.ledger.places import Places, with_places
    from pipeline.ledger.spellings import spelling_findings
    from pipeline.ledger.unseen_findings import unseen_findings
    from pipeline.logbook.lost import lost_entries, lost_findings
    from pipeline.models.flush_rule import flush_rule
    from pipeline.models.missing_cells import missing_cells
    from pipeline.models.silent import silent_units
    from pipeline.models.unseen_names import unseen_names
    from pipeline.models.view import Query

    places = Places(farm)
    with read_ledger(farm, "findings", note_rejected=False) as ledger:
        view = ledger.view(Query(until))
        found = [*farm.findings, *unread_files(farm), *grouped_findings(ledger, until)]
        audit = audited(view, farm, ledger_findings(ledger, until)) if deep else None
        found += flush_findings(flush_rule(ledger))
        found += silent_findings(farm, silent_units(view))
        found += missing_findings(places, missing_cells(view))
        found += spelling_findings(ledger)
        found += unseen_findings(unseen_names(ledger))
        found += lost_findings(farm, lost_entries(farm))
    if audit:
        found += audit_findings(audit)
    return with_places(places, found), audit


def _print_findings(found: Sequence[Finding]) -> None:
    from pipeline.cli.show import print_line, short

    if not found:
        typer.echo("Nothing found. Every row is loaded.")
    for level, heading in HEADINGS.items():
        of_level = [each for each in found if each.level == level]
        if not of_level:
            continue
        print_line(f"{heading} ({_count(of_level)})")
        groups = [list(group) for _, group in groupby(sorted(of_level, key=_kind), key=_kind)]
        for group in sorted(groups, key=lambda group: -max(each.waiting for each in group)):
            shown = SHOWN_MISSING if level == "missing" else SHOWN_OF_A_KIND
            for each in sorted(group, key=lambda each: (-each.waiting, each.file, each.row))[:shown]:
                print_line(f"  {short(replace(each, like_it=0).sentence())}", hanging="  ")
            if len(group) > shown:
                more = _count(group) - shown
                where = "out/findings.csv has all of them" if more == len(group) - shown else "see out/findings.csv"
                print_line(f"  ... and {more} more of this kind; {where}")
        typer.echo("")


def _count(found: Sequence[Finding]) -> int:
    """Return how many findings these stand for."""
    return sum(1 + each.like_it for each in found)


def _kind(each: Finding) -> tuple[str, str, str]:
    """Return the kind of a finding, of which a few are shown of many. Columns that nobody knows are one kind."""
    return each.table, "" if each.rule == "unknown_column" else each.column, each.rule


def _write_lists(farm: Farm, found: Sequence[Finding]) -> str:
    """Write out/set_aside.csv (rows set aside or waiting) and out/findings.csv (all). Return why they could not be
    written; "" where they were.
    """
    from pipeline.cli.deep import mend_out
    from pipeline.files.write_csv import write_csv
    from pipeline.ledger.findings import fitting
    from pipeline.ledger.lock import NOT_TO_BE_WRITTEN

    found = fitting(found)
    rejected = [each.record() for each in found if each.level in ("set_aside", "waiting")]
    try:
        farm.out.mkdir(exist_ok=True)
        write_csv(farm.out / "set_aside.csv", rejected)
        write_csv(farm.out / "findings.csv", [each.record() for each in found])
    except OSError as problem:
        if problem.errno in NOT_TO_BE_WRITTEN:
            notify("The whole list is in no file: the farm folder cannot be written. --json has it.")
            return ""
        return f"out/set_aside.csv cannot be written. {mend_out(farm, problem)} All findings: gillbook check --json"
    if rejected:
        notify("The whole list is in out/set_aside.csv.")
    return ""
