"""How each unit stands to each flush, and what it gave in it."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.models.unit_arrays import Numbers, UnitArrays, Whole
from pipeline.models.view import LedgerView


@dataclass(frozen=True)
class ResolvedFlushes(UnitArrays):
    """One entry per unit of a dated batch and flush, from 1 to the highest of its group, in the order of flushes,
    groups and units. age: days since inoculation; resolved_age: the age at which the flush was known, nan while the
    unit still produces it; fresh_g, fresh_g_first: g of this flush and of flush 1; oldest_resolved: of this flush, the
    oldest age at which it was known of any unit of the farm that gave it or flush 1, nan where there is none.
    """

    group_id: Whole
    soak_no: Whole
    age: Numbers
    flush: Whole
    resolved_age: Numbers
    fresh_g: Numbers
    fresh_g_first: Numbers
    oldest_resolved: Numbers


def resolved_flushes(view: LedgerView) -> ResolvedFlushes:
    """Return how the units of a view stand to the flushes that their groups came to."""
    return ResolvedFlushes.of(view.arrays("resolved_flushes"))
