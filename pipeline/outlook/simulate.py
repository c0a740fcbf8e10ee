"""The simulation: what may the batches give that run or are planned, if each goes on as one of the past did?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.models.unit_arrays import Numbers, Whole
from pipeline.outlook.history import LAST_AGE, PastBatches
from pipeline.outlook.levels import Donors

# Fewer past batches than this tell nothing of how much batches differ: chosen on 43 simulated farms.
LEAST_DONORS = 4
# Who lends has itself seen so many days of what is to come, where enough did. Our choice, no source.
SEEN_AHEAD = 28
BLOCK = 500  # draws

Heaped = tuple[Whole, Numbers, Numbers]  # see Drawing._chosen


@dataclass(frozen=True)
class RunningBatch:
    """A batch whose coming weeks are asked for. batch: its number, for size and recipe; age on the day (negative: to
    come); running: the share of its containers that still run; planned: not yet inoculated.
    """

    batch: int
    age: int
    running: float
    planned: bool


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
class Simulated:
    """running and planned: kg from the day on up to each of the days ahead, draw by draw (draws x days).
    without_donors: of each of these days, how many batches have none and are in no figure. borrowed: one entry per
    target, None where nothing can be borrowed.
    """

    running: Numbers
    planned: Numbers
    without_donors: Whole
    borrowed: tuple[Borrowed | None, ...]

    @property
    def total(self) -> Numbers:
        """Return what all batches give together."""
        found: Numbers = self.running + self.planned
        return found


def targets(history: PastBatches, day: int, days_ahead: int) -> list[RunningBatch]:
    """Return the batches that run on that day, or are inoculated in the days ahead."""
    found = []
    for batch, start in enumerate(history.start.tolist()):
        age = day - start
        if age < 0:
            found += [RunningBatch(batch, age, 1.0, True)] if -age < days_ahead else []
        elif age <= LAST_AGE and history.running[batch, age] > 0:
            found.append(RunningBatch(batch, age, float(history.running[batch, age]), False))
    return found


def known_days(lend: Donors, age: int) -> int:
    """Return for how many days ahead of this age at least LEAST_DONORS past batches are old enough."""
    return int(_known_days(lend, np.array([age]))[0])


def _known_days(lend: Donors, ages: Whole) -> Whole:
    if len(lend.pool) < LEAST_DONORS:
        return np.zeros(len(ages), dtype=np.int64)
    oldest = int(np.sort(lend.ages)[-LEAST_DONORS])
    return np.full(len(ages), 10**6) if oldest >= LAST_AGE else np.maximum(oldest - ages, 0)


def expected_kg(lend: Donors, wanted: list[RunningBatch], days: Whole) -> tuple[Numbers, Whole]:
    """Return the mean kg of all targets up to each of the days ahead, without drawing, and how many have no donors."""
    one, calm = np.ones((1, len(lend.pool))), np.zeros((1, 2))
    ages = np.array([each.age for each in wanted], dtype=np.int64)
    level: dict[int, float] = {}
    recipes = lend.history.alike
    for each in wanted:
        if recipes[each.batch] not in level:
            level[recipes[each.batch]] = float(lend.levels(one, each.batch, calm)[0])
    batches = np.array([each.batch for each in wanted], dtype=np.int64)
    scale = lend.sizes[batches] * np.array([level[recipe] for recipe in recipes[batches].tolist()])
    scale = scale * lend.seasons(batches)
    still = np.array([each.running for each in wanted])
    there = lend.running_by_age[np.maximum(ages, 0)]
    share = np.where(ages < 0, 1.0, np.divide(still, there, out=np.zeros_like(still), where=there > 0))
    at = ages[:, None] + days
    kg = np.where(at < 0, 0.0, lend.kg_by_age[np.clip(at, 0, LAST_AGE)])
    before = np.where(ages < 0, 0.0, lend.kg_by_age[np.maximum(ages, 0)])
    known = _known_days(lend, ages)
    return (scale * share) @ (kg - before[:, None]), (days > known[:, None]).sum(axis=0)


class Drawing:
    """One set of draws of the past: which batch each target goes on like, and the level of each recipe.

    Whole batches are drawn, never containers: those of one batch share its luck. Weights are exponential and shared by
    all targets of a draw, which is the Bayesian bootstrap (Rubin 1981, Annals of Statistics 9(1):130-134).
    The same `rng` state gives the same numbers.
    """

    def __init__(self, lend: Donors, draws: int, rng: np.random.Generator) -> None:
        self.lend = lend
        self.rng = rng
        self.weights: Numbers = -np.log1p(-rng.random((draws, len(lend.pool))))
        self.paths = _completed(lend, rng)
        self._unlike = rng.standard_normal((draws, 2))
        self._heaped: dict[int, Heaped] = {}
        self._same: dict[bytes, Heaped] = {}
        self._levels: dict[int, Numbers] = {}
        self._sources: dict[tuple[int, int], str] = {}

    def kg(self, target: RunningBatch, days: Whole, chance: Numbers) -> Borrowed | None:
        """Return what a target gives up to each of the days ahead, draws x days. None where too few can lend.
        chance: one uniform per draw.
        """
        known = known_days(self.lend, target.age)
        if not known:
            return None
        batch = np.array([target.batch])
        which, scale = self.drawn(target.age, batch, np.array([target.running]), chance[None, :])
        kg = self.lent(target.age, days)
        return Borrowed(len(kg), known, self.source(target.batch), kg[which[0]] * scale[0][:, None])

    def lent(self, age: int, days: Whole) -> Numbers:
        """Return what each that lends at this age gave from then on, up to each of the days ahead, were it of size and
        level 1 and all of it running: donors x days.
        """
        chosen, _, _ = self._chosen(age)
        at = age + days
        kg: Numbers = np.where(at < 0, 0.0, self.paths[chosen[:, None], np.clip(at, 0, LAST_AGE)])
        if age < 0:
            return kg
        left = self.lend.history.running[self.lend.pool[chosen], age][:, None]
        kg = kg - self.paths[chosen, age][:, None]
        found: Numbers = np.divide(kg, left, out=np.zeros_like(kg), where=left > 0)
        return found

    def drawn(self, age: int, batches: Whole, running: Numbers, chances: Numbers) -> tuple[Whole, Numbers]:
        """Return, for batches of one age, which of those that lend each goes on like, and how many times as much it
        gives: batches x draws each. running: the share of each that still runs; chances: uniforms, batches x draws.
        """
        _, heaped, luck = self._chosen(age)
        which = places(heaped, chances)
        size = self.lend.sizes[batches] * self.lend.seasons(batches) * (running if age >= 0 else 1.0)
        levels = np.array([self._level(batch) for batch in batches.tolist()])
        return which, size[:, None] * levels / luck

    def source(self, batch: int) -> str:
        """Return which kind tells most of the level of a batch: see Donors.source."""
        history = self.lend.history
        kind = (int(history.alike[batch]), int(history.substrate[batch]))
        if kind not in self._sources:
            self._sources[kind] = self.lend.source(batch)
        return self._sources[kind]

    def _level(self, batch: int) -> Numbers:
        recipe = int(self.lend.history.alike[batch])
        if recipe not in self._levels:
            self._levels[recipe] = self.lend.levels(self.weights, batch, self._unlike)
        return self._levels[recipe]

    def _chosen(self, age: int) -> Heaped:
        """Return who lends at this age, their weights heaped up, and how much they give by these weights, draw by draw,
        beside what they give if all weigh alike: the level holds the luck of the past already, and must not meet
        it twice. Age alone decides who lends, never whether they have finished, or early failures would be drawn
        too often; of those old enough, those with any container left.
        """
        if age not in self._heaped:
            lend = self.lend
            far = np.sort(lend.ages)[-LEAST_DONORS] - max(age, 0)
            chosen = np.flatnonzero(lend.ages >= max(age, 0) + min(SEEN_AHEAD, far))
            if age >= 0:
                left = lend.history.running[lend.pool[chosen], age] > 0
                chosen = chosen[left] if left.sum() >= LEAST_DONORS else chosen
            self._heaped[age] = self._of_the_same(chosen)
        return self._heaped[age]

    def _of_the_same(self, chosen: Whole) -> Heaped:
        """Most ages have the same who lend as the age before."""
        key = chosen.tobytes()
        if key not in self._same:
            weights, whole = self.weights[:, chosen], self.paths[chosen, LAST_AGE]
            gives = weights @ whole / weights.sum(axis=1)
            luck = np.divide(gives, whole.mean(), out=np.ones_like(gives), where=gives > 0)
            self._same[key] = chosen, np.cumsum(weights, axis=1), luck
        return self._same[key]


def _completed(lend: Donors, rng: np.random.Generator) -> Numbers:
    """Return the paths of the donors, where each that is young goes on as an older one did."""
    paths, running = lend.paths.copy(), lend.history.running[lend.pool]
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
    """Return which part of a heap each chance falls on: how many of the heaped weights of its draw lie below its share
    of them all. heaped: draws x parts, rising; chances: one row of draws each.
    """
    draws, parts = heaped.shape
    row, wanted = np.arange(draws), chances * heaped[:, -1]
    found: Whole = np.zeros(wanted.shape, dtype=np.int64)
    step = 1 << (parts - 1).bit_length()
    while step := step // 2:
        # The last of a draw's weights lies above all that is wanted of it.
        ahead = np.minimum(found + step, parts - 1)
        found = np.where(heaped[row, ahead - 1] < wanted, ahead, found)
    return found


def simulate(drawing: Drawing, wanted: list[RunningBatch], days: Whole) -> Simulated:
    """Return what the targets may give up to each of these days ahead, draw by draw. Targets of one age have the same
    donors, which are looked up once.
    """
    draws = len(drawing.weights)
    chances = drawing.rng.random((len(wanted), draws))
    sums = {False: np.zeros((draws, len(days))), True: np.zeros((draws, len(days)))}
    ages = np.array([each.age for each in wanted], dtype=np.int64)
    known = _known_days(drawing.lend, ages)
    borrowed: list[Borrowed | None] = [None] * len(wanted)
    for age in np.unique(ages[known > 0]).tolist():
        own = np.flatnonzero(ages == age)
        targets_of_age = [wanted[at] for at in own.tolist()]
        batches = np.array([each.batch for each in targets_of_age])
        running = np.array([each.running for each in targets_of_age])
        which, scale = drawing.drawn(age, batches, running, chances[own])
        kg = _until_known(drawing.lent(age, days), days, int(known[own[0]]))
        _add(sums[age < 0], which, scale, kg)
        for at, target, like, times in zip(own.tolist(), targets_of_age, which, scale, strict=True):
            mean = (np.bincount(like, times, len(kg))[:, None] * kg).sum(axis=0) / draws
            borrowed[at] = Borrowed(len(kg), int(known[at]), drawing.source(target.batch), mean)
    without_donors = (days > known[:, None]).sum(axis=0)
    return Simulated(sums[False], sums[True], without_donors, tuple(borrowed))


def _until_known(kg: Numbers, days: Whole, known: int) -> Numbers:
    """What donors gave up to each day, beyond the days known what they gave up to the last of these."""
    count = int((days <= known).sum())
    return kg[:, np.minimum(np.arange(len(days)), count - 1)] if count else np.zeros_like(kg)


def _add(sums: Numbers, which: Whole, scale: Numbers, kg: Numbers) -> None:
    """Add what each batch gives to the sums (draws x days): of the donor that it goes on like, so many times as much.
    Some draws at a time, so that they stay near the processor.
    """
    for start in range(0, len(sums), BLOCK):
        draws = slice(start, start + BLOCK)
        for like, times in zip(which[:, draws], scale[:, draws], strict=True):
            sums[draws] += kg[like] * times[:, None]
