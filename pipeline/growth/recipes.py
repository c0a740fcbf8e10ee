"""The biological efficiency of each recipe with its interval, the soak as the unit of replication."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from pipeline.models.recipe_soaks import RecipeSoak, recipe_soaks
from pipeline.stats.proportions import LEAST_SOAKS, NoInterval
from pipeline.stats.ratio import ratio_of_sums
from schemas.result_rows import in_columns

if TYPE_CHECKING:
    from pipeline.models.view import LedgerView
    from schemas.result_rows import ResultRow, ResultRows

ALIKE = "all soaks gave the same"
NO_BE = "no BE"


def recipes(view: LedgerView, first: date, last: date) -> ResultRows:
    """Return what the units of each recipe gave that finished from `first` to `last`, both included: one record per
    substrate, treatment and spawn form (contract `recipes`).
    """
    groups: dict[tuple[str, str, str], list[RecipeSoak]] = {}
    for each in recipe_soaks(view, first, last):
        groups.setdefault(each.recipe, []).append(each)
    return in_columns("recipes", [recipe_row(soaks) for soaks in groups.values()])


def recipe_row(soaks: Sequence[RecipeSoak]) -> ResultRow:
    """Return the record of one recipe.

    BE is the ratio of sums over the soaks that have a dry mass; its limits are those of ratio_of_sums (jackknife over
    soaks, t with their effective number less 1), none below three soaks, and never below 0. Containers are not
    counted, for they share their soak's fate. Soaks are taken as drawn alike: not for a trend over the year.
    Simulated BE is covered in 94-96 % with 3 to 24 soaks of 2 to 8 containers (tests/calibrate_recipes.py).
    """
    weighed = [each for each in soaks if each.dry_g > 0]
    found = ratio_of_sums(np.array([each.fresh_g for each in weighed]), np.array([each.dry_g for each in weighed]))
    clean_dry = sum(each.clean_dry_g for each in weighed)
    limits = None if found.low is None or found.high is None else (max(0.0, found.low), found.high)
    why: str | None = None
    if not found.value:
        why = NO_BE
    elif len(weighed) < LEAST_SOAKS:
        why = NoInterval.FEW_SOAKS.value
    elif limits is None:
        why = ALIKE
    low, high = limits if limits and not why else (None, None)
    return {
        "substrate": soaks[0].substrate,
        "treatment": soaks[0].treatment,
        "spawn_form": soaks[0].spawn_form,
        "soaks": len(weighed),
        "units": sum(each.units for each in soaks),
        "units_without_dry_mass": sum(each.units_without_dry_mass for each in soaks),
        "contaminated_before_pick": sum(each.contaminated_before_pick for each in soaks),
        "be_pct": 100 * found.value if found.value else None,
        "low_pct": None if low is None else 100 * low,
        "high_pct": None if high is None else 100 * high,
        "be_clean_pct": 100 * sum(each.clean_fresh_g for each in weighed) / clean_dry
        if found.value and clean_dry
        else None,
        "why_no_interval": why,
    }
