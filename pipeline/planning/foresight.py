"""What past batches tell of the ones to be begun: how long before a week, how much each container gives, how long it
stays filled.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.models.unit_arrays import Numbers, Whole
from pipeline.outlook.ahead import DAYS, Ahead, dice
from pipeline.outlook.backtest import MOST_WEEKS
from pipeline.outlook.history import LAST_AGE, PastBatches
from pipeline.outlook.levels import Donors, sizes
from pipeline.outlook.running import RunningBatch
from pipeline.planning.starts import Deliveries

# So many of the latest batches of a recipe tell how large a container's share is. Our choice, no source.
LATEST = 8
# A container counts as free again at the age at which so many of those begun have ended. Our choice, no source.
ENDED_SHARE = 0.8
# So many days of starting, one span apart, serve a span together. Chosen among 1 to 4 on simulated farms: with one, a
# span hangs on one batch.
TOGETHER = 3
# The stream of uniforms that belongs to plans: outlook has 0 to 2.
PLAN_DICE = 3


@dataclass(frozen=True)
class SpansAhead:
    """Spans of days that are to give something, one after the other. first: days to the first day of the first one
    (1: tomorrow); length: in days; count.
    """

    first: int
    length: int
    count: int

    @property
    def ends(self) -> Whole:
        """Return the last day before each span, and the last day of the last: in days ahead."""
        return self.first - 1 + self.length * np.arange(self.count + 1)


def best_age(lend: Donors, length: int) -> int:
    """Return the age in days at which a span of so many days begins in which a batch gives most: the middle of those
    that are within a hundredth of it.
    """
    gained = lend.kg_by_age[length:] - lend.kg_by_age[:-length]
    return int(np.median(np.flatnonzero(gained >= 0.99 * gained.max()))) + 1


def days_filled(lend: Donors) -> int:
    """Return after how many days ENDED_SHARE of the containers have ended or lapsed; LAST_AGE where they never have."""
    ended = np.flatnonzero(lend.running_by_age <= 1 - ENDED_SHARE)
    return int(ended[0]) if len(ended) else LAST_AGE


def latest_alike(history: PastBatches, day: int, recipe: int) -> Whole:
    """Return the LATEST batches of a recipe that were begun by a day and tell their containers, the latest last."""
    mine = (history.alike == recipe) & (history.start <= day) & ~np.isnan(history.containers)
    return np.flatnonzero(mine)[-LATEST:]


def container_size(history: PastBatches, latest: Whole, fill_power: float) -> float:
    """Return the size of one container of the latest batches, as the outlook counts sizes: their median."""
    return float(np.median(sizes(history, fill_power)[latest] / history.containers[latest]))


def start_days(spans: SpansAhead, age: int, earliest: int) -> tuple[list[int], list[list[int]]]:
    """Return the days of starting, in days ahead, and for each span which of them serve it: the one after which it
    begins at `age`, and those of the spans before, TOGETHER in all. None of them where the last is before the
    `earliest`.
    """
    wanted = [int(spans.first - age + spans.length * at) for at in range(1 - TOGETHER, spans.count)]
    days = [each for each in wanted if each >= earliest]
    gone = len(wanted) - len(days)
    served_by = [range(max(at - gone, 0), at + TOGETHER - gone) for at in range(spans.count)]
    return days, [list(each) for each in served_by]


def deliveries(ahead: Ahead, like: int, size: float, spans: SpansAhead, starts: list[int]) -> Deliveries:
    """Return what each span may give. like: the number of a batch of the recipe; size: of one container; starts: days
    of starting, in days ahead, each with draws of its own.
    """
    ends = spans.ends
    upto = np.concatenate([np.zeros((len(ahead.found.total), 1)), ahead.found.total], axis=1)
    base = np.diff(upto[:, ends], axis=1)
    chances = dice(PLAN_DICE).random((len(starts), len(base)))
    share = size / float(ahead.drawing.lend.sizes[like])
    per_container = np.zeros((len(starts), *base.shape))
    for at, start in enumerate(starts):
        lent = ahead.drawing.kg(RunningBatch(like, -start, 1.0, True), ends, chances[at])
        if lent:
            per_container[at] = share * np.diff(lent.kg, axis=1)
    return Deliveries(base, per_container, _widened_by(ahead, spans))


def _widened_by(ahead: Ahead, spans: SpansAhead) -> Numbers:
    """Return by how much the band of each span is widened: as that of the week in which it ends."""
    found: Numbers = np.interp(spans.ends[1:] / 7, np.arange(1, MOST_WEEKS + 1), ahead.factors.weeks)
    return found


def most_spans(first: int, length: int) -> int:
    """Return how many spans from a first day on can be foreseen."""
    return max(0, (int(DAYS[-1]) - first + 1) // length)
