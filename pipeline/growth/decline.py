"""The decline of flushes: what a flush gives against the first, not biased by containers that still produce."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.models.unit_arrays import Days, Numbers, Whole
from pipeline.stats.estimate import t_critical
from pipeline.stats.ratio import Ratio, ratio_of_sums, spread
from schemas.confidence import LEVEL


@dataclass(frozen=True)
class Resolved:
    """How containers stand to one flush, one entry per container.

    soak: its number, from 0; age: days since inoculation at the as-of date; resolved_age: its age when that flush was
    told, nan while it still produces; fresh: g of that flush; first: g of flush 1.
    """

    soak: Whole
    age: Numbers
    resolved_age: Days
    fresh: Numbers
    first: Numbers


def old_enough_share(starts: Numbers, ages: Days) -> Numbers:
    """Return the share of the starts that is at least as old as each age. starts: one age per start; nan for an age
    nan.
    """
    rising = np.sort(starts)
    share: Numbers = 1 - np.searchsorted(rising, ages, side="left") / len(rising)
    return np.where(np.isnan(ages), np.nan, share)


def weights(flush: Resolved) -> Numbers:
    """Return for how many containers each resolved one stands. 0 for those that still produce.

    1 / (share of starts at least as old as the age at which the flush was resolved): those told late are told of old
    starts only, so each stands for more (inverse probability of censoring: Robins & Rotnitzky 1992). A start is a soak
    and a day of inoculation. By simulation the
    bias is at most 1.2 %, where zeros for the unfinished give -15 to -32 %.
    """
    return weights_of(start_ages(flush.soak, flush.age), flush.resolved_age)


def start_ages(soak: Whole, age: Numbers) -> Numbers:
    """Return the age of each start, one entry per soak and day of inoculation. soak, age: one entry per container."""
    order = np.lexsort((age, soak))
    soak, age = soak[order], age[order]
    found: Numbers = age[np.append(True, (np.diff(soak) != 0) | (np.diff(age) != 0))[: len(age)]]
    return found


def weights_of(starts: Numbers, resolved_age: Days) -> Numbers:
    """Return the same by the ages of the starts: see weights."""
    known, found = ~np.isnan(resolved_age), np.zeros(len(resolved_age))
    found[known] = 1 / old_enough_share(starts, resolved_age[known])
    return found


def decline_started(flush: Resolved, level: float = LEVEL) -> Ratio:
    """What the flush gives over flush 1, per container started. One without the flush counts as 0."""
    weight = weights(flush)
    return _by_soak(flush, weight * flush.fresh, weight * flush.first, level)


def decline_gave(flush: Resolved, level: float = LEVEL) -> Ratio:
    """What the flush gives over flush 1, in the containers that gave it."""
    weight = weights(flush) * (flush.fresh > 0)
    return _by_soak(flush, weight * flush.fresh, weight * flush.first, level)


def _by_soak(flush: Resolved, over: Numbers, under: Numbers, level: float) -> Ratio:
    count = int(flush.soak.max()) + 1 if len(flush.soak) else 0
    top, bottom = (np.bincount(flush.soak, each, count).astype(np.float64) for each in (over, under))
    return over_flush_1(top, bottom, level)


def over_flush_1(over: Numbers, under: Numbers, level: float = LEVEL) -> Ratio:
    """Return what a flush gives over flush 1, from the sums of each soak: no limit lies below 0."""
    found = ratio_of_sums(over, under, level)
    return found if found.low is None or found.low >= 0 else found._replace(low=0.0)


def too_early(flush: Resolved, oldest_resolved: float) -> str | None:
    """Return why the decline of this flush is not known yet. None when it can.

    oldest_resolved: the oldest age (days) at which this flush was ever resolved, on the whole farm. Where no start is
    that old, or the oldest one still produces, the slow containers are in no sum and the estimate would be wrong.
    """
    tells = (flush.first > 0) | (flush.fresh > 0)
    resolved = ~np.isnan(flush.resolved_age)
    oldest = float(np.max(flush.age, initial=0.0))
    produces = bool((tells & ~resolved & (flush.age == oldest)).any())
    return why_early(bool((tells & resolved).any()), oldest, oldest_resolved, produces)


def why_early(resolved: bool, oldest: float, oldest_resolved: float, produces: bool) -> str | None:
    """Return in words why a decline is not known yet; None when it is. resolved: the flush is, in any container;
    oldest: the age of the oldest start; produces: that start still produces; oldest_resolved: see too_early.
    """
    if not resolved:
        return "no container is known that far"
    if oldest < oldest_resolved:
        return f"the oldest start is {oldest:.0f} days old; the flush was told as late as day {oldest_resolved:.0f}"
    if produces:
        return "the oldest start still produces"
    return None


@dataclass(frozen=True)
class PerFlush:
    """One number for the decline: % less from each flush to the next, with its interval; flushes used, soaks."""

    pct: float
    low: float | None
    high: float | None
    flushes: int
    soaks: int


def decline_per_flush(declines: Sequence[tuple[int, Ratio]], level: float = LEVEL) -> PerFlush | None:
    """By how many % each flush gives less than the one before. declines: (flush, its decline_started), 2 and up, all
    over the same soaks.

    The straight line through log(decline) against flush - 1, from 0 at flush 1, by least squares; each soak's pull on
    it is the sum of its pulls on the declines (delta method), t with the fewest degrees of freedom of any of them.
    None without a flush that gave anything. A constant share from flush to flush is a simplification: where flushes 2
    and 3 fall unlike, it is their middle.
    """
    steps = [(flush - 1, each, each.value) for flush, each in declines if each.value]
    if not steps:
        return None
    scale = sum(step**2 for step, _, _ in steps)
    slope = sum(step * math.log(value) for step, _, value in steps) / scale
    soaks = max(each.soaks for _, each, _ in steps)
    pct = 100 * (1 - math.exp(slope))
    if any(each.error is None for _, each, _ in steps):
        return PerFlush(pct, None, None, len(steps), soaks)
    parts: list[Numbers] = [step * each.pull / value / scale for step, each, value in steps]
    error = spread(np.sum(parts, axis=0), soaks)
    if not error:
        return PerFlush(pct, None, None, len(steps), soaks)
    half = t_critical(min(each.degrees for _, each, _ in steps), level) * error
    low, high = (100 * (1 - math.exp(slope + sign * half)) for sign in (1, -1))
    return PerFlush(pct, low, high, len(steps), soaks)
