"""Columns of units that are compared: texts as numbers of labels, sums of measures, waits and starts. All arrays of one
value hold one entry per unit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from pipeline.models.unit_arrays import Flags, Lines, Numbers, Texts, UnitArrays, Whole

Days = NDArray[np.datetime64]  # NaT where there is none


@dataclass(frozen=True)
class Labels:
    """The text of one column for each unit: the place of its text in `texts`, which rise and are each there once."""

    codes: Whole
    texts: tuple[str, ...]

    @classmethod
    def of(cls, texts: Sequence[str]) -> Self:
        """Return these texts, one per unit, as labels."""
        every = tuple(sorted(set(texts)))
        place = {text: at for at, text in enumerate(every)}
        return cls(np.array([place[text] for text in texts], dtype=np.int64), every)

    def where(self, chosen: Flags | Whole) -> Labels:
        """Return the labels of the chosen units."""
        return Labels(self.codes[chosen], self.texts)

    def renamed(self, texts: Sequence[str]) -> Labels:
        """Return the labels with other texts in place of these, one each; texts that become alike are one."""
        new = Labels.of(texts)
        return Labels(new.codes[self.codes], new.texts)

    @property
    def alone(self) -> Labels:
        """The same labels without texts that no unit has."""
        used = self.used
        place = np.zeros(len(self.texts), dtype=np.int64)
        place[used] = np.arange(len(used))
        return Labels(place[self.codes], tuple(self.texts[at] for at in used.tolist()))

    @property
    def used(self) -> Whole:
        """The places of the texts that any unit has, rising."""
        return np.flatnonzero(np.bincount(self.codes, minlength=len(self.texts)))


@dataclass(frozen=True)
class Runs:
    """Units that follow each other and are alike: the number of the run of each; columns: in which they are alike."""

    codes: Whole
    columns: frozenset[str]

    @classmethod
    def of(cls, batches: Labels, cells: Mapping[str, Labels]) -> Self:
        """Return the runs of units of one batch that have the same in these columns. A column by which runs would be of
        less than two units, like a weight of every container, is left out.
        """
        begin = changes(batches.codes)
        columns = set()
        for name, labels in cells.items():
            together = begin | changes(labels.codes)
            if 2 * together.sum() <= len(together):
                begin = together
                columns.add(name)
        return cls(np.cumsum(begin), frozenset(columns))


def changes(codes: Whole) -> Flags:
    """Return whether each code is another than the one before; the first is."""
    found = np.ones(len(codes), dtype=bool)
    found[1:] = codes[1:] != codes[:-1]
    return found


@dataclass(frozen=True)
class MeasureParts(UnitArrays):
    """What each unit adds to the two sums of a measure. under nan: it has nothing to divide by, nor ever will;
    resolved: whether it is far enough to be compared.
    """

    over: Numbers
    under: Numbers
    resolved: Flags

    @property
    def adding(self) -> Flags:
        """Whether a unit adds to the sums."""
        found: Flags = self.resolved & ~np.isnan(self.under) & (self.under != 0)
        return found

    @property
    def waiting(self) -> Flags:
        """Whether a unit is not far enough, and will be."""
        found: Flags = ~self.resolved & ~np.isnan(self.under)
        return found


@dataclass(frozen=True)
class UnitWaits(UnitArrays):
    """How each unit stands to what it waits for: see unit_pinning.sql. fate: None without a day of inoculation; day: to
    that fate; batch: the line of its batch.
    """

    fate: Texts
    day: Numbers
    batch: Lines


@dataclass(frozen=True)
class UnitStarts(UnitArrays):
    """What starting each unit took: containers, and g of spawn and of dry substrate. nan: unknown."""

    containers: Numbers
    spawn_g: Numbers
    dry_g: Numbers
