"""The draws of the past: which batch another goes on like, and how many times as much it gives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.models.unit_arrays import Flags, Numbers, Whole
from pipeline.outlook.history import LAST_AGE
from pipeline.outlook.levels import Donors
from pipeline.outlook.running import RunningBatch, RunningBatches

# Fewer past batches than this tell nothing of how much batches differ: chosen on 43 simulated farms.
LEAST_DONORS = 4
# Who lends has itself seen so many days of what is to come, where enough did. Our choice, no source.
SEEN_AHEAD = 28


@dataclass(frozen=True)
class Borrowed:
    """What a batch borrows. donors: how many lend; days_known: for how many days ahead there are donors enough;
    source: whose level it has; kg: mean of each day's end so far, at the days asked for.
    """

    donors: int
    days_known: int
    source: str
    kg: Numbers


@dataclass(frozen=True)
class HeapedSets:
    """Several sets of those who lend. lends: who does, sets x pool; heaped: the weights of these, one on the other,
    sets x pool x draws; luck: how much they give by these weights, beside what they give if all weigh alike, sets x
    draws: the level holds the luck of the past already, and must not meet it twice.
    """

    lends: Flags
    heaped: Numbers
    luck: Numbers


def known_days(lend: Donors, age: int) -> int:
    """Return for how many days ahead of this age at least LEAST_DONORS past batches are old enough."""
    return int(days_known(lend, np.array([age]))[0])


def days_known(lend: Donors, ages: Whole) -> Whole:
    """Return the same of each of these ages."""
    if len(lend.pool) < LEAST_DONORS:
        return np.zeros(len(ages), dtype=np.int64)
    oldest = int(np.sort(lend.ages)[-LEAST_DONORS])
    return np.full(len(ages), 10**6) if oldest >= LAST_AGE else np.maximum(oldest - ages, 0)


class Drawing:
    """One set of draws of the past: which batch each target goes on like, and the level of each recipe.

    Whole batches are drawn, never containers: those of one batch share its luck. Weights are exponential and shared by
    all targets of a draw, which is the Bayesian bootstrap (Rubin 1981, Annals of Statistics 9(1):130-134).
    The same `rng` state gives the same numbers.
    """

    def __init__(self, lend: Donors, draws: int, rng: np.random.Generator) -> None:
        self.lend = lend
        self.rng = rng
        self.draws = draws
        self._weights: Numbers = -np.log1p(-rng.random((draws, len(lend.pool))))
        # Of each age, what each of the pool had given and how much of it still ran: ages x pool.
        self._paths = np.ascontiguousarray(_completed(lend, rng).T)
        self._left = np.ascontiguousarray(lend.history.running[lend.pool].T)
        self._unlike = rng.standard_normal((draws, 2))
        self._by_part = np.ascontiguousarray(self._weights.T)
        self._heaps: dict[bytes, HeapedSets] = {}
        self._levels: dict[int, Numbers] = {}
        self._sources: dict[tuple[int, int], str] = {}

    def kg(self, target: RunningBatch, days: Whole, chance: Numbers) -> Borrowed | None:
        """Return what a target gives up to each of the days ahead, draws x days. None where too few can lend.
        chance: one uniform per draw.
        """
        known = known_days(self.lend, target.age)
        if not known:
            return None
        lends, _ = self.who_lends(np.array([target.age]))
        heaps = self._heaps.setdefault(lends.tobytes(), self.heaps(lends))
        which = places(heaps.heaped[0], chance[None, :])[0] // self.draws
        scale = self.sizes(RunningBatches.of_one(target))[0] * self.levels(target.batch) / heaps.luck[0]
        kg = self.lent(target.age, days).T[which] * scale[:, None]
        return Borrowed(int(lends.sum()), known, self.source(target.batch), kg)

    def sizes(self, wanted: RunningBatches) -> Numbers:
        """Return how many times as much each of these gives as one of level 1: by its size, its season, and how much of
        it still runs.
        """
        running = np.where(wanted.age >= 0, wanted.running, 1.0)
        found: Numbers = self.lend.sizes[wanted.batch] * self.lend.seasons(wanted.batch) * running
        return found

    def levels(self, batch: int) -> Numbers:
        """Return the level of a batch's recipe, draw by draw."""
        recipe = int(self.lend.history.alike[batch])
        if recipe not in self._levels:
            self._levels[recipe] = self.lend.levels(self._weights, batch, self._unlike)
        return self._levels[recipe]

    def source(self, batch: int) -> str:
        """Return which kind tells most of the level of a batch: see Donors.source."""
        history = self.lend.history
        kind = (int(history.alike[batch]), int(history.substrate[batch]))
        if kind not in self._sources:
            self._sources[kind] = self.lend.source(batch)
        return self._sources[kind]

    def lent(self, age: int, days: Whole) -> Numbers:
        """Return what each of the pool gave from this age on, up to each of the days ahead, were it of size and level 1
        and all of it running: days x pool. Of those alone who lend at this age it means anything.
        """
        at = age + days
        kg: Numbers = self._paths[np.minimum(np.maximum(at, 0), LAST_AGE)]
        if age < 0:
            kg[at < 0] = 0.0
            return kg
        left = self._left[age]
        kg -= self._paths[age]
        found: Numbers = np.divide(kg, left, out=np.zeros_like(kg), where=left > 0)
        return found

    def spans(self, ages: Whole, days: Whole, known: Whole) -> list[slice]:
        """Return of each of these ages from which to which of the days ahead, as places among them, any of the pool
        gave anything: on the others nobody gains. known: for how many days ahead each age is known.
        """
        upto = np.concatenate([[0], np.cumsum((np.diff(self._paths, axis=0, prepend=0.0) != 0).any(axis=1))])
        at = np.minimum(np.maximum(ages[:, None] + np.append(0, days), -1), LAST_AGE) + 1
        gain = (np.diff(upto[at], axis=1) > 0) & (days <= known[:, None])
        firsts, lasts = gain.argmax(axis=1), len(days) - gain[:, ::-1].argmax(axis=1)
        begins = np.where(gain.any(axis=1), firsts, lasts)
        return [slice(*each) for each in zip(begins.tolist(), lasts.tolist(), strict=True)]

    def who_lends(self, ages: Whole) -> tuple[Flags, Whole]:
        """Return the sets of those who lend at these ages, sets x pool, and which set is that of each age.

        Age alone decides who lends, never whether they have finished, or early failures would be drawn too often; of
        those old enough, those with any container left.
        """
        from_age = np.maximum(ages, 0)
        far = np.sort(self.lend.ages)[-LEAST_DONORS] - from_age
        old = self.lend.ages >= (from_age + np.minimum(SEEN_AHEAD, far))[:, None]
        left = old & (self._left[from_age] > 0)
        enough = (ages >= 0) & (left.sum(axis=1) >= LEAST_DONORS)
        of_ages = np.where(enough[:, None], left, old)
        # Eight of the pool in a byte: texts of bytes sort as the rows do, and much quicker.
        packed = np.packbits(of_ages, axis=1)
        _, firsts, which = np.unique(packed.view(f"S{packed.shape[1]}"), return_index=True, return_inverse=True)
        return of_ages[firsts], which.reshape(-1)

    def heaps(self, lends: Flags) -> HeapedSets:
        """Return the weights of these sets heaped up: those who do not lend add nothing to the heap."""
        weights, shares = self._by_part, lends.T[:, :, None].astype(np.float64)
        heaped = np.empty((len(lends), *weights.shape))
        np.multiply(shares[0], weights[0], out=heaped[:, 0])
        for part in range(1, len(weights)):
            np.add(heaped[:, part - 1], shares[part] * weights[part], out=heaped[:, part])
        whole = lends * self._paths[LAST_AGE]
        gives, usual = whole @ weights / heaped[:, -1], whole.sum(axis=1) / lends.sum(axis=1)
        luck = np.divide(gives, usual[:, None], out=np.ones_like(gives), where=gives > 0)
        return HeapedSets(lends, heaped, luck)


