"""What the batches of a plan are made of: a recipe by its name, and what one container of it takes, by the latest."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np

from pipeline.models.plan_records import Preparation
from pipeline.models.unit_arrays import Numbers, Whole
from pipeline.outlook.history import PastBatches
from schemas.finding import WrongRequest
from schemas.phrases import did_you_mean, listed

# Where no batch of the recipe says how long its substrate was soaked or heated. Our choice, no source.
SOAK_DAYS = 1


@dataclass(frozen=True)
class PerContainer:
    """What a container of a recipe takes, and how many days before it is inoculated its substrate is begun with.
    dry_kg, spawn_kg: None where not known; soak_days_known: by the farm's own hours.
    """

    dry_kg: float | None
    spawn_kg: float | None
    soak_days: int
    soak_days_known: bool


def recipe_name(recipe: tuple[str, str]) -> str:
    """Return what a recipe is called: its strain on its substrate, as far as they are noted."""
    substrate, strain = recipe
    return " on ".join(each for each in (strain, substrate) if each) or "(not noted)"


def recipe_of(history: PastBatches, day: int, wanted: str | None) -> int:
    """Return the number of the last batch of a recipe that was begun by a day: of the one that is named by its strain,
    its substrate or both, else of the last batch.

    Raises WrongRequest for a name that is none of them, or more than one.
    """
    begun = np.flatnonzero(history.start <= day).tolist()
    if wanted is None:
        return int(begun[-1])
    recipes = list(dict.fromkeys(history.recipes[at] for at in begun))
    names = [recipe_name(each) for each in recipes]
    text = " ".join(wanted.split()).casefold()
    found = [each for each in recipes if recipe_name(each).casefold() == text]
    found = found or [each for each in recipes if text in (part.casefold() for part in each)]
    if len(found) == 1:
        return max(at for at in begun if history.recipes[at] == found[0])
    if found:
        raise WrongRequest(f"--recipe {wanted}: that may be {listed([recipe_name(each) for each in found], 'or')}.")
    parts = [part for each in recipes for part in each if part]
    hint = did_you_mean(wanted, [*names, *parts], any_case=True)
    raise WrongRequest(f"--recipe {wanted}: no batch was made so.{hint or f' There are: {listed(names)}.'}")


def per_container(history: PastBatches, latest: Whole, prepared: Preparation) -> PerContainer:
    """Return what a container takes, by the median of the latest batches."""
    containers = history.containers[latest]
    hours = _median(prepared.treatment_h[latest] + np.nan_to_num(prepared.drain_h[latest]))
    return PerContainer(
        _median(history.dry_kg[latest] / containers),
        _median(prepared.spawn_kg[latest] / containers),
        SOAK_DAYS if hours is None else ceil(hours / 24),
        hours is not None,
    )


def _median(values: Numbers) -> float | None:
    values = values[~np.isnan(values)]
    return float(np.median(values)) if len(values) else None
