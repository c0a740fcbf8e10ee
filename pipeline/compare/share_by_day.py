"""The share of units that came so far by a day (pins, colonised), put on each unit so that it is compared as any other
measure is.
"""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from pipeline.compare.factors import Levels
from pipeline.models.compared_columns import MeasureParts, UnitWaits
from pipeline.models.compared_units import ComparedUnits
from pipeline.models.unit_arrays import Numbers, numbered
from pipeline.stats.incidence import pseudo_values

if TYPE_CHECKING:
    from pipeline.growth.pins import Pinning

NOTED, LOST, WAITING, UNNOTED = "noted", "lost", "waiting", "unnoted"
ROUNDING = 1e-9  # a pseudo-value that lies so near to 0 or 1 is it: what sums of floats leave


def with_share_by(units: ComparedUnits, of: Levels, measure: str, day: int, as_of: date) -> ComparedUnits:
    """Return the units with the share of them that came so far by `day` as their parts of the measure, which is one of
    pipeline.models.compared_units.WAITS.

    Over 1 it is a pseudo-value: 1 came so far, 0 had not, else what the others show of one that still waits; it may lie
    beside 0 to 1. Pooled over the units compared, a loss ruling it out; the mean over a soak is the soak's pseudo-value
    (stats.incidence.pseudo_values). A unit that went on without a note of it has the value of the noted ones of its
    batch. At a level where nobody was followed to `day`, or all that are known fared alike, the waiting would add no
    more than a guess from the other levels, and no spread is no evidence: there, soaks younger than `day` wait.
    """
    waits = units.waits[measure]
    counts = of.known & np.array([fate is not None for fate in waits.fate], dtype=bool)
    apart = np.zeros(len(units), dtype=bool)
    for at in range(len(of.order)):
        own = counts & (of.codes == at)
        if own.any() and not _shows(waits.where(own), day):
            apart |= own
    left_out = apart & (units.inoculated_on > np.datetime64(as_of) - day)
    value = np.full(len(units), np.nan)
    for chosen in (counts & ~apart, apart & ~left_out):
        value[chosen] = _values(waits.where(chosen), day)
    known = left_out | ~np.isnan(value)
    return units.with_parts(measure, MeasureParts(np.nan_to_num(value), known.astype(float), ~left_out))


def _pooled(waits: UnitWaits) -> Pinning:
    from pipeline.growth.pins import of_units
    from pipeline.models.pinned_units import WaitsForPins

    return of_units(WaitsForPins(waits.batch, np.zeros(len(waits), dtype=np.int64), waits.fate, waits.day))


def _shows(own: UnitWaits, day: int) -> bool:
    """Whether these units show the share by `day`: one was followed so long, and some came so far by then, some not."""
    own = own.where(own.fate != UNNOTED)
    early, late = own.day <= day, own.day > day
    some = bool(((own.fate == NOTED) & early).any())
    others = bool(((own.fate == LOST) | late).any())
    others = others or bool(((own.fate == WAITING) & ~(own.day < day)).any())
    return some and others and _pooled(own).curve.covers(day)


def _values(waits: UnitWaits, day: int) -> Numbers:
    """The pseudo-value of each unit, nan for none. Units of one day and fate have the same, so it is worked out once
    for them all.
    """
    found = np.full(len(waits), np.nan)
    pooled = _pooled(waits)
    if not len(pooled.days):
        return found
    alike = (3 * pooled.days + pooled.ends).astype(int)
    value_of = pseudo_values(pooled.days, pooled.ends, alike, day, pooled.stands_for)
    rounded = {kind: _rounded(value) for kind, value in value_of.items()}
    noted = waits.fate != UNNOTED
    found[noted] = [rounded[kind] for kind in alike.tolist()]
    batch = numbered(waits.batch)
    own = waits.fate == NOTED
    total, count = (
        np.bincount(batch[own], found[own], batch.max() + 1),
        np.bincount(batch[own], minlength=batch.max() + 1),
    )
    stood_for = ~noted & (count[batch] > 0)
    found[stood_for] = (total / np.maximum(count, 1))[batch[stood_for]]
    return found


def _rounded(value: float) -> float:
    whole = float(round(value))
    return whole if whole in (0.0, 1.0) and abs(value - whole) < ROUNDING else float(value)
