"""Cells side by side, with what they had as arrays."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from pipeline.compare.design import CellColumns, CellShares, DesignCell
from pipeline.compare.factor_column import FactorColumn
from pipeline.models.unit_arrays import Numbers, Whole


class Cells(tuple[DesignCell, ...]):
    """Cells side by side (those of a level), with what they had as arrays, each made once."""

    @classmethod
    def of(cls, cells: Sequence[DesignCell]) -> Cells:
        """Return these cells with their arrays; those that have them as they are."""
        return cells if isinstance(cells, cls) else cls(cells)

    @cached_property
    def soaks(self) -> list[str]:
        """The soak of each."""
        return [cell.soak for cell in self]

    @cached_property
    def values(self) -> Numbers:
        """The value of each; 0 where it has none."""
        return np.array([cell.value or 0.0 for cell in self])

    @cached_property
    def _together(self) -> tuple[CellColumns, Whole] | None:
        """The columns of all cells that were made with these, and their places there; None where they were not."""
        known = [cell.shares for cell in self]
        first = known[0] if known else None
        if not isinstance(first, CellShares):
            return None
        places = [each.at for each in known if isinstance(each, CellShares) and each.columns is first.columns]
        return (first.columns, np.array(places, dtype=np.int64)) if len(places) == len(known) else None

    @cached_property
    def _columns(self) -> dict[str, FactorColumn]:
        return {}

    def column(self, factor: str) -> FactorColumn:
        """Return what they had of a factor."""
        if factor not in self._columns:
            if self._together:
                columns, places = self._together
                self._columns[factor] = columns.column(factor).where(places)
            else:
                self._columns[factor] = FactorColumn.of([cell.shares[factor] for cell in self])
        return self._columns[factor]

    @cached_property
    def _means(self) -> dict[str, list[float]]:
        return {}

    def means(self, factor: str) -> list[float]:
        """Return the mean of an amount in each cell that has one."""
        if factor not in self._means:
            if self._together:
                columns, places = self._together
                found = columns.means(factor)[places]
                self._means[factor] = found[~np.isnan(found)].tolist()
            else:
                self._means[factor] = [cell.means[factor] for cell in self if factor in cell.means]
        return self._means[factor]
