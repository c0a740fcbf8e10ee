"""The rows of a design: those that are alike stand once, with the cells (or split soaks) that have them."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Self

import numpy as np

from pipeline.compare.factor_column import FactorColumn
from pipeline.models.compared_columns import Labels
from pipeline.models.unit_arrays import Flags, Numbers, Whole
from pipeline.stats.estimability import DesignRow, NamedRows
from pipeline.stats.numbering import first_of_each, in_order, numbered_together

# When a column is first not 0: in which row, and where among those that begin in it.
Begins = tuple[int, ...]


@dataclass(frozen=True)
class FactorRows:
    """The columns of some factors in rows of a design, in whole numbers: the shares of each row, times its `wide`.

    names: of the columns, factor and label; each: the shares that each row has of each factor, by their columns.
    """

    names: tuple[tuple[str, str], ...]
    whole: Whole
    wide: Whole
    columns: tuple[tuple[str, FactorColumn], ...]

    @classmethod
    def of(cls, columns: Sequence[tuple[str, FactorColumn]], length: int) -> Self:
        """Return the columns of these factors; length: how many rows there are."""
        wide = np.lcm.reduce([np.ones(length, dtype=np.int64), *(own.kinds.wide[own.codes] for _, own in columns)])
        whole = [own.kinds.whole[own.codes] * (wide // own.kinds.wide[own.codes])[:, None] for _, own in columns]
        names = [(factor, label) for factor, own in columns for label in own.kinds.labels]
        none = np.zeros((length, 0), dtype=np.int64)
        return cls(tuple(names), np.concatenate([none, *whole], axis=1), wide, tuple(columns))

    def place(self, at: int, name: tuple[str, str]) -> Begins | None:
        """Return where a column stands in a row: which factor, and which of its labels; None where it does not."""
        for of, (factor, own) in enumerate(self.columns):
            if factor == name[0] and name[1] in (shares := own.every[own.codes[at]]):
                return of, list(shares).index(name[1])
        return None

    def less(self, other: FactorRows) -> FactorRows:
        """Return these rows less others, one each."""
        wide = np.lcm(self.wide, other.wide)
        own, theirs = (each.whole * (wide // each.wide)[:, None] for each in (self, other))
        return FactorRows(self.names, own - theirs, wide, self.columns)


@dataclass(frozen=True)
class DesignRows:
    """Rows of a design. design: each that occurs, once, in the order of the first of its kind, times its `wide`; of
    each cell (or split soak) its soak, the place of its row among them, and its value (or difference). begins: of each
    column, in the order of which they stand: levels first.
    """

    soaks: Labels
    kinds: Whole
    design: NamedRows
    wide: Whole
    values: Numbers
    begins: tuple[Begins, ...]

    @classmethod
    def of_cells(
        cls, soaks: Labels, kinds: Whole, values: Numbers, levels: tuple[Sequence[str], Whole], factors: FactorRows
    ) -> Self:
        """Return the rows of cells that have a level (names, and of each row the place of its own) and factors."""
        names, of_row = levels
        has = (of_row[:, None] == np.arange(len(names))) * factors.wide[:, None]
        first = _first_rows(factors.whole)
        begins: dict[Hashable, Begins] = {
            name: (0, at, 0, *(factors.place(at, name) or ()))
            for name, at in zip(factors.names, first.tolist(), strict=True)
            if at >= 0
        }
        own: dict[Hashable, Begins] = {("level", name): (-1, at) for at, name in enumerate(names)}
        every = (*own, *factors.names)
        return cls._ordered(
            soaks, kinds, values, every, np.concatenate([has, factors.whole], axis=1), factors.wide, {**own, **begins}
        )

    @classmethod
    def of_split(
        cls, soaks: Labels, kinds: Whole, values: Numbers, levels: tuple[str, str], ours: FactorRows, theirs: FactorRows
    ) -> Self:
        """Return the rows of soaks that hold both levels: of the first what it had less what the second had; those that
        are equal stand once.
        """
        less = ours.less(theirs)
        common = np.gcd.reduce([less.wide, *less.whole.T])
        whole, wide = less.whole // common[:, None], less.wide // common
        _, first, new = np.unique(np.column_stack([wide, whole]), axis=0, return_index=True, return_inverse=True)
        first, new = in_order(first, new.reshape(-1))
        whole, wide = whole[first], wide[first]
        begins: dict[Hashable, Begins] = {}
        for name, at in zip(less.names, _first_rows(whole).tolist(), strict=True):
            if at >= 0:
                row = int(first[at])
                own = ours.place(row, name)
                begins[name] = (0, at, 0, *own) if own else (0, at, 1, *(theirs.place(row, name) or ()))
        both: dict[Hashable, Begins] = {("level", name): (-1, at) for at, name in enumerate(levels)}
        every, has = (*both, *less.names), np.column_stack([wide, -wide])
        return cls._ordered(
            soaks,
            new[kinds],
            values,
            every,
            np.concatenate([has, whole], axis=1),
            wide,
            {**both, **begins},
        )

    @classmethod
    def _ordered(
        cls,
        soaks: Labels,
        kinds: Whole,
        values: Numbers,
        every: Sequence[Hashable],
        whole: Whole,
        wide: Whole,
        begins: dict[Hashable, Begins],
    ) -> Self:
        """These columns in the order in which they begin; those that are 0 throughout are none."""
        order = sorted(begins, key=begins.__getitem__)
        place = {name: at for at, name in enumerate(every)}
        design = NamedRows(tuple(order), whole[:, [place[name] for name in order]])
        return cls(soaks, kinds, design, wide, values, tuple(begins[name] for name in order))

    def beside(self, names: Sequence[Hashable], whole: Whole) -> DesignRows:
        """Return the rows with further columns (times the rows' own wide), where they are not 0."""
        begins = dict(zip(self.design.names, self.begins, strict=True))
        for at, (name, row) in enumerate(zip(names, _first_rows(whole).tolist(), strict=True)):
            if row >= 0:
                begins[name] = (0, row, 2, at)
        return DesignRows._ordered(
            self.soaks,
            self.kinds,
            self.values,
            (*self.design.names, *names),
            np.concatenate([self.design.whole, whole], axis=1),
            self.wide,
            begins,
        )

    @property
    def independent(self) -> tuple[list[Hashable], Numbers]:
        """The columns that are no sum of those before: their names, and one row for each of the design's."""
        chosen = list(self.design.independent)
        found: Numbers = self.design.whole[:, chosen] / self.wide[:, None]
        return [self.design.names[at] for at in chosen], found

    def column(self, name: Hashable) -> Whole:
        """Return a column of the design, times the rows' own wide."""
        found: Whole = self.design.whole[:, self.design.names.index(name)].astype(np.int64)
        return found

    def shows(self, *contrasts: DesignRow) -> list[bool]:
        """Return whether the rows show these differences."""
        return self.design.shows(contrasts)

    def without(self, rows: Flags) -> NamedRows:
        """Return the design without these rows."""
        return NamedRows(self.design.names, self.design.whole[~rows])

    @cached_property
    def soak_alone(self) -> Whole:
        """The code of the soak that alone stands for each row; -1 where several do."""
        order = np.argsort(self.kinds, kind="stable")
        starts = np.searchsorted(self.kinds[order], np.arange(len(self.wide)))
        codes = self.soaks.codes[order]
        low, high = np.minimum.reduceat(codes, starts), np.maximum.reduceat(codes, starts)
        found: Whole = np.where(low == high, low, -1)
        return found

    @property
    def soaks_needed(self) -> list[int]:
        """The codes of the soaks without which some difference that the design shows may not be shown.

        A row that some difference needs has a leverage of 1; of the rows of a soak together the sum is no less.
        """
        _, design = self.independent
        axes, _ = np.linalg.qr(design)
        alone = self.soak_alone
        chosen = alone >= 0
        leverages = np.bincount(alone[chosen], (axes[chosen] ** 2).sum(1), len(self.soaks.texts))
        return [int(at) for at in np.flatnonzero(leverages > 1 - ROUNDING)]


ROUNDING = 1e-6  # of a leverage: what lies within it is asked exactly


def _first_rows(columns: Whole) -> Whole:
    """The first row of each column that is not 0; -1 where none is."""
    if not len(columns):
        return np.full(columns.shape[1], -1, dtype=np.int64)
    found: Whole = np.where((columns != 0).any(axis=0), (columns != 0).argmax(axis=0), -1)
    return found


def unlike_rows(columns: Sequence[Whole], length: int = 0) -> tuple[Whole, Whole]:
    """Return which kind each row is, kinds in the order of the first of each, and where these first ones are. columns:
    numbers from 0, one entry per row; length: of the rows, where there are no columns.
    """
    kinds = numbered_together(columns, len(columns[0]) if columns else length)
    first, kinds = in_order(first_of_each(kinds), kinds)
    return kinds, first
