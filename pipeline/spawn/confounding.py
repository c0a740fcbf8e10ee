"""Pairs of spawn rates, by the rules of any comparison: what else sets them apart, and what they are estimated from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pipeline.compare.candidates import PairCandidate, candidate
from pipeline.compare.confounding_text import explained
from pipeline.compare.measures import MEASURES
from pipeline.compare.pairs import family, levels_of, limited, pairs_of
from pipeline.compare.query import ComparisonQuery
from pipeline.models.compared_units import SPAWN_RATE
from pipeline.models.unit_arrays import Numbers
from pipeline.spawn.rates import SpawnRecipe, rate_names

QUERY = ComparisonQuery(SPAWN_RATE, MEASURES["be"])
LEAST_LEVELS = 2  # of a pair
# Columns of a recipe's cells.
BE, MARGIN, SPAWN = "be_pct", "margin", "spawn_per_dry"


def rate_pairs(recipe: SpawnRecipe, column: str, next_only: bool = False) -> list[PairCandidate]:
    """Return the pairs of rates of a recipe, the higher held against the lower. column: of the recipe's cells, nan
    leaves a cell out; next_only: only each rate and the next.
    """
    values: Numbers = getattr(recipe.cells, column)
    if len(recipe.rates) < LEAST_LEVELS or np.isnan(values).all():
        return []
    levels = levels_of(recipe.cells.worth(values), rate_names(recipe.rates))
    at = {level.name: place for place, level in enumerate(levels)}
    pairs = [pair for pair in pairs_of(levels) if not next_only or at[pair.level] - at[pair.against] == 1]
    return [candidate(pair, QUERY, levels, recipe.least_gap) for pair in pairs]


def by_rates(recipe: SpawnRecipe, pairs: Sequence[PairCandidate]) -> dict[tuple[int, int], PairCandidate]:
    """Return the pairs by the numbers of their rates (lower, higher)."""
    number = {name: at for at, name in enumerate(rate_names(recipe.rates))}
    return {(number[each.pair.against], number[each.pair.level]): each for each in pairs}


def judged_rates(recipe: SpawnRecipe, column: str) -> dict[tuple[int, int], PairCandidate]:
    """Return each pair of rates of a recipe, by their numbers (lower, higher), with limits for all of the recipe's
    pairs together. column: of the recipe's cells. It is worked out once.
    """
    if column not in recipe.judged:
        found = rate_pairs(recipe, column)
        together = family([each.pair for each in found if each.supported], every_pair=True)
        with_limits = [replace(each, pair=limited(each.pair, together)) for each in found]
        recipe.judged[column] = by_rates(recipe, with_limits)
    return recipe.judged[column]


def something_else(found: PairCandidate | None) -> tuple[str, str] | None:
    """Return what, beside the rate, could explain the pair, and what would help. None where nothing written down could.

    The reasons R3 and R4 of comparisons: another factor, a spawn lot, the season (see compare.confounding).
    """
    if found is None or not found.confounders:
        return None
    why, next_step = explained(found.confounders[0], found.sides)
    return why, f"{next_step}."
