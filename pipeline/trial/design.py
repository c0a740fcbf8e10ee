"""The trials that would show a difference, and the order in which their levels are given out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from pipeline.stats.multiple import Family
from pipeline.stats.power import POWER
from pipeline.trial.power import (
    PlannedTest,
    between_test,
    detectable,
    half_width,
    power,
    power_worth,
    split_test,
)
from pipeline.trial.spread import Spread
from schemas.contract import Varies, recipe_columns
from schemas.finding import WrongRequest
from schemas.phrases import did_you_mean
from schemas.steps import STEPS

# Two soaks a level give no verdict, so no trial is planned with fewer than three.
LEAST_SOAKS = 3
MOST_SOAKS = 30
SHOWN_SOAKS = (3, 4, 6, 8)
MOST_LEVELS = 6
MOST_CONTAINERS = 60
SPAWN_RATE = "spawn_rate"  # a level of it is told in the note: no column holds it


@dataclass(frozen=True)
class Design:
    """A trial. soaks: how many in all; containers: in each soak and level; needed: is it the smallest of its kind that
    finds the difference with POWER? power_worth: how likely it also shows it to be worth acting on. Powers 0-1, the
    rest in points of BE. one_batch: does a split soak stay one batch, because its containers differ and not its mix?
    """

    split: bool
    one_batch: bool
    soaks: int
    containers: int
    levels: int
    test: PlannedTest
    power: float
    power_worth: float
    detectable: float
    half_width: float
    needed: bool

    @property
    def batches(self) -> int:
        """How many batches are mixed, where a split soak gives one batch a level."""
        return self.soaks * self.levels if self.split and not self.one_batch else self.soaks


def where(factor: str) -> Varies:
    """Return at which level this factor can differ. Raises WrongRequest for what cannot be tried."""
    places = {each.name: each.varies for each in recipe_columns() if each.varies} | {SPAWN_RATE: Varies.BATCH}
    if factor in places:
        return places[factor]
    known = [name for kind in (Varies.BATCH, Varies.SOAK, Varies.CONTAINER) for name in places if places[name] == kind]
    hint = did_you_mean(factor, known)
    raise WrongRequest(f"--factor {factor}: that cannot be tried.{hint} Known: {', '.join(known)}.")


def levels_of(factor: str, listed: str) -> tuple[str, ...]:
    """Return the levels that a --levels text names. Raises WrongRequest for fewer than two, doubles, and no numbers
    where the factor is one.
    """
    found = tuple(each.strip() for each in listed.split(",") if each.strip())
    if len(found) < 2 or len(set(found)) < len(found):
        raise WrongRequest(f"--levels {listed}: name two or more different levels, with commas between.")
    if len(found) > MOST_LEVELS:
        raise WrongRequest(f"--levels {listed}: {MOST_LEVELS} levels at most; each wants as many containers again.")
    for each in found:
        if _is_number(factor) and not each.replace(".", "", 1).isdigit():
            raise WrongRequest(f"--levels {each}: {factor} is a number. Write digits with a decimal point.")
    return found


def _is_number(factor: str) -> bool:
    return factor == SPAWN_RATE or any(each.name == factor and each.is_number for each in recipe_columns())


def best_containers(spread: Spread, batch_costs: float) -> int:
    """Return how many containers a batch give most for the work, when a batch costs as much as `batch_costs`
    containers.

    sqrt(cost of a batch / cost of a container x s^2 / sB^2), at least 1 (Snedecor & Cochran, Statistical Methods).
    """
    if spread.soaks.planned <= 0:
        return MOST_SOAKS
    return max(1, min(MOST_SOAKS, round(sqrt(batch_costs * spread.containers.planned / spread.soaks.planned))))


def designs(
    spread: Spread,
    level: Varies,
    levels: int,
    difference: float,
    containers: int,
    soaks: int | None = None,
    smallest_effect: float = 0.0,
) -> list[Design]:
    """Return the trials there are to choose from, the split ones first. containers: of one batch; a split soak's are
    shared out among its levels, two each at least. soaks: this number of soaks in a level (or split) is shown too;
    smallest_effect: from which difference on it is worth acting.

    With more than two levels the pairs are judged together, as the comparison does.
    """
    part = max(2, containers // levels)
    found = []
    for split in [True, False] if level is not Varies.SOAK else [False]:
        size = part if split else containers
        tests = {}
        needed = None
        with STEPS.during("Working out what a trial finds"):
            for number in range(LEAST_SOAKS, MOST_SOAKS + 1):
                STEPS.at("Working out what a trial finds", number, MOST_SOAKS)
                tests[number] = _test(spread, level, split, size, number, levels)
                if power(difference, tests[number]) >= POWER:
                    needed = number
                    break
        for number in sorted({*SHOWN_SOAKS, *([needed] if needed else []), *([soaks] if soaks else [])}):
            test = tests.get(number) or _test(spread, level, split, size, number, levels)
            found.append(_design(test, level, size, levels, difference, smallest_effect, number == needed))
    return found


def _test(spread: Spread, level: Varies, split: bool, containers: int, soaks: int, levels: int) -> PlannedTest:
    together = Family(levels * (levels - 1) // 2, 0 if split else levels)
    if not split:
        return between_test(spread.soaks.planned_sd, spread.containers.planned_sd, containers, soaks, together)
    # Containers of one batch share their mix as well, so nothing but the containers themselves lies between them.
    parts = sqrt(2 * spread.parts.planned) if level is Varies.BATCH else 0.0
    return split_test(parts, spread.containers.planned_sd, containers, soaks, together)


def _design(
    test: PlannedTest,
    level: Varies,
    containers: int,
    levels: int,
    difference: float,
    smallest_effect: float,
    needed: bool,
) -> Design:
    return Design(
        split=test.split,
        one_batch=level is Varies.CONTAINER,
        soaks=test.soaks if test.split else test.soaks * levels,
        containers=containers,
        levels=levels,
        test=test,
        power=power(difference, test),
        power_worth=power_worth(difference, smallest_effect, test),
        detectable=detectable(test),
        half_width=half_width(test),
        needed=needed,
    )


def proposed(found: Sequence[Design], soaks: int | None) -> Design | None:
    """Return the design that is proposed. The first with the number of soaks that is asked for, else the first that is
    needed: a split one where there is one. None where none is enough.
    """
    for each in found:
        if each.test.soaks == soaks if soaks else each.needed:
            return each
    return None


def enough_containers(
    spread: Spread, level: Varies, levels: int, difference: float, soaks: int = SHOWN_SOAKS[-1]
) -> int | None:
    """Return how many containers of each level in each soak would be enough, with so many soaks a level (split, if they
    can be). None where even MOST_CONTAINERS are not.
    """
    for size in range(2, MOST_CONTAINERS + 1):
        if power(difference, _test(spread, level, level is not Varies.SOAK, size, soaks, levels)) >= POWER:
            return size
    return None


@dataclass(frozen=True)
class Portion:
    """One portion of a trial: block, its soak (both counted from 1), which place it has within its block, its level,
    and how many containers are filled from it.
    """

    block: int
    soak: int
    turn: int
    level: str
    containers: int


def give_out(design: Design, levels: Sequence[str], seed: int) -> list[Portion]:
    """Return the order in which the levels are given out. Each block holds every level alike, in an order of its own by
    the dice.

    A block is a split soak, or as many soaks as there are levels, begun together: so that no level is only begun early,
    or always mixed first. Within a split batch they are given out container by container. The same seed gives the
    same order.
    """
    dice = np.random.default_rng(seed)
    times, size = (design.containers, 1) if design.split and design.one_batch else (1, design.containers)
    given = [level for level in levels for _ in range(times)]
    found = []
    for block in range(1, design.test.soaks + 1):
        # Sorting uniforms is the same in every version of numpy; its own shuffling may not be.
        order = np.argsort(dice.random(len(given))).tolist()
        for turn, which in enumerate(order, start=1):
            soak = block if design.split else (block - 1) * len(levels) + turn
            found.append(Portion(block, soak, turn, given[which], size))
    return found
