"""The units of which nothing has been heard for long."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from pipeline.models.view import LedgerView


@dataclass(frozen=True)
class SilentUnit:
    """A container, or a batch as a whole (container None), and where its row stands. rule: lapsed (treated as ended,
    since that day) or idle (runs, nothing entered since); last_picked: None where nothing was.
    """

    table_name: str
    file: str
    row: int
    batch: str
    container: str | None
    rule: str
    last_picked: date | None
    since: date


def silent_units(view: LedgerView) -> list[SilentUnit]:
    """Return the units that are silent at the view's day: the lapsed first, those silent longest first."""
    return [SilentUnit(*row) for row in view.tuples("silent")]
