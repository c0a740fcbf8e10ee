"""The chance of having so many kg by a day, and which batches would have to be started for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.models.unit_arrays import Numbers
from pipeline.outlook.backtest import HIGH80, LOW80, MEDIAN, bands, look_back, widening
from pipeline.outlook.history import PastBatches
from pipeline.outlook.simulate import Draws, RunningBatch, borrow, drawn_paths, simulate, targets, weigh

WANTED_CHANCE = 0.8
# More batches than this at once are no plan. Our choice, no source.
MOST_MORE = 20


@dataclass(frozen=True)
class Chance:
    """With so many more batches begun the next day: the chance (0-1) of the kg, the median and the 80 % band in kg, and
    the latest day on which beginning them still gives WANTED_CHANCE (None where it never does, or none is begun).
    """

    more: int
    chance: float
    median: float
    low80: float
    high80: float
    start_by: int | None


@dataclass(frozen=True)
class Need:
    """The chances from none more upwards, until WANTED_CHANCE or MOST_MORE; widened: by which factor, None where that
    is not available; untold: running or planned batches that are in no figure; can_lend: is there anything to borrow
    for one more batch?
    """

    chances: tuple[Chance, ...]
    widened: float | None
    without_donors: int
    can_lend: bool


def need(history: PastBatches, as_of: int, kg: float, by: int, like: int, draws: int, rng: np.random.Generator) -> Need:
    """Return the chance that at least `kg` are picked from the day after `as_of` up to the day `by`.

    Days as date.toordinal; like: the number of the batch that more batches would be like. The sum of all days is
    simulated as one span and widened as the weeks are: draws are moved away from their median by the factor. Where too
    few past days have seen so long a span, that of single weeks is taken.
    """
    edges = np.array([0, by - as_of])
    factor = widening(look_back(history, as_of, edges, rng), WANTED_CHANCE)
    if factor is None:
        factor = widening(look_back(history, as_of, np.array([0, 7]), rng), WANTED_CHANCE)
    drawn = weigh(history, as_of, draws, rng)
    found = simulate(history, as_of, targets(history, as_of, by - as_of), edges, drawn, rng)
    more = _MoreBatches(history, as_of, by, like, drawn, rng.random((MOST_MORE, draws)))
    widened = factor or 1.0
    chances = []
    total = found.total[:, 0]
    can_lend = borrow(history, as_of, more.target(as_of + 1), edges, drawn.pool) is not None
    for number in range(MOST_MORE + 1 if can_lend else 1):
        if number:
            total = total + more.kg(number - 1, as_of + 1)
        chances.append(_chance(number, total, kg, widened))
        if chances[-1].chance >= WANTED_CHANCE:
            break
    last = chances[-1]
    if last.more and last.chance >= WANTED_CHANCE:
        latest = _latest_start(more, found.total[:, 0], last.more, kg, widened)
        chances[-1] = Chance(last.more, last.chance, last.median, last.low80, last.high80, latest)
    return Need(tuple(chances), factor, int(found.without_donors[0]), can_lend)


@dataclass(frozen=True)
class _MoreBatches:
    """One more batch after another, each with draws of its own, so that days of beginning can be compared."""

    history: PastBatches
    as_of: int
    by: int
    like: int
    drawn: Draws
    chances: Numbers

    def target(self, start: int) -> RunningBatch:
        """The batch, begun on the day `start`."""
        return RunningBatch(self.like, self.as_of - start, 1.0, True)

    def kg(self, which: int, start: int) -> Numbers:
        """Return what the `which`-th of them gives by the day, begun on `start`. One entry per draw."""
        edges = np.array([0, self.by - self.as_of])
        lent = borrow(self.history, self.as_of, self.target(start), edges, self.drawn.pool)
        if lent is None:
            return np.zeros(len(self.chances[which]))
        return drawn_paths(lent, self.drawn, self.chances[which])[:, 0]


def _spread(total: Numbers, widened: float) -> Numbers:
    median = np.median(total)
    found: Numbers = np.maximum(median + widened * (total - median), 0.0)
    return found


def _chance(more: int, total: Numbers, kg: float, widened: float) -> Chance:
    spread = _spread(total, widened)
    ends = bands(spread[:, None])[0]
    share = float((spread >= kg).mean())
    return Chance(more, share, float(ends[MEDIAN]), float(ends[LOW80]), float(ends[HIGH80]), None)


def _latest_start(more: _MoreBatches, base: Numbers, number: int, kg: float, widened: float) -> int:
    """Return the day on which they must all begin at the latest. By halving: a later day never gives more."""
    good, bad = more.as_of + 1, more.by + 1
    while bad - good > 1:
        day = (good + bad) // 2
        total = base + np.sum([more.kg(which, day) for which in range(number)], axis=0)
        if (_spread(total, widened) >= kg).mean() >= WANTED_CHANCE:
            good = day
        else:
            bad = day
    return good
