"""What --deep does, for check and report: the audit of the loaded ledger, kept as out/audit.json."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING

from pipeline.cli.clock import today
from pipeline.cli.farm_access import timed
from pipeline.cli.show import notify
from schemas.finding import Finding
from schemas.phrases import counted

if TYPE_CHECKING:
    from pipeline.farm.folder import Farm
    from pipeline.models.view import LedgerView
    from schemas.audit_outcome import Audit


def audited(view: LedgerView, farm: Farm, from_rows: Sequence[Finding]) -> Audit:
    """Run the audit and keep its result; say so where it cannot be written. `from_rows`: what was found in the rows as
    they were read.
    """
    from pipeline.audit.run import audit
    from pipeline.audit.saved import keep
    from pipeline.ledger.lock import NOT_TO_BE_WRITTEN

    with timed("audit"):
        found = audit(view, from_rows, today())
    try:
        keep(farm.out, found)
    except OSError as problem:
        if problem.errno in NOT_TO_BE_WRITTEN:
            notify("The audit is not in out/audit.json: the farm folder cannot be written.")
        else:
            notify(f"The audit is not in out/audit.json. {mend_out(farm, problem)}")
    return found


def mend_out(farm: Farm, problem: OSError) -> str:
    """Return why nothing can be written into out/, and how that is mended."""
    if os.path.lexists(farm.out) and not farm.out.is_dir():
        return "out is a file, and a folder of that name is wanted. Rename it or take it away."
    return f"{problem.strerror or problem}. Make room, or mend the rights of the folder out."


def audit_lines(audit: Audit, farm: Farm) -> list[str]:
    """Return what became of the audit as a whole, in lines that fit the screen; and where each expectation stands, if
    the farm folder can be written.
    """
    already = sum(each.already_reported for each in audit.outcomes if each.failed)
    undecided = f", {audit.undecided} cannot be judged yet" if audit.undecided else ""
    errors, warnings = counted(audit.failed("error"), "error"), counted(audit.failed("warning"), "warning")
    lines = [
        f"The audit (Great Expectations, over the loaded ledger, as of {audit.as_of}):",
        f"  {audit.held} of {len(audit.outcomes)} expectations hold; {errors}, {warnings}{undecided}.",
    ]
    if already:
        lines.append(f"  Of the warnings, {counted(already, 'row')} had been found in reading: the two agree.")
    where = "  Each of them, with its source, is in out/audit.json."
    return [*lines, where] if os.access(farm.folder, os.W_OK) and farm.out.is_dir() else lines
