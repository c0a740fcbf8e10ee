"""The chance of having so many kg by a day, and which batches would have to be started for it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.models.unit_arrays import Numbers
from pipeline.outlook.ahead import Ahead, dice
from pipeline.outlook.backtest import HIGH80, LOW80, MEDIAN, bands
from pipeline.outlook.drawing import Drawing, known_days
from pipeline.outlook.running import RunningBatch
from pipeline.outlook.widening import spread

WANTED_CHANCE = 0.8
# More batches than this at once are no plan. Our choice, no source.
MOST_MORE = 20


@dataclass(frozen=True)
class Chance:
    """With so many more batches begun the next day: the chance (0-1) of the kg, the median and the 80 % band in kg, and
    start_in: in how many days beginning them, at the latest, still gives WANTED_CHANCE (None where it never does, or
    none is begun).
    """

    more: int
    chance: float
    median: float
    low80: float
    high80: float
    start_in: int | None


@dataclass(frozen=True)
class Need:
    """The chances from none more upwards, until WANTED_CHANCE or MOST_MORE; widened: by which factor; without_donors:
    running or planned batches that are in no figure.
    """

    chances: tuple[Chance, ...]
    widened: float
    without_donors: int


def need(ahead: Ahead, kg: float, days: int, like: int) -> Need:
    """Return the chance that at least `kg` are picked in so many days ahead.

    like: the number of the batch that more batches would be like. The draws of the outlook are read, widened as the sum
    of these days is.
    """
    factor = ahead.factors.of_days(days)
    base = ahead.found.total[:, days - 1]
    more = _MoreBatches(ahead.drawing, days, like, dice(2).random((MOST_MORE, len(base))))
    chances: list[Chance] = []
    total = base
    for number in range(MOST_MORE + 1 if known_days(ahead.drawing.lend, -1) >= days else 1):
        if number:
            total = total + more.kg(number - 1, 1)
        chances.append(_chance(number, total, kg, factor))
        if chances[-1].chance >= WANTED_CHANCE:
            break
    last = chances[-1]
    if last.more and last.chance >= WANTED_CHANCE:
        chances[-1] = replace(last, start_in=_latest_start(more, base, last.more, kg, factor))
    return Need(tuple(chances), factor, int(ahead.found.without_donors[days - 1]))


@dataclass(frozen=True)
class _MoreBatches:
    """One more batch after another, each with draws of its own, so that days of beginning can be compared."""

    drawing: Drawing
    days: int
    like: int
    chances: Numbers

    def kg(self, which: int, start: int) -> Numbers:
        """Return what the `which`-th of them gives by the day, begun so many days ahead. One entry per draw."""
        target = RunningBatch(self.like, -start, 1.0, True)
        lent = self.drawing.kg(target, np.array([self.days]), self.chances[which])
        return lent.kg[:, 0] if lent else np.zeros(len(self.chances[which]))


def _chance(more: int, total: Numbers, kg: float, widened: float) -> Chance:
    moved = spread(total, widened)
    ends = bands(moved)
    share = float((moved >= kg).mean())
    return Chance(more, share, float(ends[MEDIAN]), float(ends[LOW80]), float(ends[HIGH80]), None)


def _latest_start(more: _MoreBatches, base: Numbers, number: int, kg: float, widened: float) -> int:
    """Return in how many days they must all begin at the latest. By halving: a later day never gives more."""
    good, bad = 1, more.days + 1
    while bad - good > 1:
        day = (good + bad) // 2
        total = base + np.sum([more.kg(which, day) for which in range(number)], axis=0)
        if (spread(total, widened) >= kg).mean() >= WANTED_CHANCE:
            good = day
        else:
            bad = day
    return good
