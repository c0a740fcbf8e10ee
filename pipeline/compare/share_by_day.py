"""The share of units that came so far by a day (pins, colonised), put on each unit so that it is compared as any other
measure is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from pipeline.compare.factors import Levels
from pipeline.models.compared_units import ComparedUnit, MeasureParts, UnitWait

if TYPE_CHECKING:
    from pipeline.models.pinned_units import WaitsForPins

NOTED, LOST, WAITING, UNNOTED = "noted", "lost", "waiting", "unnoted"
ROUNDING = 1e-9  # a pseudo-value that lies so near to 0 or 1 is it: what sums of floats leave


def with_share_by(units: Sequence[ComparedUnit], of: Levels, measure: str, day: int, as_of: date) -> list[ComparedUnit]:
    """Return the units with the share of them that came so far by `day` as their parts of the measure, which is one of
    pipeline.models.compared_units.WAITS.

    Over 1 it is a pseudo-value: 1 came so far, 0 had not, else what the others show of one that still waits; it may lie
    beside 0 to 1. Pooled over the units compared, a loss ruling it out; the mean over a soak is the soak's pseudo-value
    (stats.incidence.pseudo_values). A unit that went on without a note of it has the value of the noted ones of its
    batch. At a level where nobody was followed to `day`, or all that are known fared alike, the waiting would add no
    more than a guess from the other levels, and no spread is no evidence: there, soaks younger than `day` wait.
    """
    waits = {each.unit: each.waits[measure] for each in units if measure in each.waits and each.unit in of.label_of}
    by_level: dict[str, list[str]] = {}
    for unit in waits:
        by_level.setdefault(of.label_of[unit], []).append(unit)
    apart = {unit for own in by_level.values() if not _shows([waits[each] for each in own], day) for unit in own}
    young = {each.unit for each in units if each.inoculated_on and (as_of - each.inoculated_on).days < day}
    left_out = apart & young
    value_of = _values({unit: wait for unit, wait in waits.items() if unit not in apart}, day)
    value_of |= _values({unit: wait for unit, wait in waits.items() if unit in apart - left_out}, day)
    return [_with_value(each, measure, value_of.get(each.unit), each.unit in left_out) for each in units]


def _with_value(unit: ComparedUnit, measure: str, value: float | None, left_out: bool) -> ComparedUnit:
    counts = left_out or value is not None
    share = MeasureParts(value or 0.0, float(counts), not left_out)
    return replace(unit, parts={**unit.parts, measure: share})


def _pooled(waits: Sequence[UnitWait]) -> WaitsForPins:
    import numpy as np

    from pipeline.models.pinned_units import WaitsForPins

    return WaitsForPins(
        np.array([each.batch for each in waits], dtype=np.uint64),
        np.zeros(len(waits), dtype=np.int64),
        np.array([each.fate for each in waits], dtype=object),
        np.array([each.day for each in waits], dtype=float),
    )


def _shows(own: Sequence[UnitWait], day: int) -> bool:
    """Whether these units show the share by `day`: one was followed so long, and some came so far by then, some not."""
    from pipeline.growth.pins import of_units

    own = [each for each in own if each.fate != UNNOTED]
    some = any(each.fate == NOTED and each.day <= day for each in own)
    others = any(each.fate == LOST or each.day > day for each in own)
    others = others or any(each.fate == WAITING and each.day >= day for each in own)
    return some and others and of_units(_pooled(own)).curve.covers(day)


def _values(waits: Mapping[str, UnitWait], day: int) -> dict[str, float]:
    """The pseudo-value of each unit. Units of one day and fate have the same, so it is worked out once for them all."""
    import numpy as np

    from pipeline.growth.pins import of_units
    from pipeline.stats.incidence import pseudo_values

    pooled = of_units(_pooled(list(waits.values())))
    if not len(pooled.days):
        return {}
    alike = (3 * pooled.days + pooled.ends).astype(int)
    value_of = pseudo_values(pooled.days, pooled.ends, alike, day, pooled.stands_for)
    noted = [unit for unit, wait in waits.items() if wait.fate != UNNOTED]
    found = {unit: _rounded(value_of[kind]) for unit, kind in zip(noted, alike.tolist(), strict=True)}
    of_batch: dict[int, list[float]] = {}
    for unit, value in found.items():
        if waits[unit].fate == NOTED:
            of_batch.setdefault(waits[unit].batch, []).append(value)
    for unit, wait in waits.items():
        if wait.fate == UNNOTED and wait.batch in of_batch:
            found[unit] = float(np.mean(of_batch[wait.batch]))
    return found


def _rounded(value: float) -> float:
    whole = float(round(value))
    return whole if whole in (0.0, 1.0) and abs(value - whole) < ROUNDING else float(value)
