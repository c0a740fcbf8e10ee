"""What cannot be computed yet, and which cell would mend it."""

from __future__ import annotations

from reports.figures import Sentence, count, several
from reports.month import Month
from reports.section import Section, made
from reports.tables import findings_table


def sentence(month: Month) -> Sentence:
    """Return how many cells would make more numbers possible."""
    cells = count(month, "missing")
    if not cells.value:
        return ("No empty cell stands in the way of a number here.",)
    return (*several(cells, "empty cell"), " would make more numbers possible.")


def section(month: Month) -> Section:
    """Return this section of the report of a month."""
    return made(
        "missing",
        "What cannot be computed yet",
        sentence(month),
        (),
        (),
        [findings_table("missing", "Cells that would make more numbers possible", month.missing, len(month.missing))],
    )
