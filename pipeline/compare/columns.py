"""Cells side by side, and what they had of one factor as numbers: cells of the same shares of its labels are alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

import numpy as np

from pipeline.compare.design import DesignCell
from pipeline.compare.parts import Shares
from pipeline.models.unit_arrays import Flags, Numbers, Whole


@dataclass(frozen=True)
class FactorColumn:
    """The shares of one factor's labels: those that occur, each once, and the place among them of each cell's."""

    codes: Whole
    every: tuple[Shares, ...]

    @classmethod
    def of(cls, cells: Sequence[DesignCell], factor: str) -> FactorColumn:
        """Return what these cells had of a factor."""
        found = [cell.shares[factor] for cell in cells]
        by_id = {id(shares): shares for shares in found}
        place: dict[frozenset[tuple[str, Fraction | int]], int] = {}
        code = {key: place.setdefault(frozenset(shares.items()), len(place)) for key, shares in by_id.items()}
        every = {code[key]: shares for key, shares in by_id.items()}
        return cls(
            np.array([code[id(shares)] for shares in found], dtype=np.int64), tuple(every[at] for at in sorted(every))
        )

    @classmethod
    def joined(cls, columns: Sequence[FactorColumn]) -> FactorColumn:
        """Return the columns of cells that follow each other as one."""
        place: dict[frozenset[tuple[str, Fraction | int]], int] = {}
        every: list[Shares] = []
        codes = []
        for column in columns:
            new = []
            for shares in column.every:
                new.append(place.setdefault(frozenset(shares.items()), len(place)))
                if len(place) > len(every):
                    every.append(shares)
            codes.append(np.array(new, dtype=np.int64)[column.codes])
        return cls(np.concatenate(codes) if codes else np.zeros(0, dtype=np.int64), tuple(every))

    def where(self, chosen: slice) -> FactorColumn:
        """Return the column of some of the cells."""
        return FactorColumn(self.codes[chosen], self.every)

    def filled(self, usual: str) -> FactorColumn:
        """Return the column with blanks taken for the usual label."""
        every = [_filled(shares, usual) for shares in self.every]
        place: dict[frozenset[tuple[str, Fraction | int]], int] = {}
        new = np.array([place.setdefault(frozenset(each.items()), len(place)) for each in every], dtype=np.int64)
        first = dict(zip(reversed(new.tolist()), reversed(every), strict=True))
        return FactorColumn(new[self.codes] if len(new) else self.codes, tuple(first[at] for at in sorted(first)))

    @property
    def counts(self) -> Whole:
        """How many cells have each of these shares."""
        return np.bincount(self.codes, minlength=len(self.every))

    @property
    def labels(self) -> tuple[str, ...]:
        """The labels that occur, rising."""
        have = np.flatnonzero(self.counts).tolist()
        return tuple(sorted({label for at in have for label in self.every[at]}))

    def tally(self) -> dict[str, Fraction | int]:
        """Return how many of the cells had each label, exactly; shares add up."""
        found: dict[str, Fraction | int] = {}
        for shares, count in zip(self.every, self.counts.tolist(), strict=True):
            if count:
                for label, share in shares.items():
                    found[label] = found.get(label, 0) + share * count
        return found

    def presence(self) -> dict[str, int]:
        """Return in how many cells each label occurs, be it in part; blanks are no label."""
        found: dict[str, int] = {}
        for shares, count in zip(self.every, self.counts.tolist(), strict=True):
            for label in shares:
                if label and count:
                    found[label] = found.get(label, 0) + count
        return found

    def has(self, label: str) -> Flags:
        """Return whether each cell had this label, be it in part."""
        found: Flags = np.array([bool(shares.get(label)) for shares in self.every], dtype=bool)[self.codes]
        return found


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
    def _columns(self) -> dict[str, FactorColumn]:
        return {}

    def column(self, factor: str) -> FactorColumn:
        """Return what they had of a factor."""
        if factor not in self._columns:
            self._columns[factor] = FactorColumn.of(self, factor)
        return self._columns[factor]

    @cached_property
    def _means(self) -> dict[str, list[float]]:
        return {}

    def means(self, factor: str) -> list[float]:
        """Return the mean of an amount in each cell that has one."""
        if factor not in self._means:
            self._means[factor] = [cell.means[factor] for cell in self if factor in cell.means]
        return self._means[factor]


def _filled(shares: Shares, usual: str) -> Shares:
    if "" not in shares:
        return shares
    filled = {label: share for label, share in shares.items() if label}
    filled[usual] = filled.get(usual, 0) + shares[""]
    return filled


def counted(column: FactorColumn) -> dict[str, float]:
    """Return how many cells had each label, in the order of the labels."""
    return {label: float(count) for label, count in sorted(column.tally().items())}
