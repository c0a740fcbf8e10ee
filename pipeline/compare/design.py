"""What one soak gave at one level: a cell, and what cells that are made together had."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from pipeline.compare.factor_column import FactorColumn
from pipeline.compare.factors import AMOUNTS, CHOICES, CLUSTERS, READINGS, cells_of, numbers
from pipeline.compare.parts import Parts, Shares
from pipeline.models.compared_units import ComparedUnits
from pipeline.models.unit_arrays import Numbers

# What cells are told the shares, and the means, of.
SHARED, AVERAGED = (*CHOICES, *CLUSTERS), (*AMOUNTS, *READINGS)


class CellColumns:
    """What cells that are made together had, a column for each factor; each is made once, when it is asked for."""

    def __init__(self, parts: Parts, units: ComparedUnits) -> None:
        self._every, self._alike, self._units = parts, parts.alike(units.runs.codes), units
        self._columns: dict[str, FactorColumn] = {}
        self._means: dict[str, Numbers] = {}

    def _parts(self, factor: str) -> Parts:
        return self._alike if factor in self._units.runs.columns else self._every

    def column(self, factor: str) -> FactorColumn:
        """Return the share of units at each label of a choice or cluster, of each cell."""
        if factor not in self._columns:
            self._columns[factor] = FactorColumn.of_parts(self._parts(factor), cells_of(self._units, factor))
        return self._columns[factor]

    def means(self, amount: str) -> Numbers:
        """Return the mean of an amount over the units of each cell that have one; nan where none has."""
        if amount not in self._means:
            self._means[amount] = self._parts(amount).means(numbers(self._units, amount))
        return self._means[amount]

    def shares_of(self, at: int) -> Mapping[str, Shares]:
        """Return what the cell at this place had of each choice and cluster."""
        return CellShares(self, at)

    def means_of(self, at: int) -> Mapping[str, float]:
        """Return what it had of each amount."""
        return CellMeans(self, at)


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