def _completed(lend: Donors, rng: np.random.Generator) -> Numbers:
    """Return the paths of the donors, where each that is young goes on as an older one did."""
    paths, running = lend.paths, lend.history.running[lend.pool]
    for young in np.flatnonzero(lend.ages < LAST_AGE).tolist():  # the oldest first, as batches are in order of days
        age = int(lend.ages[young])
        far = lend.ages >= age + SEEN_AHEAD
        older = np.flatnonzero(far & (running[:, age] > 0))
        if not running[young, age] or not len(older):
            continue
        like = older[int(rng.random() * len(older))]
        share = running[young, age] / running[like, age]
        paths[young, age:] = paths[young, age] + share * (paths[like, age:] - paths[like, age])
    return paths


def places(heaped: Numbers, chances: Numbers) -> Whole:
    """Return on which part of a heap each chance falls: how many of the heaped weights of its draw lie below its share
    of them all. heaped: parts x draws, rising; chances: one row of draws each. Gives part x draws + draw: the place in
    the heap as it lies in memory. By halving.
    """
    parts, draws = heaped.shape
    flat, wanted = heaped.reshape(-1), chances * heaped[-1]
    found: Whole = np.empty(wanted.shape, dtype=np.int64)
    found[:] = np.arange(draws)
    while parts > 1:
        half = parts // 2
        # The last of a draw's weights lies above all that is wanted of it, so that it is never looked at.
        found += half * draws * (flat[(half - 1) * draws :].take(found) < wanted)
        parts -= half
    return found
