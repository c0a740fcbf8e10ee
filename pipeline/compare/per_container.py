"""Mass per container, compared: it needs no dry mass, but containers alike."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import fsum

from pipeline.compare.factors import PACKAGES, Levels
from pipeline.compare.measures import Measure
from pipeline.farm.settings import Settings, number
from pipeline.models.compared_units import ComparedUnit, MeasureParts

UNSIZED = "without kind and litres"


@dataclass(frozen=True)
class OneSize:
    """Which containers are counted, and which are left out: how many units there are of each size."""

    counted: tuple[str, ...]
    left_out: tuple[tuple[str, int], ...]


def of_one_size(
    units: Sequence[ComparedUnit], of: Levels, measure: Measure
) -> tuple[Sequence[ComparedUnit], OneSize | None]:
    """Return the units, of which those of another size than most have nothing to divide by: a larger container gives
    more, which is no merit of its recipe. Where containers themselves are compared, most of each level. The second is
    None where all are of one size.
    """
    if not measure.of_one_size:
        return units, None
    by_level = of.factor in ("container", *PACKAGES["container"])
    usual = {
        level: _usual(
            [each for each in units if each.unit in of.label_of and level in ("", of.label_of[each.unit])], measure
        )
        for level in (of.order if by_level else ("",))
    }
    found, left_out = [], Counter[str]()
    for each in units:
        level = of.label_of.get(each.unit)
        part = each.parts[measure.name]
        if level is not None and part.under is not None and each.size != usual[level if by_level else ""]:
            left_out[each.size] += 1
            part = MeasureParts(part.over, None, part.resolved)
        found.append(replace(each, parts={**each.parts, measure.name: part}))
    if not left_out:
        return found, None
    return found, OneSize(tuple(dict.fromkeys(usual.values())), tuple(sorted(left_out.items())))


def _usual(units: Sequence[ComparedUnit], measure: Measure) -> str:
    sizes = Counter(each.size for each in units if each.parts[measure.name].under is not None)
    return min(sizes, key=lambda size: (-sizes[size], size), default="")


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


def smallest_mass(units: Sequence[ComparedUnit], measure: Measure, settings: Settings) -> float:
    """Return from which difference in mass it is worth acting: a share of what all that count gave. 0 for none."""
    parts = [part for each in units if (part := each.parts[measure.name]).resolved and part.under]
    under = fsum(part.under or 0.0 for part in parts)
    if not under:
        return 0.0
    mean = measure.scale * fsum(part.over for part in parts) / under
    return float(f"{number(settings, measure.smallest_effect) / 100 * mean:.2g}")
