"""How each unit of a dated batch stands to its pins."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.models.unit_arrays import Lines, Numbers, Texts, UnitArrays, Whole
from pipeline.models.view import LedgerView


@dataclass(frozen=True)
class WaitsForPins(UnitArrays):
    """Waits for pins, one entry per unit. batch_line: its batch; soak_no: the number of its soak; fate: noted, lost,
    waiting or unnoted (see unit_pinning.sql); days: to that fate.
    """

    batch_line: Lines
    soak_no: Whole
    fate: Texts
    days: Numbers


@dataclass(frozen=True)
class PinnedUnits(WaitsForPins):
    """The units of a view with their waits. group_id: their group."""

    unit: Lines
    group_id: Whole


def pinned_units(view: LedgerView) -> PinnedUnits:
    """Return how the units of dated batches stand to their pins, in the order of their lines."""
    return PinnedUnits.of(view.arrays("pinned_units"))
