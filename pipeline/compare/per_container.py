"""Mass per container, compared: it needs no dry mass, but containers alike."""

from __future__ import annotations

from dataclasses import dataclass
from math import fsum

import numpy as np

from pipeline.compare.factors import PACKAGES, Levels
from pipeline.compare.measures import Measure
from pipeline.farm.settings import Settings, number
from pipeline.models.compared_columns import Labels, MeasureParts
from pipeline.models.compared_units import ComparedUnits
from pipeline.models.unit_arrays import Flags

UNSIZED = "without kind and litres"


@dataclass(frozen=True)
class OneSize:
    """Which containers are counted, and which are left out: how many units there are of each size."""

    counted: tuple[str, ...]
    left_out: tuple[tuple[str, int], ...]


def of_one_size(units: ComparedUnits, of: Levels, measure: Measure) -> tuple[ComparedUnits, OneSize | None]:
    """Return the units, of which those of another size than most have nothing to divide by: a larger container gives
    more, which is no merit of its recipe. Where containers themselves are compared, most of each level. The second is
    None where all are of one size.
    """
    if not measure.of_one_size:
        return units, None
    by_level = of.factor in ("container", *PACKAGES["container"])
    part = units.parts[measure.name]
    counted = of.known & ~np.isnan(part.under)
    chosen = [counted & (of.codes == at) for at in range(len(of.order))] if by_level else [counted]
    usual = np.array([_usual(units.sizes, each) for each in chosen], dtype=np.int64)
    other = (
        counted & (units.sizes.codes != usual[of.codes if by_level else np.zeros_like(of.codes)])
        if len(usual)
        else counted
    )
    if not other.any():
        return units, None
    found = MeasureParts(part.over, np.where(other, np.nan, part.under), part.resolved)
    texts = (*units.sizes.texts, "")
    left_out = np.bincount(units.sizes.codes[other], minlength=len(units.sizes.texts))
    return units.with_parts(measure.name, found), OneSize(
        tuple(dict.fromkeys(texts[at] for at in usual.tolist())),
        tuple((texts[at], int(left_out[at])) for at in np.flatnonzero(left_out).tolist()),
    )


def _usual(sizes: Labels, chosen: Flags) -> int:
    """The place of the size that most of the chosen units have, of equally many the first; -1 where there are none."""
    return int(np.bincount(sizes.codes[chosen], minlength=len(sizes.texts)).argmax()) if chosen.any() else -1


def sizes_text(sizes: OneSize) -> str:
    """Return which containers count, and what to do for the others."""
    others = ", ".join(f"{_called(size)}: {count}" for size, count in sizes.left_out)
    counted = " and ".join(_called(size) for size in sizes.counted)
    return (
        f"A larger container gives more, so only these are counted: {counted}. Left out: {others}. To compare these, "
        "hold them alike (--within kind=..., --within volume_l=...), or take --measure g-per-litre."
    )


def _called(size: str) -> str:
    return size or UNSIZED


def smallest_mass(units: ComparedUnits, measure: Measure, settings: Settings) -> float:
    """Return from which difference in mass it is worth acting: a share of what all that count gave. 0 for none."""
    part = units.parts[measure.name]
    under = fsum(part.under[part.adding].tolist())
    if not under:
        return 0.0
    mean = measure.scale * fsum(part.over[part.adding].tolist()) / under
    return float(f"{number(settings, measure.smallest_effect) / 100 * mean:.2g}")
