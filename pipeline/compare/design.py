"""Collapse first: one value per soak and level. Containers are never compared, for those of one soak share its fate."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

import numpy as np

from pipeline.compare.factors import AMOUNTS, CHOICES, CLUSTERS, READINGS, Levels, cells_of, numbers
from pipeline.compare.measures import Measure
from pipeline.compare.parts import Parts
from pipeline.models.compared_columns import Days, MeasureParts
from pipeline.models.compared_units import ComparedUnits
from pipeline.models.unit_arrays import Flags
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


def cells(units: ComparedUnits, of: Levels, measure: Measure) -> list[DesignCell]:
    """Return the cells that the units make, by level and soak. Units without a level are in none."""
    if not of.known.all():
        units, of = units.where(of.known), of.where(of.known)
    if not len(units):
        return []
    places = of.codes * len(units.soaks.texts) + units.soaks.codes
    of_cell, part = Parts.of(places), units.parts[measure.name]
    adding, waiting = of_cell.count(part.adding), of_cell.count(part.waiting)
    # What went into it is that of the units that count, or will.
    own = of_cell.only(part.adding)
    over, under = of_cell.sums(part.over, part.adding), of_cell.sums(part.under, part.adding)
    counts = far_enough(of_cell, part, measure)
    first = of_cell.rows[of_cell.starts]
    return [
        DesignCell(
            soak,
            of.order[level],
            measure.scale * top / bottom if bottom > 0 and enough else None,
            top,
            bottom,
            batches,
            number,
            size - number - wait,
            wait,
            started,
            dict(zip((*CHOICES, *CLUSTERS), shares, strict=True)),
            {name: mean for name, mean in zip((*AMOUNTS, *READINGS), means, strict=True) if mean is not None},
        )
        for soak, level, top, bottom, enough, batches, size, number, wait, started, shares, means in zip(
            [units.soaks.texts[at] for at in units.soaks.codes[first].tolist()],
            of.codes[first].tolist(),
            over,
            under,
            counts.tolist(),
            of_cell.texts(units.batches),
            of_cell.sizes.tolist(),
            adding.tolist(),
            waiting.tolist(),
            _first_days(own, units.inoculated_on),
            zip(*(own.shares(cells_of(units, name)) for name in (*CHOICES, *CLUSTERS)), strict=True),
            zip(*(own.means(numbers(units, name)) for name in (*AMOUNTS, *READINGS)), strict=True),
            strict=True,
        )
    ]


def _first_days(own: Parts, days: Days) -> Sequence[date | None]:
    found: list[date | None] = np.fmin.reduceat(days[own.rows], own.starts).tolist()
    return found


def far_enough(parts: Parts, gave: MeasureParts, measure: Measure) -> Flags:
    """Return whether the units of each part count: none still runs, or for some measures few enough do."""
    waiting = parts.count(gave.waiting)
    if not measure.most:
        none: Flags = waiting == 0
        return none
    # What was lost is in at once, and stands for nothing that still runs.
    some = parts.count(gave.adding & (gave.over > 0))
    enough: Flags = (waiting == 0) | (some * MOST.denominator >= MOST.numerator * (some + waiting))
    return enough


def varies(used: Sequence[DesignCell]) -> DesignKind:
    """Return where the factor varies. used: cells with a value."""
    soaks: dict[str, set[str]] = {}
    for each in used:
        soaks.setdefault(each.level, set()).add(each.soak)
    return design_of(list(soaks.values()))
