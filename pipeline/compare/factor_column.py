"""What cells had of one factor as numbers: cells of the same shares of its labels are alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

import numpy as np

from pipeline.compare.parts import Parts, Shares
from pipeline.compare.share_kinds import ShareKinds
from pipeline.models.compared_columns import Labels
from pipeline.models.unit_arrays import Flags, Whole


@dataclass(frozen=True)
class FactorColumn:
    """The shares of one factor's labels: those that occur, each once, and the place among them of each cell's."""

    codes: Whole
    kinds: ShareKinds

    @classmethod
    def of(cls, found: Sequence[Shares]) -> FactorColumn:
        """Return the column of cells that had these shares, one entry per cell."""
        by_id = {id(shares): shares for shares in found}
        kinds, codes = ShareKinds.of(list(by_id.values()))
        code = dict(zip(by_id, codes.tolist(), strict=True))
        return cls(np.array([code[id(shares)] for shares in found], dtype=np.int64), kinds)

    @classmethod
    def of_parts(cls, parts: Parts, labels: Labels) -> FactorColumn:
        """Return the share of units at each label, of each part."""
        codes, alike, mixed = parts.shares(labels)
        used = np.flatnonzero(np.bincount(codes[alike], minlength=len(labels.texts)))
        number = np.zeros(len(labels.texts), dtype=np.int64)
        number[used] = np.arange(len(used))
        found = number[codes]
        found[mixed.parts] = len(used) + mixed.kinds
        return cls(found, ShareKinds((*({labels.texts[code]: 1} for code in used.tolist()), *mixed.every)))

    @classmethod
    def joined(cls, columns: Sequence[FactorColumn]) -> FactorColumn:
        """Return the columns of cells that follow each other as one."""
        if columns and all(each.kinds is columns[0].kinds for each in columns):
            return cls(np.concatenate([each.codes for each in columns]), columns[0].kinds)
        kinds, new = ShareKinds.of([shares for column in columns for shares in column.every])
        ends = np.cumsum([len(column.every) for column in columns])[:-1]
        codes = [own[column.codes] for own, column in zip(np.split(new, ends), columns, strict=True)]
        return cls(np.concatenate(codes) if codes else np.zeros(0, dtype=np.int64), kinds)

    @property
    def every(self) -> tuple[Shares, ...]:
        """The shares that cells may have."""
        return self.kinds.every

    def where(self, chosen: slice | Whole) -> FactorColumn:
        """Return the column of some of the cells."""
        return FactorColumn(self.codes[chosen], self.kinds)

    def filled(self, usual: str) -> FactorColumn:
        """Return the column with blanks taken for the usual label."""
        kinds, new = self.kinds.filled(usual)
        return self if kinds is self.kinds else FactorColumn(new[self.codes], kinds)

    @cached_property
    def counts(self) -> Whole:
        """How many cells have each of these shares."""
        return np.bincount(self.codes, minlength=len(self.every))

    @cached_property
    def labels(self) -> tuple[str, ...]:
        """The labels that occur, rising."""
        every = self.kinds.labels
        return tuple(every[at] for at in np.flatnonzero(self.kinds.counts(self.counts)).tolist())

    @property
    def first_cells(self) -> dict[str, int]:
        """The place of the first cell of each label, in the order in which they come."""
        found: dict[str, int] = {}
        for cell, kind in self.first_of_kinds:
            for label in self.every[kind]:
                found.setdefault(label, cell)
        return found

    @property
    def first_of_kinds(self) -> list[tuple[int, int]]:
        """The place of the first cell of each kind of shares that occurs, and the kind, in the order of the cells."""
        first = np.full(len(self.every), -1, dtype=np.int64)
        first[self.codes[::-1]] = np.arange(len(self.codes))[::-1]
        return sorted((cell, kind) for kind, cell in enumerate(first.tolist()) if cell >= 0)

    @cached_property
    def whole_tally(self) -> list[int]:
        """How many of the cells had each label of its kinds, times what makes that whole; shares add up."""
        return self.kinds.whole_tally(self.counts)

    @property
    def tally(self) -> dict[str, Fraction]:
        """How many of the cells had each label that occurs, exactly, in the order of the labels."""
        return self.kinds.tally(self.counts)

    def has_shares_of(self, other: FactorColumn) -> bool:
        """Return whether labels have the same shares of these cells as of others, exactly."""
        if self.kinds is other.kinds:
            pairs = zip(self.whole_tally, other.whole_tally, strict=True)
            return all(own * len(other.codes) == theirs * len(self.codes) for own, theirs in pairs)
        shares = [{label: count / len(each.codes) for label, count in each.tally.items()} for each in (self, other)]
        return shares[0] == shares[1]

    def presence(self) -> dict[str, int]:
        """Return in how many cells each label occurs, be it in part; blanks are no label."""
        counts = zip(self.kinds.labels, self.kinds.counts(self.counts).tolist(), strict=True)
        return {label: count for label, count in counts if label and count}

    def has(self, label: str) -> Flags:
        """Return whether each cell had this label, be it in part."""
        if label not in self.kinds.labels:
            return np.zeros(len(self.codes), dtype=bool)
        found: Flags = self.kinds.has[:, self.kinds.labels.index(label)][self.codes]
        return found


def counted(column: FactorColumn) -> dict[str, float]:
    """Return how many cells had each label that occurs, in the order of the labels."""
    every = zip(column.kinds.labels, column.whole_tally, strict=True)
    return {label: count / column.kinds.common for label, count in every if count}
