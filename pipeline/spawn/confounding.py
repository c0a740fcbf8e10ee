"""Pairs of spawn rates, by the rules of any comparison: what else sets them apart, and what they are estimated from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.compare.candidates import PairCandidate, candidate
from pipeline.compare.confounding_text import explained
from pipeline.compare.measures import MEASURES
from pipeline.compare.pairs import family, judged, levels_of, pairs_of
from pipeline.compare.query import ComparisonQuery
from pipeline.models.compared_units import SPAWN_RATE
from pipeline.models.unit_arrays import Numbers
from pipeline.spawn.rates import SpawnRecipe, rate_names

QUERY = ComparisonQuery(SPAWN_RATE, MEASURES["be"])
LEAST_LEVELS = 2  # of a pair


def judged_rates(recipe: SpawnRecipe, values: Numbers) -> dict[tuple[int, int], PairCandidate]:
    """Return each pair of rates of a recipe, by their numbers (lower, higher): the higher held against the lower, with
    limits for all of the recipe's pairs together. values: one for each of the recipe's cells; nan leaves it out.
    """
    if len(recipe.rates) < LEAST_LEVELS or np.isnan(values).all():
        return {}
    names = rate_names(recipe.rates)
    levels = levels_of(recipe.cells.worth(values), names)
    found = [candidate(pair, QUERY, levels, recipe.least_gap) for pair in pairs_of(levels)]
    together = family([each.pair for each in found if each.supported], every_pair=True)
    return {
        (names.index(each.pair.against), names.index(each.pair.level)): replace(each, pair=judged(each.pair, together))
        for each in found
    }


def something_else(found: PairCandidate | None) -> tuple[str, str] | None:
    """Return what, beside the rate, could explain the pair, and what would help. None where nothing written down could.

    The reasons R3 and R4 of comparisons: another factor, a spawn lot, the season (see compare.confounding).
    """
    if found is None or not found.confounders:
        return None
    why, next_step = explained(found.confounders[0], found.sides)
    return why, f"{next_step}."
