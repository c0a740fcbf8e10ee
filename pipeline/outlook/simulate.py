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
    if len(lend.pool) < LEAST_DONORS:
        return 0
    oldest = int(np.sort(lend.ages)[-LEAST_DONORS])
    return 10**6 if oldest >= LAST_AGE else max(oldest - age, 0)


def expected_kg(lend: Donors, wanted: list[RunningBatch], days: Whole) -> tuple[Numbers, Whole]:
    """Return the mean kg of all targets up to each of the days ahead, without drawing, and how many have no donors."""
    one, calm = np.ones((1, len(lend.pool))), np.zeros((1, 2))
    ages = np.array([each.age for each in wanted], dtype=np.int64)
    level: dict[int, float] = {}
    recipes = lend.history.alike
    for each in wanted:
        if recipes[each.batch] not in level:
            level[recipes[each.batch]] = float(lend.levels(one, each.batch, calm)[0])
    scale = np.array([lend.sizes[each.batch] * level[recipes[each.batch]] * lend.season(each.batch) for each in wanted])
    still = np.array([each.running for each in wanted])
    there = lend.running_by_age[np.maximum(ages, 0)]
    share = np.where(ages < 0, 1.0, np.divide(still, there, out=np.zeros_like(still), where=there > 0))
    at = ages[:, None] + days
    kg = np.where(at < 0, 0.0, lend.kg_by_age[np.clip(at, 0, LAST_AGE)])
    before = np.where(ages < 0, 0.0, lend.kg_by_age[np.maximum(ages, 0)])
    known = np.array([known_days(lend, each.age) for each in wanted], dtype=np.int64)
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
        self._heaped: dict[int, tuple[Whole, Numbers, Numbers]] = {}
        self._levels: dict[int, Numbers] = {}

    def kg(self, target: RunningBatch, days: Whole, chance: Numbers) -> Borrowed | None:
        """Return what a target gives up to each of the days ahead, draws x days. None where too few can lend.
        chance: one uniform per draw.
        """
        known = known_days(self.lend, target.age)
        if not known:
            return None
        chosen, heaped, luck = self._chosen(target.age)
        which = (heaped < (chance * heaped[:, -1])[:, None]).sum(axis=1)
        at = target.age + days
        kg = np.where(at < 0, 0.0, self.paths[chosen[:, None], np.clip(at, 0, LAST_AGE)])
        if target.age >= 0:
            kg = kg - self.paths[chosen, target.age][:, None]
            left = self.lend.history.running[self.lend.pool[chosen], target.age]
            kg = kg * np.divide(target.running, left, out=np.zeros_like(left), where=left > 0)[:, None]
        scale = self.lend.sizes[target.batch] * self.lend.season(target.batch) * self._level(target.batch) / luck
        return Borrowed(len(chosen), known, self.lend.source(target.batch), kg[which] * scale[:, None])

    def _level(self, batch: int) -> Numbers:
        recipe = int(self.lend.history.alike[batch])
        if recipe not in self._levels:
            self._levels[recipe] = self.lend.levels(self.weights, batch, self._unlike)
        return self._levels[recipe]

    def _chosen(self, age: int) -> tuple[Whole, Numbers, Numbers]:
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
            weights, whole = self.weights[:, chosen], self.paths[chosen, LAST_AGE]
            gives = weights @ whole / weights.sum(axis=1)
            luck = np.divide(gives, whole.mean(), out=np.ones_like(gives), where=gives > 0)
            self._heaped[age] = chosen, np.cumsum(weights, axis=1), luck
        return self._heaped[age]


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


def simulate(drawing: Drawing, wanted: list[RunningBatch], days: Whole) -> Simulated:
    """Return what the targets may give up to each of these days ahead, draw by draw."""
    draws = len(drawing.weights)
    sums = {False: np.zeros((draws, len(days))), True: np.zeros((draws, len(days)))}
    without_donors = np.zeros(len(days), dtype=np.int64)
    borrowed: list[Borrowed | None] = []
    for target in wanted:
        found = drawing.kg(target, days, drawing.rng.random(draws))
        known = days <= (found.days_known if found else 0)
        without_donors += ~known
        if found:
            kg = np.where(known, found.kg, found.kg[:, [max(int(known.sum()) - 1, 0)]] if known.any() else 0.0)
            sums[target.planned] += kg
            found = Borrowed(found.donors, found.days_known, found.source, kg.mean(axis=0))
        borrowed.append(found)
    return Simulated(sums[False], sums[True], without_donors, tuple(borrowed))
