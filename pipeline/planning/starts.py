"""How many containers to begin for each week, so that it gives what is wanted often enough. Arrays in, numbers out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.models.unit_arrays import Numbers, Whole
from pipeline.outlook.backtest import bands
from pipeline.outlook.widening import spread

# A week counts as planned for from this chance on.
WANTED_CHANCE = 0.8
# More containers than this begun on one day are no plan. Our choice, no source.
MOST_CONTAINERS = 2000


@dataclass(frozen=True)
class Deliveries:
    """What the spans of days (weeks) may give. base_kg: from what runs or is planned already, draws x spans;
    per_container_kg: from each container that is begun on one of the days of starting, starts x draws x spans;
    widened_by: of each span, by how much its band is.
    """

    base_kg: Numbers
    per_container_kg: Numbers
    widened_by: Numbers

    def kg(self, containers: Whole) -> Numbers:
        """Return what each span gives with so many containers begun on each day, widened: draws x spans."""
        return spread(self.base_kg + np.tensordot(containers, self.per_container_kg, 1), self.widened_by)


@dataclass(frozen=True)
class Foreseen:
    """What is foreseen with a plan. bands_kg: spans x QUANTILES; chances: of each span, to give what is wanted;
    containers: to begin on each day; base_kg, plan_kg: means of each span, from what runs and from the plan.
    """

    bands_kg: Numbers
    chances: Numbers
    containers: Whole
    base_kg: Numbers
    plan_kg: Numbers


def containers_needed(deliveries: Deliveries, served_by: Sequence[Sequence[int]], wanted_kg: float) -> Foreseen:
    """Return how many containers to begin on each day of starting, so that every span gives `wanted_kg` with
    WANTED_CHANCE. served_by: of each span, the days that begin for it; none where it is too late for that.

    Span after span, the days that serve it are raised to one level, the lowest that is enough: so that the numbers are
    as even as what runs lets them be, and a span does not hang on the luck of one batch. Where no level is enough, the
    lowest is taken that comes within a point of the best chance.
    """
    containers = np.zeros(len(deliveries.per_container_kg), dtype=np.int64)
    for span, starts in enumerate(served_by):
        if starts:
            containers = _raised(deliveries, containers, list(starts), span, wanted_kg)
    kg = deliveries.kg(containers)
    base = deliveries.base_kg.mean(axis=0)
    plan = np.tensordot(containers, deliveries.per_container_kg.mean(axis=1), 1)
    return Foreseen(bands(kg), (kg >= wanted_kg).mean(axis=0), containers, base, plan)


def _raised(deliveries: Deliveries, containers: Whole, starts: list[int], span: int, wanted_kg: float) -> Whole:
    """Return the containers once these days are raised to the lowest level with which the span gives what is wanted
    often enough. By halving: more containers never give less.
    """

    def at_level(level: int) -> Whole:
        found = containers.copy()
        found[starts] = np.maximum(found[starts], level)
        return found

    def chance(level: int) -> float:
        gives = np.tensordot(at_level(level), deliveries.per_container_kg[:, :, span], 1)
        return float((spread(deliveries.base_kg[:, span] + gives, deliveries.widened_by[span]) >= wanted_kg).mean())

    enough = min(WANTED_CHANCE, chance(MOST_CONTAINERS) - 0.01)
    if chance(0) >= enough:
        return containers
    low, high = 0, MOST_CONTAINERS
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if chance(middle) >= enough else (middle, high)
    return at_level(high)
