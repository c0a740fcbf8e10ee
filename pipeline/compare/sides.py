"""The two sides of a pair: its cells, and with blanks filled the rows of an exact design."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import fsum, sqrt

import numpy as np

from pipeline.compare.columns import Cells, soaks_of
from pipeline.compare.design_rows import DesignRows, FactorRows, unlike_rows
from pipeline.compare.factor_column import FactorColumn, counted
from pipeline.compare.pairs import Level, Pair
from pipeline.models.compared_columns import Labels
from pipeline.models.unit_arrays import Numbers, Whole
from pipeline.stats.estimability import DesignRow
from pipeline.stats.two_levels import DesignKind


@dataclass(frozen=True)
class Sides:
    """The cells of a pair: its level's and those it is held against. split: whether only soaks that hold both count, so
    that what a soak does to all its containers is no explanation. others: cells of each other level, which tell what
    other factors do; none where soaks are split. alternate: no soak can hold both.
    """

    level: str
    against: str
    first: Cells
    second: Cells
    split: bool
    others: tuple[Cells, ...] = ()
    alternate: bool = False

    @property
    def size(self) -> int:
        """How many cells the pair has."""
        return len(self.first) + len(self.second)

    @property
    def groups(self) -> tuple[Cells, ...]:
        """The cells of each level, the pair's first."""
        return (self.first, self.second, *self.others)

    @cached_property
    def _columns(self) -> dict[str, FactorColumn]:
        return {}

    def column(self, factor: str) -> FactorColumn:
        """Return what all cells had of a factor: of the pair's level, of what it is held against, and of the others. A
        blank is taken for the usual label of the pair, for it shows no difference.
        """
        if factor not in self._columns:
            written = FactorColumn.joined([each.column(factor) for each in self.groups])
            seen = written.where(slice(self.size)).presence()
            usual = min(seen, key=lambda label: (-seen[label], label), default="")
            self._columns[factor] = written.filled(usual)
        return self._columns[factor]

    def of_first(self, factor: str) -> FactorColumn:
        """Return what the cells of the pair's level had of a factor."""
        return self._of(factor, slice(len(self.first)))

    def of_second(self, factor: str) -> FactorColumn:
        """Return what the cells that they are held against had of it."""
        return self._of(factor, slice(len(self.first), self.size))

    def of_pair(self, factor: str) -> FactorColumn:
        """Return what both had of it."""
        return self._of(factor, slice(self.size))

    @cached_property
    def _of_some(self) -> dict[tuple[str, int, int], FactorColumn]:
        return {}

    def _of(self, factor: str, chosen: slice) -> FactorColumn:
        """What some of the cells had of it; each is asked for again and again."""
        key = (factor, chosen.start or 0, chosen.stop)
        if key not in self._of_some:
            self._of_some[key] = self.column(factor).where(chosen)
        return self._of_some[key]

    @cached_property
    def _rows(self) -> dict[tuple[str, ...], DesignRows]:
        return {}

    def rows(self, factors: Sequence[str]) -> DesignRows:
        """Return the design: a row per cell with its level and these factors; where soaks are split, a row per soak
        with the difference of its two cells, so that the soak drops out.
        """
        key = tuple(factors)
        if key not in self._rows:
            self._rows[key] = self._rows_of_split(factors) if self.split else self._rows_of_cells(factors)
        return self._rows[key]

    def _rows_of_cells(self, factors: Sequence[str]) -> DesignRows:
        levels = np.repeat(np.arange(len(self.groups)), [len(each) for each in self.groups])
        names = [self.level, self.against, *(each[0].level for each in self.others)]
        columns = [self.column(factor) for factor in factors]
        kinds, first = unlike_rows([levels, *(each.codes for each in columns)])
        soaks, values = self._written
        own = FactorRows.of(
            [(name, each.where(first)) for name, each in zip(factors, columns, strict=True)], len(first)
        )
        return DesignRows.of_cells(soaks, kinds, values, (names, levels[first]), own)

    @property
    def soaks(self) -> Labels:
        """The soak of each cell of the pair."""
        return self._written[0].where(np.arange(self.size))

    @cached_property
    def _written(self) -> tuple[Labels, Numbers]:
        """The soak and the value of each cell; 0 where it has none."""
        return soaks_of(self.groups), np.nan_to_num(np.concatenate([each.values for each in self.groups]))

    def _rows_of_split(self, factors: Sequence[str]) -> DesignRows:
        """A row per split soak, in the order of the first level's cells."""
        theirs = self._of_second
        columns = [(factor, self.column(factor)) for factor in factors]
        codes = [each.codes[at] for _, each in columns for at in (slice(len(theirs)), theirs)]
        kinds, first = unlike_rows(codes, len(theirs))
        soaks, values = self._written
        of_each = [
            FactorRows.of([(name, each.where(at)) for name, each in columns], len(first))
            for at in (first, theirs[first])
        ]
        own = soaks.where(np.arange(len(theirs)))
        names = (self.level, self.against)
        return DesignRows.of_split(own, kinds, values[: len(theirs)] - values[theirs], names, *of_each)

    @property
    def much_alike(self) -> bool:
        """Whether neither level has over twice as many soaks as the other."""
        few, many = sorted((len(self.first), len(self.second)))
        return many <= 2 * few

    @property
    def contrast(self) -> DesignRow:
        """The pair's difference, as a row of the design."""
        return {("level", self.level): 1, ("level", self.against): -1}

    def _alike(self, factors: Sequence[str]) -> int:
        """How many soaks of either level had one and the same of all these factors, of what most had; where soaks are
        split, in how many its two cells had. Each is a row of the design that shows the difference without any other.
        """
        codes = [self.column(factor).codes for factor in factors]
        ours, theirs = ([each[of] for each in codes] for of in (slice(len(self.first)), self._of_second))
        if self.split:
            return int(np.logical_and.reduce([a == b for a, b in zip(ours, theirs, strict=True)], axis=0).sum())
        together = [np.concatenate(each) for each in zip(ours, theirs, strict=True)]
        kinds = together[0] if len(together) == 1 else unlike_rows(together, len(self.first) + len(self.second))[0]
        counts = [np.bincount(side, minlength=int(kinds.max()) + 1) for side in np.split(kinds, [len(self.first)])]
        return int(np.minimum(*counts).max())

    @cached_property
    def _of_second(self) -> Whole:
        """Where the cells stand that the first level's are held against; where soaks are split, in its order."""
        if not self.split:
            return np.arange(len(self.first), self.size)
        soaks, _ = self._written
        place = np.empty(len(soaks.texts), dtype=np.int64)
        place[soaks.codes[len(self.first) : self.size]] = np.arange(len(self.first), self.size)
        return place[soaks.codes[: len(self.first)]]

    @property
    def units_of_against(self) -> Whole:
        """How many units add to what each of the first level's cells is held against."""
        return self.second.units[self._of_second - len(self.first)]

    def mean_of_against(self, amount: str) -> Numbers:
        """Return the mean of an amount in what each of the first level's cells is held against."""
        return self.second.mean_of_each(amount)[self._of_second - len(self.first)]

    def comparable(self, factors: Sequence[str]) -> bool:
        """Return whether the pair's difference can be estimated with these factors alike."""
        return self._alike(factors) > 0 or self.rows(factors).shows(self.contrast)[0]

    def tied_by(self, factors: Sequence[str]) -> str | None:
        """Return the soak that alone shows the difference with these factors alike; None where none alone does."""
        if self._alike(factors) > 1:
            return None
        rows = self.rows(factors)
        for at in rows.soaks_needed:
            # Where a level has no other soak, it is not this one that ties the two.
            left = all((side != at).any() for side in np.split(self._written[0].codes[: self.size], [len(self.first)]))
            if left and not rows.without(rows.soak_alone == at).shows([self.contrast])[0]:
                return rows.soaks.texts[at]
        return None

    def shares_any(self, factor: str) -> bool:
        """Return whether both levels had any label of a factor."""
        return not set(self.of_first(factor).labels).isdisjoint(self.of_second(factor).labels)

    def strength(self, factor: str) -> float:
        """Return how strongly a factor's labels went with the levels: Cramer's V over soaks."""
        ours, theirs = counted(self.of_first(factor)), counted(self.of_second(factor))
        every = sorted({*ours, *theirs})
        return cramers_v([[side.get(label, 0.0) for label in every] for side in (ours, theirs)])


