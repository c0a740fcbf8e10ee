"""The different shares of a factor's labels that cells have, each once: as numbers, made once for all who ask."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from math import lcm
from typing import TypeAlias

import numpy as np

from pipeline.compare.parts import Shares
from pipeline.models.compared_columns import Labels
from pipeline.models.unit_arrays import Flags, Whole
from pipeline.stats.estimability import EXACT_FLOATS

# Shares by what they hold: equal ones are one.
Content: TypeAlias = frozenset[tuple[str, Fraction | int]]


@dataclass(frozen=True, eq=False)
class ShareKinds:
    """Shares of one factor's labels, each kind once."""

    every: tuple[Shares, ...]

    @classmethod
    def of(cls, found: Sequence[Shares]) -> tuple[ShareKinds, Whole]:
        """Return the kinds of these shares, and of which kind each is."""
        place: dict[Content, int] = {}
        every: list[Shares] = []
        kinds = []
        for shares in found:
            kinds.append(place.setdefault(frozenset(shares.items()), len(place)))
            if len(place) > len(every):
                every.append(shares)
        return cls(tuple(every)), np.array(kinds, dtype=np.int64)

    @cached_property
    def _labels(self) -> Labels:
        """The label of each entry: of each kind one entry for each label that it has."""
        return Labels.of([label for shares in self.every for label in shares])

    @property
    def labels(self) -> tuple[str, ...]:
        """The labels that any kind has, rising."""
        return self._labels.texts

    @property
    def label_of(self) -> Whole:
        """The place of the label of each entry among the labels."""
        return self._labels.codes

    @cached_property
    def kind_of(self) -> Whole:
        """The kind of each entry."""
        return np.repeat(np.arange(len(self.every)), [len(shares) for shares in self.every])

    @cached_property
    def over(self) -> Whole:
        """The numerator of each entry's share."""
        return np.array([share.numerator for shares in self.every for share in shares.values()], dtype=np.int64)

    @cached_property
    def under(self) -> Whole:
        """Its denominator."""
        return np.array([share.denominator for shares in self.every for share in shares.values()], dtype=np.int64)

    @cached_property
    def wide(self) -> Whole:
        """What makes the shares of each kind whole."""
        return np.array(
            [lcm(*(share.denominator for share in shares.values())) for shares in self.every], dtype=np.int64
        )

    @cached_property
    def whole(self) -> Whole:
        """The shares of each kind times that: one row per kind, one column per label."""
        found = np.zeros((len(self.every), len(self.labels)), dtype=np.int64)
        found[self.kind_of, self.label_of] = self.over * (self.wide[self.kind_of] // self.under)
        return found

    @cached_property
    def has(self) -> Flags:
        """Whether each kind has each label, be it in part: one row per kind, one column per label."""
        found = np.zeros((len(self.every), len(self.labels)), dtype=bool)
        found[self.kind_of, self.label_of] = self.over > 0
        return found

    def counts(self, of_kind: Whole) -> Whole:
        """Return in how many cells each label occurs. of_kind: how many cells are of each kind."""
        return np.bincount(self.label_of, of_kind[self.kind_of], len(self.labels)).astype(np.int64)

    @cached_property
    def common(self) -> int:
        """What makes the shares of all kinds whole."""
        return lcm(*self.under.tolist())

    def whole_tally(self, of_kind: Whole) -> list[int]:
        """Return how many cells had each label, times `common`; shares add up."""
        counts = of_kind[self.kind_of]
        if self.common * int(of_kind.sum()) < EXACT_FLOATS:
            whole = counts * self.over * (self.common // self.under)
            return list(map(int, np.bincount(self.label_of, whole, len(self.labels)).tolist()))
        found = [0] * len(self.labels)
        every = (each.tolist() for each in (self.label_of, counts, self.over, self.under))
        for label, count, over, under in zip(*every, strict=True):
            found[label] += count * over * (self.common // under)
        return found

    def tally(self, of_kind: Whole) -> dict[str, Fraction]:
        """Return how many cells had each label that occurs, exactly; shares add up."""
        found = zip(self.labels, self.whole_tally(of_kind), strict=True)
        return {label: Fraction(count, self.common) for label, count in found if count}

    @cached_property
    def _filled(self) -> dict[str, tuple[ShareKinds, Whole]]:
        return {}

    def filled(self, usual: str) -> tuple[ShareKinds, Whole]:
        """Return the kinds with blanks taken for the usual label, and which of them each of these becomes."""
        if "" not in self.labels:
            return self, np.arange(len(self.every))
        if usual not in self._filled:
            self._filled[usual] = ShareKinds.of([_filled(shares, usual) for shares in self.every])
        return self._filled[usual]


def _filled(shares: Shares, usual: str) -> Shares:
    if "" not in shares:
        return shares
    filled = {label: share for label, share in shares.items() if label}
    filled[usual] = filled.get(usual, 0) + shares[""]
    return filled
