"""What the farm's soaks tell of whole recipes: the factors that were tried, and what each part of a soak gave."""

from __future__ import annotations

from dataclasses import dataclass
from math import fsum

import numpy as np

from pipeline.compare.collapse import far_enough
from pipeline.compare.factors import REPORTED, Levels, is_number, levels, numbers, parts_of
from pipeline.compare.leaning import CONTAINER_SD, container_variance
from pipeline.compare.measures import Measure
from pipeline.compare.parts import Parts
from pipeline.models.compared_units import ComparedUnits
from pipeline.models.unit_arrays import Whole
from pipeline.stats.recipes import RecipeCells
from pipeline.trial.design import where
from schemas.contract import Varies
from schemas.finding import WrongRequest


@dataclass(frozen=True)
class TriedFactor:
    """A factor with the levels that occur. amounts: of each level, None for words."""

    name: str
    levels: tuple[str, ...]
    amounts: tuple[float | None, ...]


@dataclass(frozen=True)
class RecipeRecords:
    """The factors, and what parts of soaks gave, with the levels of the factors one after the other. used: in how many
    soaks each level is; container_variance: of containers of one part.
    """

    factors: tuple[TriedFactor, ...]
    cells: RecipeCells
    container_variance: float

    @property
    def places(self) -> tuple[slice, ...]:
        """Where the levels of each factor lie."""
        found, start = [], 0
        for each in self.factors:
            found.append(slice(start, start + len(each.levels)))
            start += len(each.levels)
        return tuple(found)


def recipe_records(units: ComparedUnits, measure: Measure) -> RecipeRecords:
    """Return what the units tell of every factor that can differ within a soak and had two levels here.

    A part of a soak that does not count in a comparison yet is left out here too; its levels are known all the same.
    """
    known = [of for name in _choices() if (of := _levels(units, name)) is not None]
    factors = tuple(_factor(units, each) for each in known)
    if not len(units):
        return RecipeRecords(
            (), RecipeCells(np.zeros(0), np.zeros(0, dtype=np.int64), np.zeros((0, 0)), np.zeros(0)), CONTAINER_SD**2
        )
    part = units.parts[measure.name]
    # By soak and the texts of the levels, a blank one first.
    keys = np.column_stack([units.soaks.codes, *(_rank(each) for each in known)])
    _, place = np.unique(keys, axis=0, return_inverse=True)
    parts = Parts.of(place.reshape(-1))
    used = np.flatnonzero(far_enough(parts, part, measure) & (parts.count(part.adding) > 0))
    first = parts.rows[parts.starts[used]]
    counts = np.isin(place.reshape(-1), used) & part.adding
    value = measure.scale * part.over[counts] / part.under[counts]
    given, every = Parts.of(place.reshape(-1)[counts]), np.ones(len(value), dtype=bool)
    over, under = (given.sums(each, every) for each in (value * part.under[counts], part.under[counts]))
    spread = container_variance(given, value)
    _, soaks = np.unique(units.soaks.codes[first], return_inverse=True)
    held = [each.codes[first][:, None] == np.arange(len(each.order)) for each in known]
    levels_held = np.concatenate([np.zeros((len(used), 0)), *held], axis=1).astype(float)
    cells = RecipeCells(over / under, soaks.astype(np.int64), levels_held, spread / given.sizes)
    return RecipeRecords(factors, cells, spread)


def _rank(of: Levels) -> Whole:
    """The place of each unit's level among their texts, from 1; 0 for a unit without one."""
    place = np.zeros(len(of.order) + 1, dtype=np.int64)
    place[np.argsort(np.array(of.order, dtype=object))] = np.arange(1, len(of.order) + 1)
    return place[of.codes]


def _choices() -> list[str]:
    """The factors that growers choose between and that can differ within one soak; none that belongs to another."""
    found = []
    for factor in REPORTED:
        try:
            varies = where(factor)
        except WrongRequest:
            continue
        if varies is not Varies.SOAK and not any(factor in parts_of(other) for other in REPORTED if other != factor):
            found.append(factor)
    return found


def _levels(units: ComparedUnits, factor: str) -> Levels | None:
    try:
        found = levels(units, factor)
    except WrongRequest:
        return None  # numbers without a gap: nobody said where to part them
    return found if len(found.order) > 1 else None


def _factor(units: ComparedUnits, of: Levels) -> TriedFactor:
    """The factor with its levels, and the mean number of each where it holds numbers."""
    if not is_number(of.factor):
        return TriedFactor(of.factor, of.order, (None,) * len(of.order))
    amounts = numbers(units, of.factor)
    own = [amounts[of.at(level) & ~np.isnan(amounts)].tolist() for level in of.order]
    return TriedFactor(of.factor, of.order, tuple(fsum(each) / len(each) if each else None for each in own))