def sides_of(pair: Pair, levels: Sequence[Level] = ()) -> Sides:
    """Return the cells that are held against each other in this pair, beside those of the other levels; where soaks are
    split throughout, soaks are held alike.
    """
    split = pair.varies is DesignKind.WITHIN
    named = (pair.level, pair.against)
    rest = [] if split else [level.used for level in levels if level.name not in named and level.used]
    return Sides(pair.level, pair.against, pair.first, pair.second, split, tuple(rest), pair.alternate)


def cramers_v(table: Sequence[Sequence[float]]) -> float:
    """Return how strongly rows and columns of a table of counts go together: 0 not at all, 1 wholly.

    sqrt(chi^2 / (n (min(rows, columns) - 1))) (Cramer 1946, Mathematical Methods of Statistics, 21.9). For explaining
    only: a V of 1 can leave pairs that are comparable, and one below 1 can hide that none is.
    """
    rows = [fsum(row) for row in table]
    columns = [fsum(column) for column in zip(*table, strict=True)]
    total, least = fsum(rows), min(len(rows), len(columns)) - 1
    if not total or least < 1:
        return 0.0
    chi = fsum(
        (cell - row * column / total) ** 2 / (row * column / total)
        for own, row in zip(table, rows, strict=True)
        for cell, column in zip(own, columns, strict=True)
        if row * column
    )
    return sqrt(chi / (total * least))


def never_shared(sides: Sides, cluster: str) -> bool:
    """Return whether the two levels never had the same month, or lot. With a blank that is not known."""
    ours, theirs = sides.of_first(cluster).labels, sides.of_second(cluster).labels
    return not sides.shares_any(cluster) and "" not in (*ours, *theirs)
