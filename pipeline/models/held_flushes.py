"""How long each unit held its room, and what each of its flushes gave."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.models.unit_arrays import Flags, Numbers, UnitArrays, Whole
from pipeline.models.view import LedgerView


@dataclass(frozen=True)
class HeldFlushes(UnitArrays):
    """One entry per unit with a known number of containers and flush: every unit has every flush, from 1 to the highest
    of the farm. Ages and days in days, masses in g, nan where not known. by_choice: the unit was emptied or refilled;
    held_days: until its place was free; resolved_age: when the flush was known; last_age: at its last picking.
    """

    group_id: Whole
    soak_no: Whole
    age: Numbers
    containers: Numbers
    dry_g: Numbers
    spawn_g: Numbers
    by_choice: Flags
    held_days: Numbers
    flush: Whole
    resolved_age: Numbers
    fresh_g: Numbers
    last_age: Numbers


def held_flushes(view: LedgerView) -> HeldFlushes:
    """Return the flushes of the units of a view, in the order of units and flushes."""
    return HeldFlushes.of(view.arrays("held_flushes"))
