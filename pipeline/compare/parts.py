"""Units put together: sums, counts, shares and means of each part, from arrays with one entry per unit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import fsum
from typing import Self

import numpy as np

from pipeline.models.compared_columns import Labels
from pipeline.models.unit_arrays import Flags, Numbers, Whole

Shares = Mapping[str, Fraction | int]


@dataclass(frozen=True)
class Parts:
    """Which units belong together: rows are places of units, those of one part side by side; starts: where each part
    begins among them. No part is empty.
    """

    rows: Whole
    starts: Whole

    @classmethod
    def of(cls, keys: Whole) -> Self:
        """Return the parts of units with one key (one entry per unit), keys rising, units in their order."""
        rows = np.argsort(keys, kind="stable")
        ordered = keys[rows]
        first = np.ones(len(rows), dtype=bool)
        first[1:] = ordered[1:] != ordered[:-1]
        return cls(rows, np.flatnonzero(first))

    @property
    def sizes(self) -> Whole:
        """How many units each part has."""
        return np.diff(self.starts, append=len(self.rows))

    @property
    def part_of_row(self) -> Whole:
        """The number of the part of each row."""
        return np.repeat(np.arange(len(self.starts)), self.sizes)

    def count(self, chosen: Flags) -> Whole:
        """Return how many of the chosen units (one entry per unit) each part has."""
        return np.add.reduceat(chosen[self.rows].astype(np.int64), self.starts)

    def only(self, chosen: Flags) -> Parts:
        """Return the parts with their chosen units alone; all units of a part that has none of these."""
        has = self.count(chosen) > 0
        stays = chosen[self.rows] | ~np.repeat(has, self.sizes)
        sizes = np.add.reduceat(stays.astype(np.int64), self.starts)
        return Parts(self.rows[stays], np.cumsum(sizes) - sizes)

    def sums(self, values: Numbers, chosen: Flags) -> list[float]:
        """Return the sum over the chosen units of each part. Exact: of floats it depends on the order, so rounded once,
        at the end.
        """
        taken = chosen[self.rows]
        listed, ends = values[self.rows[taken]].tolist(), np.cumsum(self.count(chosen)).tolist()
        return [fsum(listed[start:end]) for start, end in zip([0, *ends], ends, strict=False)]

    def texts(self, labels: Labels) -> list[tuple[str, ...]]:
        """Return the texts that the units of each part have, rising."""
        width = len(labels.texts)
        every = np.unique(self.part_of_row * width + labels.codes[self.rows])
        texts = [labels.texts[at] for at in (every % width).tolist()]
        ends = np.cumsum(np.bincount(every // width, minlength=len(self.starts))).tolist()
        return [tuple(texts[start:end]) for start, end in zip([0, *ends], ends, strict=False)]

    def shares(self, labels: Labels) -> tuple[Whole, Flags, list[tuple[int, Shares]]]:
        """Return the label of each part's first unit, whether all of its units have that one, and of those parts whose
        units are unlike, by their numbers, the share of units at each label.
        """
        codes = labels.codes[self.rows]
        alike = np.minimum.reduceat(codes, self.starts) == np.maximum.reduceat(codes, self.starts)
        return codes[self.starts], alike, self._mixed(labels, codes, np.flatnonzero(~alike))

    def _mixed(self, labels: Labels, codes: Whole, parts: Whole) -> list[tuple[int, Shares]]:
        """The shares of those parts that have several labels."""
        if not len(parts):
            return []
        is_mixed = np.zeros(len(self.starts), dtype=bool)
        is_mixed[parts] = True
        part, width = self.part_of_row, len(labels.texts)
        chosen = is_mixed[part]
        every, counts = np.unique(part[chosen] * width + codes[chosen], return_counts=True)
        places, numbers = (every % width).tolist(), counts.tolist()
        ends = np.cumsum(np.bincount(every // width, minlength=len(self.starts))[parts]).tolist()
        known: dict[tuple[tuple[int, ...], tuple[int, ...]], Shares] = {}
        found = []
        for at, start, end in zip(parts.tolist(), [0, *ends], ends, strict=False):
            key = (tuple(places[start:end]), tuple(numbers[start:end]))
            if key not in known:
                total = sum(key[1])
                known[key] = {labels.texts[code]: Fraction(count, total) for code, count in zip(*key, strict=True)}
            found.append((at, known[key]))
        return found

    def means(self, values: Numbers) -> Numbers:
        """Return the mean over the units of each part that have a number (else nan); nan where none has."""
        known = ~np.isnan(values)
        counts = self.count(known)
        part = self.part_of_row[known[self.rows]]
        taken = values[self.rows][known[self.rows]]
        found = np.full(len(self.starts), np.nan)
        if not len(taken):
            return found
        has = np.flatnonzero(counts)
        starts = np.searchsorted(part, has)
        low, high = np.minimum.reduceat(taken, starts), np.maximum.reduceat(taken, starts)
        # So many times one number, summed exactly, is their product.
        found[has] = counts[has] * low / counts[has]
        listed, ends = taken.tolist(), [*starts[1:].tolist(), len(taken)]
        for at in np.flatnonzero(low != high).tolist():
            own = listed[starts[at] : ends[at]]
            found[has[at]] = fsum(own) / len(own)
        return found
