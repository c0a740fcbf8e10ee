"""What cells had of one factor as numbers: cells of the same shares of its labels are alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import TypeAlias

import numpy as np

from pipeline.compare.parts import Parts, Shares
from pipeline.models.compared_columns import Labels
from pipeline.models.unit_arrays import Flags, Whole

# Shares by what they hold: equal ones are one.
Content: TypeAlias = frozenset[tuple[str, Fraction | int]]


@dataclass(frozen=True)
class FactorColumn:
    """The shares of one factor's labels: those that occur, each once, and the place among them of each cell's."""

    codes: Whole
    every: tuple[Shares, ...]

    @classmethod
    def of(cls, found: Sequence[Shares]) -> FactorColumn:
        """Return the column of cells that had these shares, one entry per cell."""
        by_id = {id(shares): shares for shares in found}
        place: dict[Content, int] = {}
        code = {key: place.setdefault(frozenset(shares.items()), len(place)) for key, shares in by_id.items()}
        every = {code[key]: shares for key, shares in by_id.items()}
        return cls(
            np.array([code[id(shares)] for shares in found], dtype=np.int64), tuple(every[at] for at in sorted(every))
        )

    @classmethod
    def of_parts(cls, parts: Parts, labels: Labels) -> FactorColumn:
        """Return the share of units at each label, of each part."""
        codes, alike, mixed = parts.shares(labels)
        every: list[Shares] = [{labels.texts[code]: 1} for code in np.unique(codes[alike]).tolist()]
        place: dict[Content, int] = {frozenset(shares.items()): at for at, shares in enumerate(every)}
        number = np.zeros(len(labels.texts), dtype=np.int64)
        number[np.unique(codes[alike])] = np.arange(len(every))
        found = number[codes]
        by_id: dict[int, int] = {}
        for part, shares in mixed:
            if id(shares) not in by_id:
                by_id[id(shares)] = place.setdefault(frozenset(shares.items()), len(every))
                if len(place) > len(every):
                    every.append(shares)
            found[part] = by_id[id(shares)]
        return cls(found, tuple(every))

    @classmethod
    def joined(cls, columns: Sequence[FactorColumn]) -> FactorColumn:
        """Return the columns of cells that follow each other as one."""
        if columns and all(each.every is columns[0].every for each in columns):
            return cls(np.concatenate([each.codes for each in columns]), columns[0].every)
        place: dict[Content, int] = {}
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

    def where(self, chosen: slice | Whole) -> FactorColumn:
        """Return the column of some of the cells."""
        return FactorColumn(self.codes[chosen], self.every)

    def filled(self, usual: str) -> FactorColumn:
        """Return the column with blanks taken for the usual label."""
        if not any("" in shares for shares in self.every):
            return self
        every = [_filled(shares, usual) for shares in self.every]
        place: dict[Content, int] = {}
        new = np.array([place.setdefault(frozenset(each.items()), len(place)) for each in every], dtype=np.int64)
        first = dict(zip(reversed(new.tolist()), reversed(every), strict=True))
        return FactorColumn(new[self.codes] if len(new) else self.codes, tuple(first[at] for at in sorted(first)))

    @cached_property
    def counts(self) -> Whole:
        """How many cells have each of these shares."""
        return np.bincount(self.codes, minlength=len(self.every))

    @cached_property
    def _known(self) -> list[tuple[Shares, int]]:
        """The shares that occur, and how many cells have each."""
        return [(self.every[at], int(self.counts[at])) for at in np.flatnonzero(self.counts).tolist()]

    @cached_property
    def labels(self) -> tuple[str, ...]:
        """The labels that occur, rising."""
        return tuple(sorted({label for shares, _ in self._known for label in shares}))

    @property
    def first_cells(self) -> dict[str, int]:
        """The place of the first cell of each label, in the order in which they come."""
        kinds, first = np.unique(self.codes, return_index=True)
        found: dict[str, int] = {}
        for cell, kind in sorted(zip(first.tolist(), kinds.tolist(), strict=True)):
            for label in self.every[kind]:
                found.setdefault(label, cell)
        return found

    @cached_property
    def tally(self) -> dict[str, Fraction | int]:
        """How many of the cells had each label, exactly; shares add up."""
        # Whole numbers of each fraction first: they are far quicker.
        found: dict[str, dict[int, int]] = {}
        for shares, count in self._known:
            for label, share in shares.items():
                of_label = found.setdefault(label, {})
                of_label[share.denominator] = of_label.get(share.denominator, 0) + share.numerator * count
        return {
            label: sum((Fraction(over, under) if under > 1 else over for under, over in each.items()), start=0)
            for label, each in found.items()
        }

    def presence(self) -> dict[str, int]:
        """Return in how many cells each label occurs, be it in part; blanks are no label."""
        found: dict[str, int] = {}
        for shares, count in self._known:
            for label in shares:
                if label:
                    found[label] = found.get(label, 0) + count
        return found

    def has(self, label: str) -> Flags:
        """Return whether each cell had this label, be it in part."""
        found: Flags = np.array([bool(shares.get(label)) for shares in self.every], dtype=bool)[self.codes]
        return found


def _filled(shares: Shares, usual: str) -> Shares:
    if "" not in shares:
        return shares
    filled = {label: share for label, share in shares.items() if label}
    filled[usual] = filled.get(usual, 0) + shares[""]
    return filled


def counted(column: FactorColumn) -> dict[str, float]:
    """Return how many cells had each label, in the order of the labels."""
    return {label: float(count) for label, count in sorted(column.tally.items())}
