"""What else sets two spawn rates apart: the same reasons as any comparison has."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.compare.confounding import confounders, counted_clusters, held_against
from pipeline.compare.confounding_text import explained
from pipeline.compare.design import varies
from pipeline.compare.pairs import Pair
from pipeline.compare.sides import Sides, sides_of
from pipeline.models.compared_units import SPAWN_RATE
from pipeline.spawn.rates import RateCell
from pipeline.stats.estimate import Estimate


def sides(lower: Sequence[RateCell], higher: Sequence[RateCell]) -> Sides | None:
    """Return the cells that are held against each other in a step. None where a rate has none, or nothing is known of
    one.
    """
    below = tuple(cell.held for cell in lower if cell.held)
    above = tuple(cell.held for cell in higher if cell.held)
    if not lower or not higher or len(below) < len(lower) or len(above) < len(higher):
        return None
    split = len({cell.soak for cell in below} & {cell.soak for cell in above})
    how = varies((*above, *below))
    return sides_of(Pair(above[0].level, below[0].level, above, below, split, how, Estimate(0.0)))


def something_else(found: Sides | None) -> tuple[str, str] | None:
    """Return what, beside the rate, could explain the step, and what would help. None where nothing written down could.

    The reasons R3 and R4 of comparisons: another factor, a spawn lot, the season (see compare.confounding).
    """
    others = confounders(found, SPAWN_RATE, of_yield=True) if found else []
    if found is None or not others:
        return None
    why, next_step = explained(others[0], found)
    return why, f"{next_step}."


def soak_groups(found: Sides | None) -> dict[str, str] | None:
    """Return which soaks count together, because the two rates never share their month or spawn lot. None: each by
    itself.
    """
    clusters = counted_clusters(found, held_against(SPAWN_RATE, of_yield=True)[1]) if found else None
    return clusters.group if clusters else None
