"""Cells side by side: what they gave and had as arrays; each is made as a cell of its own only when it is asked for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol, Self, overload

import numpy as np

from pipeline.compare.design import CellShares, DesignCell
from pipeline.compare.factor_column import FactorColumn
from pipeline.compare.parts import Shares, TextLists
from pipeline.models.compared_columns import Days, Labels
from pipeline.models.unit_arrays import Flags, Numbers, Whole


class HadColumns(Protocol):
    """What cells had: the shares of the labels of choices and clusters, the means of amounts."""

    def column(self, factor: str) -> FactorColumn:
        """Return the shares of a factor of each."""

    def means(self, amount: str) -> Numbers:
        """Return the mean of an amount in each; nan where it has none."""

    def shares_of(self, at: int) -> Mapping[str, Shares]:
        """Return what the cell at this place had of each choice and cluster."""

    def means_of(self, at: int) -> Mapping[str, float]:
        """Return what it had of each amount."""


@dataclass(frozen=True)
class GivenColumns:
    """What cells had that were made one by one."""

    cells: Sequence[DesignCell]

    def column(self, factor: str) -> FactorColumn:
        """Return the shares of a factor of each."""
        return FactorColumn.of([cell.shares[factor] for cell in self.cells])

    def means(self, amount: str) -> Numbers:
        """Return the mean of an amount in each; nan where it has none."""
        return np.array([cell.means.get(amount, np.nan) for cell in self.cells], dtype=float)

    def shares_of(self, at: int) -> Mapping[str, Shares]:
        """Return what the cell at this place had of each choice and cluster."""
        return self.cells[at].shares

    def means_of(self, at: int) -> Mapping[str, float]:
        """Return what it had of each amount."""
        return self.cells[at].means


@dataclass(frozen=True, eq=False)
class CellTable:
    """Cells that were made together, one entry each: see DesignCell. levels: the place of its level in `order`; values:
    nan where it has none; places: where it stands in `columns`.
    """

    soaks: Labels
    levels: Whole
    order: Sequence[str]
    values: Numbers
    over: Numbers
    under: Numbers
    batches: TextLists
    units: Whole
    units_without: Whole
    units_not_yet: Whole
    started: Days
    columns: HadColumns
    places: Whole

    @classmethod
    def given(cls, cells: Sequence[DesignCell]) -> Self:
        """Return the table of cells that were made one by one."""
        order = tuple(dict.fromkeys(cell.level for cell in cells))
        place = {level: at for at, level in enumerate(order)}
        columns, places = _had(cells)
        return cls(
            Labels.of([cell.soak for cell in cells]),
            np.array([place[cell.level] for cell in cells], dtype=np.int64),
            order,
            np.array([cell.value for cell in cells], dtype=float),
            np.array([cell.over for cell in cells], dtype=float),
            np.array([cell.under for cell in cells], dtype=float),
            TextLists.of([cell.batches for cell in cells]),
            np.array([cell.units for cell in cells], dtype=np.int64),
            np.array([cell.units_without for cell in cells], dtype=np.int64),
            np.array([cell.units_not_yet for cell in cells], dtype=np.int64),
            np.array([cell.started for cell in cells], dtype="datetime64[D]"),
            columns,
            places,
        )

    def cell(self, at: int) -> DesignCell:
        """Return the cell at this place."""
        value, had = float(self.values[at]), int(self.places[at])
        return DesignCell(
            self.soaks.texts[self.soaks.codes[at]],
            self.order[self.levels[at]],
            None if np.isnan(value) else value,
            float(self.over[at]),
            float(self.under[at]),
            self.batches.at(at),
            int(self.units[at]),
            int(self.units_without[at]),
            int(self.units_not_yet[at]),
            self.started[at].item(),
            self.columns.shares_of(had),
            self.columns.means_of(had),
        )


def _had(cells: Sequence[DesignCell]) -> tuple[HadColumns, Whole]:
    """What cells had, and where each stands there: in the columns that they were made with, if these are the same."""
    known = [cell.shares for cell in cells if isinstance(cell.shares, CellShares)]
    if known and len(known) == len(cells) and all(each.columns is known[0].columns for each in known):
        return known[0].columns, np.array([each.at for each in known], dtype=np.int64)
    return GivenColumns(cells), np.arange(len(cells))


class Cells(Sequence[DesignCell]):
    """Some cells of a table side by side (those of a level)."""

    def __init__(self, cells: Iterable[DesignCell] = ()) -> None:
        self.table = CellTable.given(list(cells))
        self.at = np.arange(len(self.table.values))

    @classmethod
    def of(cls, table: CellTable, at: Whole) -> Self:
        """Return the cells at these places of a table."""
        found = cls.__new__(cls)
        found.table, found.at = table, at
        return found

    def where(self, chosen: Flags | Whole) -> Self:
        """Return the chosen cells: by their places, or by yes and no."""
        return self.of(self.table, self.at[chosen])

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Cells) and tuple(self) == tuple(other)

    # Like tuples of cells, for what these had is no key.
    __hash__ = None  # type: ignore[assignment]

    def __len__(self) -> int:
        return len(self.at)

    @overload
    def __getitem__(self, index: int) -> DesignCell: ...
    @overload
    def __getitem__(self, index: slice) -> Cells: ...
    def __getitem__(self, index: int | slice) -> DesignCell | Cells:
        if isinstance(index, slice):
            return self.of(self.table, self.at[index])
        return self.table.cell(int(self.at[index]))

    @cached_property
    def soaks(self) -> list[str]:
        """The soak of each."""
        texts = self.table.soaks.texts
        return [texts[code] for code in self.table.soaks.codes[self.at].tolist()]

    @cached_property
    def values(self) -> Numbers:
        """The value of each; nan where it has none."""
        return self.table.values[self.at]

    @property
    def units(self) -> Whole:
        """How many units add to each."""
        return self.table.units[self.at]

    @property
    def running(self) -> Self:
        """Those of which some units are not far enough."""
        return self.where(self.table.units_not_yet[self.at] > 0)

    @property
    def starts(self) -> Days:
        """The first days of those whose start is known."""
        found = self.table.started[self.at]
        return found[~np.isnat(found)]

    @cached_property
    def _columns(self) -> dict[str, FactorColumn]:
        return {}

    def column(self, factor: str) -> FactorColumn:
        """Return what they had of a factor."""
        if factor not in self._columns:
            self._columns[factor] = self.table.columns.column(factor).where(self.table.places[self.at])
        return self._columns[factor]

    @cached_property
    def _means(self) -> dict[str, Numbers]:
        return {}

    def mean_of_each(self, factor: str) -> Numbers:
        """Return the mean of an amount in each cell; nan where it has none."""
        if factor not in self._means:
            self._means[factor] = self.table.columns.means(factor)[self.table.places[self.at]]
        return self._means[factor]

    def means(self, factor: str) -> Numbers:
        """Return the mean of an amount in each cell that has one."""
        found = self.mean_of_each(factor)
        return found[~np.isnan(found)]


def soaks_of(groups: Sequence[Cells]) -> Labels:
    """Return the soak of each cell of these groups, one after the other."""
    texts = [each.table.soaks.texts for each in groups if len(each)]
    if texts and all(each is texts[0] for each in texts):
        codes = [each.table.soaks.codes[each.at] for each in groups if len(each)]
        return Labels(np.concatenate(codes), texts[0])
    return Labels.of([soak for each in groups for soak in each.soaks])
