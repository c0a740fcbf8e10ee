"""The rows of a design: those that are alike stand once, with the cells (or split soaks) that have them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Self

import numpy as np

from pipeline.models.compared_columns import Labels
from pipeline.models.unit_arrays import Numbers, Whole
from pipeline.stats.estimability import DesignRow


@dataclass(frozen=True)
class DesignRows:
    """Rows of a design. every: each that occurs, once, in the order of the first of its kind; of each cell (or split
    soak) its soak, the place of its row among them, and its value (or difference).
    """

    soaks: Labels
    kinds: Whole
    every: tuple[DesignRow, ...]
    values: Numbers

    @classmethod
    def of(cls, soaks: Labels, kinds: Whole, rows: Sequence[DesignRow], values: Numbers) -> Self:
        """Return these rows, those that are equal put together."""
        place: dict[frozenset[tuple[object, Fraction | int]], int] = {}
        new = [place.setdefault(frozenset(row.items()), len(place)) for row in rows]
        first = dict(zip(reversed(new), reversed(rows), strict=True))
        return cls(soaks, np.array(new, dtype=np.int64)[kinds], tuple(first[at] for at in sorted(first)), values)

    @cached_property
    def soak_alone(self) -> list[str | None]:
        """The soak that alone stands for each row; None where several do."""
        order = np.argsort(self.kinds, kind="stable")
        starts = np.searchsorted(self.kinds[order], np.arange(len(self.every)))
        codes = self.soaks.codes[order]
        low, high = np.minimum.reduceat(codes, starts).tolist(), np.maximum.reduceat(codes, starts).tolist()
        return [self.soaks.texts[at] if at == other else None for at, other in zip(low, high, strict=True)]


def unlike_rows(columns: Sequence[Whole], length: int = 0) -> tuple[Whole, Whole]:
    """Return which kind each row is, kinds in the order of the first of each, and where these first ones are. columns:
    numbers from 0, one entry per row; length: of the rows, where there are no columns.
    """
    kinds = np.zeros(len(columns[0]) if columns else length, dtype=np.int64)
    for codes in columns:
        # Numbered anew after every column, so that they stay small.
        kinds = _numbered(kinds * (int(codes.max(initial=0)) + 1) + codes)
    count = int(kinds.max(initial=-1)) + 1
    first = np.zeros(count, dtype=np.int64)
    first[kinds[::-1]] = np.arange(len(kinds))[::-1]
    order = np.argsort(first, kind="stable")
    place = np.empty(count, dtype=np.int64)
    place[order] = np.arange(count)
    return place[kinds], first[order]


def _numbered(codes: Whole) -> Whole:
    """Each code's place among those that occur."""
    most = int(codes.max(initial=0)) + 1
    if most > 8 * len(codes):
        return np.asarray(np.unique(codes, return_inverse=True)[1])
    occurs = np.zeros(most, dtype=bool)
    occurs[codes] = True
    return np.asarray((np.cumsum(occurs) - 1)[codes])
