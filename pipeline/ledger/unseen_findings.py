"""Names that hold a letter which nobody sees, as findings."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.models.unseen_names import UnseenName
from schemas.finding import Finding


def unseen_findings(names: Sequence[UnseenName]) -> list[Finding]:
    """Return a finding for each of these cells; its sentence offers the name without the letter."""
    return [
        Finding(
            table=each.table_name,
            file=each.file,
            row=each.row,
            column=each.column,
            rule="unseen",
            level="warning",
            value=each.name,
            message="is not the name that it looks like",
            expected="a name that can be seen whole",
            fix="Other rows that mean it must be written alike.",
        )
        for each in names
    ]
