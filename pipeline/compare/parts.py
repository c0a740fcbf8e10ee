"""Units put together: sums, counts, shares and means of each part, from arrays with one entry per unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Self

import numpy as np

from pipeline.models.compared_columns import Labels, changes
from pipeline.models.unit_arrays import Flags, Numbers, Whole
from pipeline.stats.numbering import in_order, numbered_rows
from pipeline.stats.sums import totals

Shares = Mapping[str, Fraction | int]


@dataclass(frozen=True)
class TextLists:
    """Some texts of each entry: the places of all in `texts`, side by side; where each entry's begin; how many there
    are. One that is there again counts once.
    """

    codes: Whole
    starts: Whole
    counts: Whole
    texts: Sequence[str]

    @classmethod
    def of(cls, found: Sequence[Sequence[str]]) -> Self:
        """Return these texts of each entry."""
        labels = Labels.of([text for own in found for text in own])
        counts = np.array([len(own) for own in found], dtype=np.int64)
        return cls(labels.codes, np.cumsum(counts) - counts, counts, labels.texts)

    def at(self, entry: int) -> tuple[str, ...]:
        """Return the texts of one entry, rising."""
        start = self.starts[entry]
        return tuple(sorted({self.texts[code] for code in self.codes[start : start + self.counts[entry]].tolist()}))

    def different(self, entries: Whole) -> int:
        """Return how many different texts these entries have."""
        chosen = np.zeros(len(self.counts), dtype=bool)
        chosen[entries] = True
        return int(np.count_nonzero(np.bincount(self.codes[np.repeat(chosen, self.counts)])))


@dataclass(frozen=True)
class MixedShares:
    """The shares of labels of parts whose units are unlike: the parts, of which kind each is, and the kinds."""

    parts: Whole
    kinds: Whole
    every: tuple[Shares, ...]


def _shares(labels: Labels, written: list[int]) -> Shares:
    """The shares that are written as labels, and then how many of each."""
    codes, counts = written[: len(written) // 2], written[len(written) // 2 :]
    total = sum(counts)
    return {labels.texts[code]: Fraction(count, total) for code, count in zip(codes, counts, strict=True) if count}


@dataclass(frozen=True)
class Parts:
    """Which units belong together: rows are places of units, those of one part side by side; starts: where each part
    begins among them; times: how many units each row stands for. No part is empty.
    """

    rows: Whole
    starts: Whole
    times: Whole

    @classmethod
    def of(cls, keys: Whole, chosen: Flags | None = None) -> Self:
        """Return the parts of units with one key (one entry per unit), keys rising, units in their order; chosen: which
        units are in any.
        """
        return cls._ordered(np.argsort(keys, kind="stable"), keys, chosen)

    @classmethod
    def within(cls, order: Whole, kinds: Whole, keys: Whole, chosen: Flags) -> Self:
        """Return the parts of the chosen units with one key, kinds rising, and in each kind as in this order of all.
        kinds: of each unit, few and from -1 on.
        """
        # Numbers of two bytes are sorted by counting them.
        small = kinds.astype(np.int16 if kinds.max(initial=0) <= np.iinfo(np.int16).max else np.int64)
        return cls._ordered(order[np.argsort(small[order], kind="stable")], keys, chosen)

    @classmethod
    def _ordered(cls, rows: Whole, keys: Whole, chosen: Flags | None) -> Self:
        if chosen is not None and not chosen.all():
            rows = rows[chosen[rows]]
        return cls(rows, np.flatnonzero(changes(keys[rows])), np.ones(len(rows), dtype=np.int64))

    @property
    def sizes(self) -> Whole:
        """How many rows each part has."""
        return np.diff(self.starts, append=len(self.rows))

    @cached_property
    def part_of_row(self) -> Whole:
        """The number of the part of each row."""
        return np.repeat(np.arange(len(self.starts)), self.sizes)

    def count(self, chosen: Flags) -> Whole:
        """Return how many of the chosen units (one entry per unit) each part has."""
        return np.add.reduceat(np.where(chosen[self.rows], self.times, 0), self.starts)

    def only(self, chosen: Flags) -> Parts:
        """Return the parts with their chosen units alone; all units of a part that has none of these."""
        has = self.count(chosen) > 0
        stays = chosen[self.rows] | ~np.repeat(has, self.sizes)
        sizes = np.add.reduceat(stays.astype(np.int64), self.starts)
        return Parts(self.rows[stays], np.cumsum(sizes) - sizes, self.times[stays])

    def alike(self, runs: Whole) -> Parts:
        """Return the same parts with one row for units of one run that follow each other. runs: of each unit; what is
        asked of them afterwards must be alike in all units of a run.
        """
        first = changes(runs[self.rows])
        first[self.starts] = True
        at = np.flatnonzero(first)
        return Parts(self.rows[at], np.searchsorted(at, self.starts), np.add.reduceat(self.times, at))

    def sums(self, values: Numbers, chosen: Flags) -> Numbers:
        """Return the sum over the chosen units of each part: as good as exact, so that the order does not matter."""
        return self._sums(np.where(chosen, values, 0.0)[self.rows])

    def _sums(self, values: Numbers) -> Numbers:
        """The sums of these values, one for each row."""
        return totals(values, self.part_of_row, len(self.starts), self.times)

    def texts(self, labels: Labels) -> TextLists:
        """Return the texts that the units of each part have."""
        return TextLists(labels.codes[self.rows], self.starts, self.sizes, labels.texts)

    def shares(self, labels: Labels) -> tuple[Whole, Flags, MixedShares]:
        """Return the label of each part's first unit, whether all of its units have that one, and of those parts whose
        units are unlike the share of units at each label.
        """
        codes = labels.codes[self.rows]
        first = codes[self.starts]
        unlike = self._any(codes != first[self.part_of_row])
        return first, ~unlike, self._mixed(labels, codes, unlike)

    def _any(self, rows: Flags) -> Flags:
        """Whether any row of each part is among these."""
        found = np.zeros(len(self.starts), dtype=bool)
        found[self.part_of_row[rows]] = True
        return found

    def _mixed(self, labels: Labels, codes: Whole, is_mixed: Flags) -> MixedShares:
        """The shares of those parts that have several labels."""
        parts = np.flatnonzero(is_mixed)
        if not len(parts):
            return MixedShares(parts, parts, ())
        width = len(labels.texts)
        chosen = is_mixed[self.part_of_row]
        # With the first of each numpy sorts by merging: quick, for parts stand in order.
        every, _, place = np.unique(
            self.part_of_row[chosen] * width + codes[chosen], return_index=True, return_inverse=True
        )
        counts = np.bincount(place, self.times[chosen]).astype(np.int64)
        lengths = np.bincount(every // width, minlength=len(self.starts))[parts]
        starts = np.cumsum(lengths) - lengths
        counts //= np.repeat(np.gcd.reduceat(counts, starts), lengths)
        # Of each part its labels and then how many of each, side by side; 0 stands for none.
        row, at, most = np.repeat(np.arange(len(parts)), lengths), np.arange(len(every)), int(lengths.max())
        written = np.zeros((len(parts), 2 * most), dtype=np.int64)
        written[row, at - starts[row]] = every % width
        written[row, most + at - starts[row]] = counts
        first, kinds = in_order(*numbered_rows(written))
        return MixedShares(parts, kinds, tuple(_shares(labels, written[one].tolist()) for one in first.tolist()))

    def means(self, values: Numbers) -> Numbers:
        """Return the mean over the units of each part that have a number (else nan); nan where none has."""
        own = values[self.rows]
        known = ~np.isnan(own)
        if not known.any():
            return np.full(len(self.starts), np.nan)
        of_part = self.part_of_row
        counts = np.bincount(of_part, np.where(known, self.times, 0), len(self.starts))
        # The first that is known of each part: what is written last stays.
        first, at = np.zeros(len(self.starts)), np.flatnonzero(known)[::-1]
        first[of_part[at]] = own[at]
        # So many times one number, summed exactly, is their product.
        sums, unlike = counts * first, self._any(known & (own != first[of_part]))
        if unlike.any():
            sums = np.where(unlike, self._sums(np.where(known, own, 0.0)), sums)
        found: Numbers = np.divide(sums, counts, out=np.full(len(self.starts), np.nan), where=counts > 0)
        return found
