"""What --deep does, for check and report: the audit of the loaded ledger, kept as out/audit.json."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

from pipeline.cli.options import timed
from schemas.finding import Finding, OutOfReach

if TYPE_CHECKING:
    from pipeline.farm.folder import Farm
    from pipeline.models.view import LedgerView
    from schemas.audit_outcome import Audit


def audited(view: LedgerView, farm: Farm, from_rows: Sequence[Finding]) -> Audit:
    """Run the audit and keep its result. `from_rows`: what was found in the rows as they were read.

    Raises OutOfReach where the result cannot be written.
    """
    from pipeline.audit.run import audit
    from pipeline.audit.saved import keep

    with timed("audit"):
        found = audit(view, from_rows, date.today())
    try:
        keep(farm.out, found)
    except OSError as problem:
        raise OutOfReach(f"out/audit.json cannot be written: {problem.strerror}.") from problem
    return found


def audit_findings(audit: Audit) -> list[Finding]:
    """What should the grower hear of the audit, row by row where rows are at fault?"""
    from pipeline.audit.findings import findings

    return findings(audit)


def audit_lines(audit: Audit) -> list[str]:
    """How is the audit as a whole told, in lines that fit the screen?"""
    failed = [each for each in audit.outcomes if each.failed]
    told_above = sum(each.already_reported for each in failed)
    untold = f", {audit.undecided} cannot be told yet" if audit.undecided else ""
    lines = [
        f"The audit (Great Expectations, over the loaded ledger, as of {audit.as_of}):",
        f"  {audit.held} of {len(audit.outcomes)} expectations hold; {_of(audit.failed('error'), 'error')}, "
        f"{_of(audit.failed('warning'), 'warning')}{untold}.",
    ]
    if told_above:
        rows = "1 row" if told_above == 1 else f"{told_above} rows"
        lines.append(f"  Of the warnings, {rows} had been told by the screen: the two agree.")
    return [*lines, "  Each of them, with its source, is in out/audit.json."]


def _of(count: int, one: str) -> str:
    return f"{count} {one}" if count == 1 else f"{count} {one}s"
