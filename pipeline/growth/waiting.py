"""What a day of waiting for another flush brings, against a day of a container started anew. What a day of waiting for
it brings, against a day of a container started anew.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.models.unit_arrays import Numbers, Whole
from pipeline.stats.estimate import t_critical
from pipeline.stats.ratio import Ratio, ratio_of_sums, spread
from schemas.confidence import LEVEL


@dataclass(frozen=True)
class Stay:
    """What units gave while they held their room, one entry per unit: its place among all of them, its soak's number,
    for how many units it stands (see decline.weights), what it gave (g or money), and for how many container-days.
    """

    unit: Whole
    soak: Whole
    stands_for: Numbers
    gave: Numbers
    container_days: Numbers


@dataclass(frozen=True)
class Difference:
    """By how much a container-day of the first brings more than one of the second."""

    first: Ratio
    second: Ratio
    value: float
    low: float | None
    high: float | None
    soaks: int


def per_day(stay: Stay, soaks: int, level: float = LEVEL) -> Ratio:
    """What a container-day brings. A ratio of sums over `soaks` soaks."""
    gave, days = (
        np.bincount(stay.soak, stay.stands_for * each, soaks).astype(np.float64)
        for each in (stay.gave, stay.container_days)
    )
    return ratio_of_sums(gave, days, level)


def waiting_against_anew(waiting: Stay, anew: Stay, soaks: int, level: float = LEVEL) -> Difference | None:
    """By how much a container-day of waiting brings more than one of a container started anew. None where either has no
    days.

    In a room that is full, the long-run yield of a rule is what a cycle gives over how long it lasts (renewal reward:
    Ross, Stochastic Processes, 3.6), so one more flush pays exactly where what it gives per day of waiting is above
    what a cycle without it gives per day (the marginal value theorem: Charnov 1976, Theor. Popul. Biol. 9:129-136).
    Both are ratios of soak sums; a soak's pull on the difference is the difference of its pulls. In a room with empty
    places waiting costs nothing, and the comparison does not apply.
    """
    first, second = per_day(waiting, soaks, level), per_day(anew, soaks, level)
    if first.value is None or second.value is None:
        return None
    tells = int(((first.pull != 0) | (second.pull != 0)).sum())
    both = min(first.soaks, second.soaks)
    value = first.value - second.value
    error = spread(first.pull - second.pull, max(tells, both))
    # Soaks without any spread in one of the two are no evidence that it has none.
    if not error or first.error is None or second.error is None:
        return Difference(first, second, value, None, None, both)
    half = t_critical(min(first.degrees, second.degrees), level) * error
    return Difference(first, second, value, value - half, value + half, both)


def above_nought(ratio: Ratio) -> Ratio:
    """A ratio of masses cannot lie below 0: nor can its limit."""
    return ratio if ratio.low is None else ratio._replace(low=max(0.0, ratio.low))
