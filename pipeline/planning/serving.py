"""Promises served from what is picked, day after day, as long as it can be sold. Arrays in, arrays out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.models.unit_arrays import Flags, Numbers

# Halvings until what can still be promised is known: to a thousandth of what lies there.
HALVINGS = 10
NOTHING_KG = 1e-9


@dataclass(frozen=True)
class Due:
    """What is due in so many days (0: today), in kg; strain: its number, None for any."""

    day: int
    kg: float
    strain: int | None = None


@dataclass(frozen=True)
class Further:
    """What is taken beside all that is promised: on which day, how much of each draw, in kg; strain as in Due."""

    day: int
    kg: Numbers
    strain: int | None = None


@dataclass(frozen=True)
class Serving:
    """What lies there and what comes. stock_kg: strains x ages in days from 0, today's pickings too; it can be sold up
    to the last of these ages. picked_kg: strains x draws x days, of the days from tomorrow on; due: in the order in
    which it is served.
    """

    stock_kg: Numbers
    picked_kg: Numbers
    due: tuple[Due, ...]

    def serve(self, further: Further | None = None) -> tuple[Numbers, Numbers]:
        """Return what each that is due gets (draws x due), and what `further` gets (draws), in kg. The oldest goes
        first; what is due on a day gets what there is, one after the other; `further` comes last on its day.
        """
        draws = self.picked_kg.shape[1]
        shelf = np.repeat(self.stock_kg[:, None, :], draws, axis=1).astype(float)
        got = np.zeros((draws, len(self.due)))
        if further is None:
            self._days(shelf, got, 0, self._last)
            return got, np.zeros(draws)
        self._days(shelf, got, 0, further.day)
        more = _taken(shelf, further.kg, further.strain)
        self._days(shelf, got, further.day + 1, self._last)
        return got, more

    @property
    def _last(self) -> int:
        """Return the last day on which something is due."""
        return max((each.day for each in self.due), default=0)

    def _days(self, shelf: Numbers, got: Numbers, first: int, last: int) -> None:
        """Let the days pass from the first to the last, and serve what is due on them: into `got`."""
        for day in range(first, last + 1):
            if day:
                shelf[:, :, 1:] = shelf[:, :, :-1].copy()
                shelf[:, :, 0] = self.picked_kg[:, :, day - 1]
            for at, each in enumerate(self.due):
                if each.day == day:
                    got[:, at] = _taken(shelf, np.full(len(got), each.kg), each.strain)

    def can_be_promised(self, day: int, strain: int | None = None) -> Numbers:
        """Return how much can be taken on a day beside all that is due, so that nothing due later gets less: of each
        draw, in kg. By halving: what takes more never leaves more.
        """
        draws = self.picked_kg.shape[1]
        shelf = np.repeat(self.stock_kg[:, None, :], draws, axis=1).astype(float)
        got = np.zeros((draws, len(self.due)))
        self._days(shelf, got, 0, day)

        def later(kg: Numbers) -> Numbers:
            """What is due later gets in all, of each draw, once so much was taken."""
            left, gets = shelf.copy(), got.copy()
            _taken(left, kg, strain)
            self._days(left, gets, day + 1, self._last)
            found: Numbers = gets.sum(axis=1)
            return found

        high = _taken(shelf.copy(), np.full(draws, np.inf), strain)
        if self._last <= day:
            return high
        least = later(np.zeros(draws)) - NOTHING_KG
        whole, low = later(high) >= least, np.zeros(draws)
        top = high.copy()
        for _ in range(0 if whole.all() else HALVINGS):
            middle = (low + high) / 2
            harmless = later(middle) >= least
            low, high = np.where(harmless, middle, low), np.where(harmless, high, middle)
        found: Numbers = np.where(whole, top, low)
        return found


def _taken(shelf: Numbers, wanted_kg: Numbers, strain: int | None) -> Numbers:
    """Take from the shelf what is wanted of each draw, the oldest first, and return what was there of it."""
    taken = np.zeros(len(wanted_kg))
    strains = range(len(shelf)) if strain is None else [strain]
    for age in reversed(range(shelf.shape[2])):
        for each in strains:
            take = np.minimum(shelf[each, :, age], wanted_kg - taken)
            shelf[each, :, age] -= take
            taken += take
    return taken


def met(got_kg: Numbers, due: Sequence[Due]) -> Flags:
    """Return which of what is due is met: draws x due."""
    found: Flags = got_kg >= np.array([each.kg for each in due]) - NOTHING_KG
    return found
