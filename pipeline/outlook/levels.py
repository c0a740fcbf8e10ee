"""How much a batch is expected to give, beside the others: by recipe, fill, season and how long ago the others were."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.models.unit_arrays import Numbers, Whole
from pipeline.outlook.history import LAST_AGE, PastBatches

BORROWED_FROM = ("same substrate and strain", "same substrate", "all batches")
# Of a long past so many are drawn from, evenly over time, so that a large farm need not wait. Our choice, no source.
MOST_DONORS = 150
# A year is known from so many days on, and read with a kernel of this SD (days). Our choice, no source.
YEAR, YEAR_KNOWN, SEASON_SD = 364, 420, 28
# The level of all batches is held by so many batches of level 1. Our choice, no source.
PRIOR_ALL = 2.0
# How unlike recipes are before they were tried: SD of the logarithm of their kg. Our choice, no source.
UNTRIED_SD = 0.35


@dataclass(frozen=True)
class Likeness:
    """Which past batches resemble one. memory_weeks: after so many a batch counts half; prior: the level of a recipe is
    held by so many batches of the wider kind; fill_power: kg of a container grow by this power of its dry fill;
    season: the level of the year before, at this season, counts.
    """

    memory_weeks: float = 26.0
    prior: float = 2.0
    fill_power: float = 1.0
    season: bool = False


USUAL = Likeness()
# What the farm's own past may prefer, one trait at a time.
OTHERS: tuple[dict[str, float | bool], ...] = (
    {"memory_weeks": 10.0},
    {"memory_weeks": 104.0},
    {"prior": 6.0},
    {"prior": 0.7},
    {"fill_power": 0.6},
    {"season": True},
)
LIKENESSES = (USUAL, *(replace(USUAL, **each) for each in OTHERS))  # type: ignore[arg-type]


@dataclass(frozen=True)
class Donors:
    """The past batches of a day, and what they lend. pool: their numbers; ages: on that day; sizes: of all batches of
    the farm; steps: kg per size at each age (pool x ages) were they all of level 1, known up to their ages; kg_by_age,
    running_by_age: their means among those old enough; given, expected: what each gave so far, and would have at
    level 1, in whole batches; weights: by how long ago they were.
    """

    history: PastBatches
    likeness: Likeness
    day: int
    pool: Whole
    ages: Whole
    sizes: Numbers
    steps: Numbers
    kg_by_age: Numbers
    running_by_age: Numbers
    given: Numbers
    expected: Numbers
    weights: Numbers

    @property
    def paths(self) -> Numbers:
        """Return what each gave so far by age, pool x ages: summed anew each time."""
        found: Numbers = np.cumsum(self.steps, axis=1)
        return found

    def levels(self, drawn: Numbers, batch: int, unlike: Numbers) -> Numbers:
        """Return the level of a batch's recipe, draw by draw: that of its strain and substrate, held by that of the
        substrate, held by that of all. Its season is not in it. drawn: weights, draws x pool; unlike: two standard
        normals per draw.
        """
        level: Numbers = np.ones(len(drawn))
        before = 0
        holds = (PRIOR_ALL, self.likeness.prior, self.likeness.prior)
        for step, (mine, hold) in enumerate(zip(reversed(self.kinds(batch)), holds, strict=True)):
            if step and mine.sum() == before:
                continue
            counts = self.weights * mine
            held = level if not step else level * np.exp(UNTRIED_SD / np.sqrt(2) * unlike[:, step - 1])
            level = (drawn @ (counts * self.given) + hold * held) / (drawn @ (counts * self.expected) + hold)
            before = mine.sum()
        return level

    def kinds(self, batch: int) -> tuple[Whole, Whole, Whole]:
        """Return which of the pool are of the same recipe, of the same substrate, and all, as BORROWED_FROM."""
        history, pool = self.history, self.pool
        alike = history.alike[pool] == history.alike[batch]
        substrate = history.substrate[pool] == history.substrate[batch]
        return alike, substrate, np.ones(len(pool), dtype=bool)

    def source(self, batch: int) -> str:
        """Return which kind tells most of the level: the narrowest of which more is known than holds it."""
        for name, mine in zip(BORROWED_FROM, self.kinds(batch), strict=True):
            if (self.weights * self.expected * mine).sum() > self.likeness.prior:
                return name
        return BORROWED_FROM[-1]

    def season(self, batch: int) -> float:
        """Return how much the season of a batch gives beside that of the past that counts now, by the year before."""
        return float(self.seasons(np.array([batch]))[0])

    def seasons(self, batches: Whole) -> Numbers:
        """Return the same of each of these batches."""
        starts = self.history.start[self.pool]
        if not self.likeness.season or not len(batches) or self.day - starts.min() < YEAR_KNOWN:
            return np.ones(len(batches))
        counts = self.weights * self.expected
        now = float((counts * starts).sum() / counts.sum()) if counts.sum() else float(self.day)
        days, which = np.unique(self.history.start[batches], return_inverse=True)
        at = np.append(days, now) - YEAR
        near = np.exp(-0.5 * ((starts - at[:, None]) / SEASON_SD) ** 2)
        then = (near @ self.given + 1) / (near @ self.expected + 1)
        found: Numbers = np.clip(then[:-1] / then[-1], 1 / 3, 3)[which]
        return found


@dataclass(frozen=True)
class Pool:
    """The past batches that may lend on a day. batches: their numbers; ages: on that day; steps: kg given at each age,
    pool x ages, 0 beyond their own; count: how many are that old, by age; running: the mean share that ran at each age.
    """

    day: int
    batches: Whole
    ages: Whole
    steps: Numbers
    count: Whole
    running: Numbers


def donor_pool(history: PastBatches, day: int) -> Whole:
    """Return the batches that may lend, on that day. Those begun before it: all, or MOST_DONORS of them evenly over
    time.
    """
    pool = np.flatnonzero(history.start < day)
    if len(pool) <= MOST_DONORS:
        return pool
    return pool[np.linspace(0, len(pool) - 1, MOST_DONORS).round().astype(np.int64)]


def sizes(history: PastBatches, fill_power: float) -> Numbers:
    """Return how large each batch is: its dry mass, or its containers at the farm's usual fill where that is not known,
    or that of the usual batch. Of a power below 1 fuller containers count less.
    """
    if fill_power not in history.sizes:
        history.sizes[fill_power] = _sizes(history, fill_power)
    return history.sizes[fill_power]


def _sizes(history: PastBatches, fill_power: float) -> Numbers:
    fill = history.dry_kg / history.containers
    usual = float(np.nanmedian(fill)) if not np.isnan(fill).all() else 1.0
    size = np.where(np.isnan(fill), history.dry_kg, history.containers * fill**fill_power * usual ** (1 - fill_power))
    size = np.where(np.isnan(size), history.containers * usual, size)
    middle = float(np.nanmedian(size)) if not np.isnan(size).all() else 1.0
    found: Numbers = np.where(np.isnan(size), middle, size)
    return found


def donors(history: PastBatches, day: int, likeness: Likeness) -> Donors:
    """Return what the past lends on a day, by what was known on it."""
    return donors_of(pool_of(history, day), history, likeness)


def pool_of(history: PastBatches, day: int) -> Pool:
    """Return what the batches that may lend on a day gave and kept running, by what was known on it."""
    pool = donor_pool(history, day)
    ages = np.minimum(day - history.start[pool], LAST_AGE)
    known = np.arange(LAST_AGE + 1) <= ages[:, None]
    steps = np.where(known, np.diff(history.kg[pool], axis=1, prepend=0), 0.0)
    count = np.maximum(known.sum(axis=0), 1)
    return Pool(day, pool, ages, steps, count, (history.running[pool] * known).sum(axis=0) / count)


def donors_of(of: Pool, history: PastBatches, likeness: Likeness) -> Donors:
    """Return what these batches lend by a likeness: see donors."""
    day, pool, ages, count = of.day, of.batches, of.ages, of.count
    size = sizes(history, likeness.fill_power)
    steps = of.steps / size[pool, None]
    gave = steps.sum(axis=1)
    given, expected = _whole_batches(gave, np.cumsum(steps.sum(axis=0) / count), ages)
    memory = 7 * likeness.memory_weeks
    steps = steps / _levels_then(history, pool, likeness, given, expected)[:, None]
    kg_by_age = np.cumsum(steps.sum(axis=0) / count)
    given, expected = _whole_batches(gave, kg_by_age, ages)
    weights = 0.5 ** ((day - history.start[pool]) / memory)
    return Donors(
        history,
        likeness,
        day,
        pool,
        ages,
        size,
        steps,
        kg_by_age,
        of.running,
        given,
        expected,
        weights,
    )


def _whole_batches(gave: Numbers, kg_by_age: Numbers, ages: Whole) -> tuple[Numbers, Numbers]:
    whole = kg_by_age[-1] or 1.0
    return gave / whole, kg_by_age[ages] / whole


def _levels_then(history: PastBatches, pool: Whole, likeness: Likeness, given: Numbers, expected: Numbers) -> Numbers:
    """Return the level of each batch's recipe at its own time, by the others about it."""
    start = history.start[pool]
    near = 0.5 ** (np.abs(start[:, None] - start) / (7 * likeness.memory_weeks))
    np.fill_diagonal(near, 0.0)
    level = (near @ given + PRIOR_ALL) / (near @ expected + PRIOR_ALL)
    for kind in (history.substrate[pool], history.alike[pool]):
        mine = near * (kind[:, None] == kind)
        level = (mine @ given + likeness.prior * level) / (mine @ expected + likeness.prior)
    found: Numbers = level
    return found
