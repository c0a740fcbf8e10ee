"""What to try next: which split of the coming soak is expected to teach most, and what to grow meanwhile."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from pipeline.compare.measures import measure_of
from pipeline.farm.prices import prices
from pipeline.farm.settings import Settings
from pipeline.models.compared_units import FarmUnits
from pipeline.stats.distributions import normal_below
from pipeline.trial.ahead import AHEAD
from pipeline.trial.recipe_records import RecipeRecords, recipe_records

if TYPE_CHECKING:
    from pipeline.stats.recipes import Floats, LevelBelief

FURTHER = (1, 2, 3)  # split soaks whose lesson is told
LEAST_CONTAINERS = 2  # of each part of a split soak
# The records tell of two levels where they leave less than this share of the variance that the prior gave.
KNOWN_SHARE = 0.5


@dataclass(frozen=True)
class Split:
    """One split of the coming soak: a factor, and of two of its levels first the one that is held to give more.

    amounts: of the two, None for words; difference, sd: what is held of how much more, in points of BE; known: whether
    the records tell more of the two than the prior does; teaches: the expected value of 1, 2 and 3 split soaks, in
    points of every soak after; costs: what one is expected to give less than one of what leads, in points.
    """

    factor: str
    level: str
    against: str
    amounts: tuple[float | None, float | None]
    difference: float
    sd: float
    known: bool
    teaches: tuple[float, ...]
    costs: float

    @property
    def chance_more(self) -> float:
        """The chance (0-1) that the level gives more."""
        return normal_below(self.difference / self.sd) if self.sd > 0 else 0.5

    def pays(self, ahead: int = AHEAD) -> float:
        """Return what it is expected to bring over the coming soak and so many after it, less what it costs, in points
        of BE: of one, two or three such splits in a row whichever brings most.
        """
        return max(
            lesson * (ahead + 1 - soaks) - soaks * self.costs
            for soaks, lesson in zip(FURTHER, self.teaches, strict=True)
            if soaks <= max(ahead, 1)
        )


@dataclass(frozen=True)
class Leader:
    """The level of a factor that is held to give most; may_cost: what taking it is expected to cost against knowing the
    best, in points of BE; known: whether the records tell of it and another.
    """

    factor: str
    level: str
    may_cost: float
    known: bool


@dataclass(frozen=True)
class NextSoak:
    """The splits, the one that pays most first; meanwhile: of each factor its leader; money_a_point: per kg of dry
    substrate, None without a price.
    """

    splits: tuple[Split, ...]
    meanwhile: tuple[Leader, ...]
    containers: int
    money_a_point: float | None
    currency: str


def next_soak(units: FarmUnits, settings: Settings, ahead: int = AHEAD) -> NextSoak:
    """Return what the coming soak could teach, over all factors that can differ within a soak and had two levels here.

    settings: one value per key of the farm contract. Whether following it pays: tests/bench_next_soak.py.
    """
    records = recipe_records(units.rows, measure_of("be"))
    containers = _containers(units)
    splits, leaders = weighed(records, containers, ahead)
    money = prices(settings)
    return NextSoak(splits, leaders, containers, None if money.price is None else money.price / 100, money.currency)


def _containers(units: FarmUnits) -> int:
    """How many containers one part of a split soak would have: half of what a soak usually holds."""
    counts = np.bincount(units.rows.soaks.codes)
    counts = np.sort(counts[counts > 0])
    usual = int(counts[len(counts) // 2]) if len(counts) else 0
    return max(LEAST_CONTAINERS, usual // 2)


def weighed(records: RecipeRecords, containers: int, ahead: int) -> tuple[tuple[Split, ...], tuple[Leader, ...]]:
    """Return the splits, the one that pays most first, and the leader of each factor.

    The expected value of sample information under the model of whole recipes (stats.recipes): all factors are weighed
    together, so that levels that always came together count as unknown apart. containers: of one part.
    """
    if not records.factors:
        return (), ()
    held, before = _beliefs(records)
    used = records.cells.levels.sum(0)
    # Of levels that are held alike the one that is grown most: nothing speaks for a change.
    leads = [
        max(range(own.start, own.stop), key=lambda at: (round(float(held.mean[at]), 6), used[at]))
        for own in records.places
    ]
    splits = _splits(records, held, before, containers, leads)
    splits.sort(key=lambda each: -round(each.pays(ahead), 6))  # of alike ones, as growers choose: strain, substrate ...
    return tuple(splits), _leaders(records, held, splits, leads)


def _beliefs(records: RecipeRecords) -> tuple[LevelBelief, Floats]:
    """What is held of all levels, and their covariance beforehand."""
    import numpy as np

    from pipeline.stats.leaning import Prior
    from pipeline.stats.recipes import level_belief, prior_covariance

    prior = Prior()
    before = np.zeros((records.places[-1].stop,) * 2)
    for factor, own in zip(records.factors, records.places, strict=True):
        before[own, own] = prior_covariance(factor.amounts, prior)
    return level_belief(records.cells, before, prior), before


def _splits(
    records: RecipeRecords, held: LevelBelief, before: Floats, containers: int, leads: Sequence[int]
) -> list[Split]:
    import numpy as np

    from pipeline.stats.recipes import split_noise, taught

    pairs = [
        (at, *sorted(pair, key=lambda level: -round(float(held.mean[level]), 6)))
        for at, own in enumerate(records.places)
        for pair in combinations(range(own.start, own.stop), 2)
    ]
    contrasts = np.zeros((len(pairs), len(held.mean)))
    for row, (_, level, against) in enumerate(pairs):
        contrasts[row, level], contrasts[row, against] = 1, -1
    noise = split_noise(held.soak_variance, records.container_variance / containers)
    lessons = np.array([taught(held, contrasts, noise / soaks, records.places) for soaks in FURTHER]).T
    found = []
    for (at, level, against), contrast, lesson in zip(pairs, contrasts, lessons, strict=True):
        factor, start = records.factors[at], records.places[at].start
        difference, sd = held.of(contrast)
        found.append(
            Split(
                factor.name,
                factor.levels[level - start],
                factor.levels[against - start],
                (factor.amounts[level - start], factor.amounts[against - start]),
                difference,
                sd,
                sd**2 < KNOWN_SHARE * float(contrast @ before @ contrast),
                tuple(lesson.tolist()),
                float(held.mean[leads[at]] - (held.mean[level] + held.mean[against]) / 2),
            )
        )
    return found


def _leaders(
    records: RecipeRecords, held: LevelBelief, splits: Sequence[Split], leads: Sequence[int]
) -> tuple[Leader, ...]:
    from pipeline.stats.recipes import expected_loss

    known = {(each.factor, level) for each in splits if each.known for level in (each.level, each.against)}
    found = []
    for factor, own, lead in zip(records.factors, records.places, leads, strict=True):
        level = factor.levels[lead - own.start]
        found.append(Leader(factor.name, level, expected_loss(held, own), (factor.name, level) in known))
    return tuple(found)
