"""Collapse first: one value per soak and level. Containers are never compared, for those of one soak share its fate."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

import numpy as np

from pipeline.compare.factor_column import FactorColumn
from pipeline.compare.factors import AMOUNTS, CHOICES, CLUSTERS, READINGS, Levels, cells_of, numbers
from pipeline.compare.measures import Measure
from pipeline.compare.parts import Parts, Shares
from pipeline.models.compared_columns import Days, MeasureParts
from pipeline.models.compared_units import ComparedUnits
from pipeline.models.unit_arrays import Flags, Numbers
from pipeline.stats.two_levels import DesignKind, design_of

# A soak counts once this share of its containers that gave anything, or still may, is far enough; those that do not yet
# are left out. Our choice, by simulation: see tests/calibrate_unfinished.py.
MOST = Fraction(4, 5)
# What cells are told the shares, and the means, of.
SHARED, AVERAGED = (*CHOICES, *CLUSTERS), (*AMOUNTS, *READINGS)


class CellColumns:
    """What cells that are made together had, a column for each factor; each is made once, when it is asked for."""

    def __init__(self, parts: Parts, units: ComparedUnits) -> None:
        self._parts, self._units = parts, units
        self._columns: dict[str, FactorColumn] = {}
        self._means: dict[str, Numbers] = {}

    def column(self, factor: str) -> FactorColumn:
        """Return the share of units at each label of a choice or cluster, of each cell."""
        if factor not in self._columns:
            self._columns[factor] = FactorColumn.of_parts(self._parts, cells_of(self._units, factor))
        return self._columns[factor]

    def means(self, amount: str) -> Numbers:
        """Return the mean of an amount over the units of each cell that have one; nan where none has."""
        if amount not in self._means:
            self._means[amount] = self._parts.means(numbers(self._units, amount))
        return self._means[amount]


@dataclass(frozen=True, eq=False)
class CellShares(Mapping[str, Shares]):
    """What one of them had: of each choice and cluster, the share of units at each of its labels. at: its place."""

    columns: CellColumns
    at: int

    def __getitem__(self, factor: str) -> Shares:
        if factor not in SHARED:
            raise KeyError(factor)
        column = self.columns.column(factor)
        return column.every[int(column.codes[self.at])]

    def __iter__(self) -> Iterator[str]:
        return iter(SHARED)

    def __len__(self) -> int:
        return len(SHARED)


@dataclass(frozen=True, eq=False)
class CellMeans(Mapping[str, float]):
    """What one of them had of each amount, where any of its units has it. at: its place."""

    columns: CellColumns
    at: int

    def __getitem__(self, amount: str) -> float:
        mean = float(self.columns.means(amount)[self.at]) if amount in AVERAGED else math.nan
        if math.isnan(mean):
            raise KeyError(amount)
        return mean

    def __iter__(self) -> Iterator[str]:
        return (name for name in AVERAGED if not math.isnan(self.columns.means(name)[self.at]))

    def __len__(self) -> int:
        return sum(1 for _ in self)


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
    shares: Mapping[str, Shares]
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
    columns = CellColumns(own, units)
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
            CellShares(columns, at),
            CellMeans(columns, at),
        )
        for at, (soak, level, top, bottom, enough, batches, size, number, wait, started) in enumerate(
            zip(
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
                strict=True,
            )
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
