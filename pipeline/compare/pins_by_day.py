"""The share of units with pins by a day, put on each unit so that it is compared as any other measure is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from pipeline.compare.factors import Levels
from pipeline.models.compared_units import ComparedUnit, MeasureParts

if TYPE_CHECKING:
    from pipeline.models.pinned_units import WaitsForPins

UNNOTED = "unnoted"
ROUNDING = 1e-9  # a pseudo-value that lies so near to 0 or 1 is it: what sums of floats leave


def with_pins_by(units: Sequence[ComparedUnit], of: Levels, day: int, as_of: date) -> list[ComparedUnit]:
    """Return the units with their share with pins by `day` as their parts of the measure days.

    Over 1 it is a pseudo-value: 1 had pins, 0 had not, else what the others show of one that still waits; it may lie
    beside 0 to 1. Pooled over the units compared, a loss ruling pins out; the mean over a soak is the soak's
    pseudo-value (stats.incidence.pseudo_values). A unit picked from without a note of its pins has the value of the
    noted ones of its batch. At a level where nobody was followed to `day`, or all that are known fared alike, the
    waiting would add no more than a guess from the other levels, and no spread is no evidence: there, soaks younger
    than `day` wait.
    """
    with_pins = [each for each in units if each.pins and each.unit in of.label_of]
    by_level: dict[str, list[ComparedUnit]] = {}
    for each in with_pins:
        by_level.setdefault(of.label_of[each.unit], []).append(each)
    alone = [each for own in by_level.values() if not _shows(own, day) for each in own]
    left_out = {each.unit for each in alone if each.inoculated_on and (as_of - each.inoculated_on).days < day}
    apart = {each.unit for each in alone}
    value_of = _values([each for each in with_pins if each.unit not in apart], day)
    value_of |= _values([each for each in alone if each.unit not in left_out], day)
    return [_with_value(each, value_of.get(each.unit), each.unit in left_out) for each in units]


def _with_value(unit: ComparedUnit, value: float | None, left_out: bool) -> ComparedUnit:
    counts = left_out or value is not None
    days = MeasureParts(value or 0.0, float(counts), not left_out)
    return replace(unit, parts={**unit.parts, "days": days})


def _fate(unit: ComparedUnit) -> str:
    return unit.pins.fate if unit.pins else UNNOTED


def _waits(units: Sequence[ComparedUnit]) -> WaitsForPins:
    import numpy as np

    from pipeline.models.pinned_units import WaitsForPins

    pins = [each.pins for each in units if each.pins]
    return WaitsForPins(
        np.array([each.batch for each in pins], dtype=np.uint64),
        np.zeros(len(pins), dtype=np.int64),
        np.array([each.fate for each in pins], dtype=object),
        np.array([each.day for each in pins], dtype=float),
    )


def _shows(own: Sequence[ComparedUnit], day: int) -> bool:
    """Whether these units show the share by `day`: one was followed so long, and some had pins by then, some not."""
    from pipeline.growth.pins import of_units

    own = [each for each in own if _fate(each) != UNNOTED]
    pins = [each.pins for each in own if each.pins]
    some = any(each.fate == "pinned" and each.day <= day for each in pins)
    others = any(each.fate == "lost" or each.day > day for each in pins)
    others = others or any(each.fate == "waiting" and each.day >= day for each in pins)
    return some and others and of_units(_waits(own)).curve.covers(day)


def _values(units: Sequence[ComparedUnit], day: int) -> dict[str, float]:
    """The pseudo-value of each unit. Units of one day and fate have the same, so it is worked out once for them all."""
    import numpy as np

    from pipeline.growth.pins import of_units
    from pipeline.stats.incidence import pseudo_values

    pooled = of_units(_waits(units))
    if not len(pooled.days):
        return {}
    alike = (3 * pooled.days + pooled.ends).astype(int)
    value_of = pseudo_values(pooled.days, pooled.ends, alike, day, pooled.stands_for)
    noted = [each for each in units if _fate(each) != UNNOTED]
    found = {each.unit: _rounded(value_of[kind]) for each, kind in zip(noted, alike.tolist(), strict=True)}
    of_batch: dict[int, list[float]] = {}
    for each in noted:
        if each.pins and each.pins.fate == "pinned":
            of_batch.setdefault(each.pins.batch, []).append(found[each.unit])
    for each in units:
        if each.pins and each.pins.fate == UNNOTED and each.pins.batch in of_batch:
            found[each.unit] = float(np.mean(of_batch[each.pins.batch]))
    return found


def _rounded(value: float) -> float:
    whole = float(round(value))
    return whole if whole in (0.0, 1.0) and abs(value - whole) < ROUNDING else float(value)
