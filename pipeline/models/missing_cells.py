"""The cells that would make more numbers possible."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.models.view import LedgerView


@dataclass(frozen=True)
class MissingCell:
    """A cell to be filled in or mended, where its row stands, and what it would give. number: BE, days, spawn rate or
    yield on wet; units: how many containers or batches would gain it.
    """

    number: str
    table_name: str
    file: str
    row: int
    column_name: str
    units: int


def missing_cells(view: LedgerView) -> list[MissingCell]:
    """Return the cells that are missing at the view's day: those of BE first, the most gained first."""
    return [MissingCell(*row) for row in view.tuples("missing_cells")]
