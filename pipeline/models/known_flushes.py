"""How each unit stands to each flush: what it gave, and at which age it was known, by what was picked and seen."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pipeline.models.unit_arrays import Days, Flags, Lines, Numbers, UnitArrays, Whole
from pipeline.models.view import LedgerView


@dataclass(frozen=True)
class FlushUnits(UnitArrays):
    """One entry per unit of a dated batch, in the order of groups and units. Days in days, masses in g, nan where not
    known. by_choice: the unit was emptied or refilled; held_days: until its place was free; known_through: see
    unit_states.sql; group_flushes, farm_flushes: the highest flush that its group, and the farm, came to.
    """

    unit: Lines
    group_id: Whole
    soak_no: Whole
    age: Numbers
    containers: Numbers
    dry_g: Numbers
    spawn_g: Numbers
    by_choice: Flags
    held_days: Numbers
    known_through: Whole
    group_flushes: Whole
    farm_flushes: Whole


@dataclass(frozen=True)
class FlushPickings(UnitArrays):
    """One entry per unit and flush picked: see flush_pickings.sql."""

    unit: Lines
    flush: Whole
    fresh_g: Numbers
    first_age: Numbers
    last_age: Numbers
    settled_age: Numbers


@dataclass(frozen=True)
class FlushPins(UnitArrays):
    """One entry per unit and flush of which pins are noted: see flush_pins.sql."""

    unit: Lines
    flush: Whole
    first_age: Numbers


@dataclass(frozen=True)
class FlushOfUnits:
    """How units stand to one flush, one entry per unit. resolved_age: the age at which the flush
    was known, nan while a unit still produces it; fresh_g, fresh_g_first: g of this flush and of flush 1;
    oldest_resolved: the oldest age at which this flush was known of any unit of the farm that gave it or flush 1; 0: of
    none.
    """

    group_id: Whole
    soak_no: Whole
    age: Numbers
    resolved_age: Days
    fresh_g: Numbers
    fresh_g_first: Numbers
    oldest_resolved: float


@dataclass(frozen=True)
class KnownFlushes:
    """The units of a view, and of each flush of the farm, from 1, what they gave (g), at which age that was known, and
    how old they were at its last picking (days): flushes x units, nan where not known.
    """

    units: FlushUnits
    fresh_g: Numbers
    resolved_age: Days
    last_age: Days

    def flushes(self) -> Iterator[FlushOfUnits]:
        """Yield how the units stand to each flush, from 1 on: those whose group came to it."""
        units = self.units
        for flush, (fresh, resolved) in enumerate(zip(self.fresh_g, self.resolved_age, strict=True), start=1):
            there = units.group_flushes >= flush
            came = slice(None) if there.all() else there
            yield FlushOfUnits(
                units.group_id[came],
                units.soak_no[came],
                units.age[came],
                resolved[came],
                fresh[came],
                self.fresh_g[0][came],
                self.oldest_resolved(flush),
            )

    def oldest_resolved(self, flush: int, some: Flags | None = None) -> float:
        """Return the oldest age at which this flush was known of any unit (of some of them) that gave it or flush 1;
        0: of none.
        """
        gave = (self.fresh_g[flush - 1] > 0) | (self.fresh_g[0] > 0)
        gave = gave if some is None else gave & some
        return float(np.fmax.reduce(self.resolved_age[flush - 1][gave], initial=0.0))


def known_flushes(view: LedgerView) -> KnownFlushes:
    """Return how the units of a view stand to each flush that the farm came to."""
    return resolved(
        FlushUnits.of(view.arrays("flush_units")),
        FlushPickings.of(view.arrays("flush_pickings")),
        FlushPins.of(view.arrays("flush_pins")),
    )


def resolved(units: FlushUnits, picked: FlushPickings, pins: FlushPins) -> KnownFlushes:
    """Return at what age each flush of each unit was known, and what it gave.

    A flush is known when the unit is closed or lapsed, when pins or a picking of a later flush are there, or when its
    last picking is flush_settled_days old: on the first of these days, of units that are known through it.
    """
    flushes = int(units.farm_flushes.max(initial=1))
    fresh = np.zeros((flushes, len(units)))
    known: Days = np.full(fresh.shape, np.nan, dtype=np.float32)
    last, later, held = known.copy(), known[0].copy(), units.held_days.astype(np.float32)
    by_unit = np.argsort(units.unit)
    lines = units.unit[by_unit]
    of_flush = {int(each.flush[0]): each for each in picked.parts(picked.flush)}
    of_pins = {int(each.flush[0]): each for each in pins.parts(pins.flush)}
    for flush in sorted({*range(1, flushes + 1), *of_pins}, reverse=True):
        if flush <= flushes:
            ages = np.fmin(held, later)
            if flush in of_flush:
                own = of_flush[flush]
                at = by_unit[np.searchsorted(lines, own.unit)]
                fresh[flush - 1, at], last[flush - 1, at] = own.fresh_g, own.last_age
                ages[at] = np.fmin(ages[at], own.settled_age)
                later[at] = np.fmin(later[at], own.first_age)
            known[flush - 1] = np.where(units.known_through >= flush, ages, np.nan)
        if flush in of_pins:
            at = by_unit[np.searchsorted(lines, of_pins[flush].unit)]
            later[at] = np.fmin(later[at], of_pins[flush].first_age)
    return KnownFlushes(units, fresh, known, last)
