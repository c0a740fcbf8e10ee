"""Collapse first: one value per soak and level. Containers are never compared, for those of one soak share its fate."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from math import fsum

from pipeline.compare.factors import AMOUNTS, CHOICES, CLUSTERS, READINGS, Levels, cell, number
from pipeline.compare.measures import Measure
from pipeline.models.compared_units import ComparedUnit, MeasureParts
from pipeline.stats.two_levels import DesignKind, design_of

# A soak counts once this share of its containers that gave anything, or still may, is far enough; those that do not yet
# are left out. Our choice, by simulation: see tests/calibrate_unfinished.py.
MOST = Fraction(4, 5)


@dataclass(frozen=True)
class DesignCell:
    """The units of one soak (a batch without one is its own) at one level, as one value.

    value: sum over sum, times the measure's scale; None while it waits, or where nothing is added. over, under: the
    sums; units: those that add to them; units_without: far enough, but nothing to add; units_not_yet: not far enough.
    Where there is any the whole cell waits, for a soak counts by its age and not by which of its containers were quick;
    of a measure that allows it (Measure.most) no longer than until most are in. shares: of each choice and cluster, the
    share of units at each of its labels. means: of each amount, the mean over the units that have one.
    """

    soak: str
    level: str
    value: float | None
    over: float
    under: float
    batches: tuple[str, ...]
    units: int
    units_without: int
    units_not_yet: int
    started: date | None
    shares: Mapping[str, Mapping[str, Fraction | int]]
    means: Mapping[str, float]


def cells(units: Iterable[ComparedUnit], of: Levels, measure: Measure) -> list[DesignCell]:
    """Return the cells that the units make, by level and soak. Units without a level are in none."""
    grouped: dict[tuple[str, str], list[ComparedUnit]] = {}
    for each in units:
        if each.unit in of.label_of:
            grouped.setdefault((of.label_of[each.unit], each.soak), []).append(each)
    place = {level: at for at, level in enumerate(of.order)}
    ordered = sorted(grouped.items(), key=lambda each: (place[each[0][0]], each[0][1]))
    return [_cell(soak, level, own, measure) for (level, soak), own in ordered]


def _cell(soak: str, level: str, units: Sequence[ComparedUnit], measure: Measure) -> DesignCell:
    parts = [each.parts[measure.name] for each in units]
    adding = [each for each, part in zip(units, parts, strict=True) if part.resolved and part.under]
    waiting = _waiting(parts)
    # Sums of floats depend on their order, fsum does not: the order of rows never matters.
    top = fsum(each.parts[measure.name].over for each in adding)
    bottom = fsum(each.parts[measure.name].under or 0.0 for each in adding)
    counts = bottom > 0 and far_enough(units, measure)
    # What went into it is that of the units that count, or will.
    own = adding or units
    return DesignCell(
        soak,
        level,
        measure.scale * top / bottom if counts else None,
        top,
        bottom,
        tuple(sorted({each.batch for each in units})),
        len(adding),
        len(units) - len(adding) - len(waiting),
        len(waiting),
        min((each.inoculated_on for each in own if each.inoculated_on), default=None),
        {name: _shares(own, name) for name in (*CHOICES, *CLUSTERS)},
        {name: mean for name in (*AMOUNTS, *READINGS) if (mean := _mean(own, name)) is not None},
    )


def far_enough(units: Sequence[ComparedUnit], measure: Measure) -> bool:
    """Return whether the units of one cell count: none still runs, or for some measures few enough do."""
    parts = [each.parts[measure.name] for each in units]
    waiting = len(_waiting(parts))
    if not waiting:
        return True
    # What was lost is in at once, and stands for nothing that still runs.
    gave = sum(part.over > 0 for part in parts if part.resolved and part.under)
    return bool(measure.most) and gave >= MOST * (gave + waiting)


def _waiting(parts: Sequence[MeasureParts]) -> list[MeasureParts]:
    return [part for part in parts if not part.resolved and part.under is not None]


def _shares(units: Sequence[ComparedUnit], factor: str) -> dict[str, Fraction | int]:
    labels = [cell(each, factor) for each in units]
    different = sorted(set(labels))
    if len(different) == 1:
        return {different[0]: 1}
    return {label: Fraction(labels.count(label), len(labels)) for label in different}


def _mean(units: Sequence[ComparedUnit], factor: str) -> float | None:
    numbers = [value for each in units if (value := number(each, factor)) is not None]
    return fsum(numbers) / len(numbers) if numbers else None


def varies(used: Sequence[DesignCell]) -> DesignKind:
    """Return where the factor varies. used: cells with a value."""
    soaks: dict[str, set[str]] = {}
    for each in used:
        soaks.setdefault(each.level, set()).add(each.soak)
    return design_of(list(soaks.values()))
