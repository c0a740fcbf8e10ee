"""What the farm's soaks tell of whole recipes: the factors that were tried, and what each part of a soak gave."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum
from typing import TYPE_CHECKING

from pipeline.compare.design import far_enough
from pipeline.compare.factors import REPORTED, Levels, is_number, levels, number, parts_of
from pipeline.compare.leaning import container_variance
from pipeline.compare.measures import Measure
from pipeline.models.compared_units import ComparedUnit
from pipeline.trial.design import where
from schemas.contract import Varies
from schemas.finding import WrongRequest

if TYPE_CHECKING:
    from pipeline.stats.recipes import RecipeCells


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


def recipe_records(units: Sequence[ComparedUnit], measure: Measure) -> RecipeRecords:
    """Return what the units tell of every factor that can differ within a soak and had two levels here.

    A part of a soak that does not count in a comparison yet is left out here too; its levels are known all the same.
    """
    import numpy as np

    from pipeline.stats.recipes import RecipeCells

    known = [of for name in _choices() if (of := _levels(units, name)) is not None]
    factors = tuple(_factor(units, each) for each in known)
    parts: dict[tuple[str, ...], list[ComparedUnit]] = {}
    for each in sorted(units, key=lambda unit: unit.unit):
        parts.setdefault((each.soak, *(of.label_of.get(each.unit, "") for of in known)), []).append(each)
    given = [(key, found) for key, own in sorted(parts.items()) if (found := _gave(own, measure))]
    soaks = {soak: at for at, soak in enumerate(dict.fromkeys(key[0] for key, _ in given))}
    columns = [(at, level) for at, each in enumerate(factors) for level in each.levels]
    spread = container_variance([own for _, own in given])
    return RecipeRecords(
        factors,
        RecipeCells(
            np.array([fsum(value * under for value, under in own) / fsum(u for _, u in own) for _, own in given]),
            np.array([soaks[key[0]] for key, _ in given], dtype=np.int64),
            np.array([[float(key[1 + at] == level) for at, level in columns] for key, _ in given]).reshape(
                len(given), len(columns)
            ),
            np.array([spread / len(own) for _, own in given]),
        ),
        spread,
    )


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


def _levels(units: Sequence[ComparedUnit], factor: str) -> Levels | None:
    try:
        found = levels(units, factor)
    except WrongRequest:
        return None  # numbers without a gap: nobody said where to part them
    return found if len(found.order) > 1 else None


def _factor(units: Sequence[ComparedUnit], of: Levels) -> TriedFactor:
    """The factor with its levels, and the mean number of each where it holds numbers."""
    numbers: dict[str, list[float]] = {}
    if is_number(of.factor):
        for each in units:
            value = number(each, of.factor)
            if value is not None and each.unit in of.label_of:
                numbers.setdefault(of.label_of[each.unit], []).append(value)
    amounts = tuple(fsum(own) / len(own) if (own := numbers.get(level)) else None for level in of.order)
    return TriedFactor(of.factor, of.order, amounts)


def _gave(units: Sequence[ComparedUnit], measure: Measure) -> list[tuple[float, float]]:
    """The value and the divisor of each unit; none while they do not count in a comparison either."""
    if not far_enough(units, measure):
        return []
    parts = [each.parts[measure.name] for each in units]
    return [(measure.scale * part.over / part.under, part.under) for part in parts if part.resolved and part.under]
