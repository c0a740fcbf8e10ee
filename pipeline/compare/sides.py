"""The two sides of a pair: its cells, and with blanks filled the rows of an exact design."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from math import fsum, sqrt

import numpy as np

from pipeline.compare.columns import Cells, soaks_of
from pipeline.compare.design_rows import DesignRows, unlike_rows
from pipeline.compare.factor_column import FactorColumn, counted
from pipeline.compare.pairs import Level, Pair
from pipeline.models.compared_columns import Labels
from pipeline.models.unit_arrays import Numbers, Whole
from pipeline.stats.estimability import Basis, DesignRow, comparable, dummies, growth, whole_first
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

    def rows(self, factors: Sequence[str]) -> DesignRows:
        """Return the design: a row per cell with its level and these factors; where soaks are split, a row per soak
        with the difference of its two cells, so that the soak drops out.
        """
        if self.split:
            return self._rows_of_split(factors)
        levels = np.repeat(np.arange(len(self.groups)), [len(each) for each in self.groups])
        names = [self.level, self.against, *(each[0].level for each in self.others)]
        columns = [self.column(factor) for factor in factors]
        kinds, first = unlike_rows([levels, *(each.codes for each in columns)])
        rows = [self._row(at, names[levels[at]], factors) for at in first.tolist()]
        soaks, values = self._written
        return DesignRows(soaks, kinds, tuple(rows), values)

    @cached_property
    def _written(self) -> tuple[Labels, Numbers]:
        """The soak and the value of each cell; 0 where it has none."""
        return soaks_of(self.groups), np.nan_to_num(np.concatenate([each.values for each in self.groups]))

    def _rows_of_split(self, factors: Sequence[str]) -> DesignRows:
        """A row per split soak, in the order of the first level's cells."""
        theirs = self._of_second
        columns = [self.column(factor).codes for factor in factors]
        kinds, first = unlike_rows([codes[at] for codes in columns for at in (slice(len(theirs)), theirs)], len(theirs))
        rows = [
            _less(self._row(at, self.level, factors), self._row(int(theirs[at]), self.against, factors))
            for at in first.tolist()
        ]
        soaks, values = self._written
        own = soaks.where(np.arange(len(theirs)))
        return DesignRows.of(own, kinds, rows, values[: len(theirs)] - values[theirs])

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
        kinds, _ = unlike_rows(together, len(self.first) + len(self.second))
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
        return self._alike(factors) > 0 or comparable(self.rows(factors).every, self.contrast)

    def tied_by(self, factors: Sequence[str]) -> str | None:
        """Return the soak that alone shows the difference with these factors alike; None where none alone does."""
        if self._alike(factors) > 1:
            return None
        rows = self.rows(factors)
        alone = rows.soak_alone
        # A soak that is needed is among the first rows that show the difference, and among the last ones that do.
        at = whole_first(rows.every)
        for soak in sorted(self._enough(rows, at) & self._enough(rows, at[::-1])):
            left = [side for side in (self.first, self.second) if any(own != soak for own in side.soaks)]
            rest = [row for row, own in zip(rows.every, alone, strict=True) if own != soak]
            if len(left) == 2 and not comparable(rest, self.contrast):
                return soak
        return None

    def _enough(self, rows: DesignRows, order: Sequence[int]) -> set[str]:
        """The soaks that alone stand for one of the first rows, in this order, that show the pair's difference."""
        so_far, found, alone = Basis(), set(), rows.soak_alone
        for at in growth(so_far, [rows.every[at] for at in order]):
            found |= {alone[order[at]]} - {None}
            if not so_far.rest(self.contrast):
                break
        return {soak for soak in found if soak is not None}

    def strength(self, factor: str) -> float:
        """Return how strongly a factor's labels went with the levels: Cramer's V over soaks."""
        ours, theirs = counted(self.of_first(factor)), counted(self.of_second(factor))
        every = sorted({*ours, *theirs})
        return cramers_v([[side.get(label, 0.0) for label in every] for side in (ours, theirs)])

    def _row(self, at: int, level: str, factors: Sequence[str]) -> dict[Hashable, Fraction | int]:
        row: dict[Hashable, Fraction | int] = {("level", level): 1}
        if not self.split:
            row["all"] = 1
        for factor in factors:
            column = self.column(factor)
            row |= dummies(factor, column.every[column.codes[at]])
        return row


def _less(row: DesignRow, other: DesignRow) -> dict[Hashable, Fraction | int]:
    columns = (*row, *(column for column in other if column not in row))
    found = {column: row.get(column, 0) - other.get(column, 0) for column in columns}
    return {column: value for column, value in found.items() if value}


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
    return not set(ours) & set(theirs) and "" not in (*ours, *theirs)
