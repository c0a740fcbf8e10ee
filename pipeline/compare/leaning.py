"""How the records lean below an answer: the chance that one level gives more, and what taking the leader may cost."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import fsum
from typing import TYPE_CHECKING

import numpy as np

from pipeline.compare.adjusted import PairFit
from pipeline.compare.design_rows import unlike_rows
from pipeline.compare.measures import Measure
from pipeline.compare.pairs import LEAST_FOR_AN_INTERVAL, Pair
from pipeline.compare.parts import Parts
from pipeline.compare.sides import Sides
from pipeline.models.compared_units import ComparedUnits
from pipeline.models.unit_arrays import Numbers
from schemas.answers import Direction

if TYPE_CHECKING:
    from pipeline.stats.leaning import Belief, SoaksAlike, SoakSpreads

# From these chances on the records are said to lean, and to lean clearly. Our choice, no source: words rather than
# decimals, for where effects are small a "85" comes true in 68 to 78 of 100 (tests/calibrate_leaning.py).
LEANS, LEANS_CLEARLY = 0.75, 0.9
MOST_OF_TWO = 0.9
# What makes soaks alike, so that they differ by their spread alone.
RECIPE = ("substrate", "supplement", "treatment", "strain", "spawn_form")
# The containers' standard deviation where none were weighed side by side, in points of BE. Our choice, no source.
CONTAINER_SD = 12.0


@dataclass(frozen=True)
class FarmSpread:
    """What the whole farm tells of the spread of one measure: its soaks by recipe, and the containers' variance."""

    alike: tuple[SoaksAlike, ...]
    container_variance: float

    @cached_property
    def soaks(self) -> SoakSpreads:
        """What is held of the spread of soaks."""
        from pipeline.stats.leaning import soak_spreads

        return soak_spreads(self.alike)


def farm_spread(units: ComparedUnits, measure: Measure) -> FarmSpread:
    """Return how soaks of one recipe and containers of one soak differ on this farm, in the unit of the measure."""
    from pipeline.stats.leaning import SoaksAlike

    part = units.parts[measure.name]
    # Units in the order of their names, as texts: which of them is the first of its soak.
    order = np.argsort(units.unit.astype(np.bytes_), kind="stable")
    order = order[part.adding[order]]
    recipe, _ = unlike_rows([units.cells[name].codes[order] for name in RECIPE], len(order))
    soak = units.soaks.codes[order]
    # A soak that holds several recipes counts once: its fate is one.
    names, first, of_soak = np.unique(soak, return_index=True, return_inverse=True)
    own = recipe == recipe[first][of_soak]
    order, recipe, soak = order[own], recipe[own], soak[own]
    groups = Parts.of(recipe * (len(names) + 1) + of_soak[own])
    value, under = measure.scale * part.over[order] / part.under[order], part.under[order]
    variance = container_variance(groups, value)
    every = np.ones(len(order), dtype=bool)
    means = groups.sums(value * under, every) / groups.sums(under, every)
    of_recipe = Parts.of(recipe[groups.rows[groups.starts]]) if len(order) else groups
    return FarmSpread(
        tuple(
            SoaksAlike(means[rows], variance / groups.sizes[rows])
            for rows in np.split(of_recipe.rows, of_recipe.starts[1:])
            if len(rows) > 1
        ),
        variance,
    )


def container_variance(groups: Parts, values: Numbers) -> float:
    """Return the variance of the values of containers within groups of one fate, pooled."""
    every = np.ones(len(values), dtype=bool)
    middle = groups.sums(values, every) / groups.sizes
    apart = np.empty(len(values))
    apart[groups.rows] = (values[groups.rows] - middle[groups.part_of_row]) ** 2
    squares, degrees = fsum(apart.tolist()), len(values) - len(groups.starts)
    return squares / degrees if degrees and squares else CONTAINER_SD**2


def lean_pair(sides: Sides, found: PairFit, spread: FarmSpread) -> Belief:
    """Return what is held of the difference of a pair, by its own fit and the farm's spread of soaks."""
    from pipeline.stats.leaning import WeightedEstimate, believed

    own = found.fit.row_weights(found.weights)
    soak_part = 0.0 if sides.split else float((found.fit.batch_weights(found.weights) ** 2).sum())
    parts = (2 if sides.split else 1) * float(own @ own)
    variance = float(own**2 @ _variances(sides, spread.container_variance))
    value = float(np.asarray(found.weights) @ found.fit.coefficients)
    return believed(WeightedEstimate(value, soak_part, parts, variance), spread.soaks)


def _variances(sides: Sides, container_variance: float) -> Numbers:
    """What containers add to the variance of each row of the design: of a cell, or of the two of a split soak."""
    if not sides.split:
        return np.concatenate([container_variance / np.maximum(each.units, 1) for each in sides.groups])
    ours, theirs = (np.maximum(units, 1) for units in (sides.first.units, sides.units_of_against))
    return container_variance / ours + container_variance / theirs


def chance_said(pair: Pair, held: Belief) -> float:
    """Return the chance (0-1) that the first level gives more, as it is said: of two soaks a level never above 90 %.

    Where soaks differ twice as much as the prior has it, what is said of two soaks a level beyond that comes true in 71
    to 75 of 100 only (600 farms); of three and more, and of split ones, in 80 and more.
    """
    if max(pair.split, min(len(pair.first), len(pair.second)) - 1) >= LEAST_FOR_AN_INTERVAL:
        return held.chance_more
    return min(max(held.chance_more, 1 - MOST_OF_TWO), MOST_OF_TWO)


def leans(chance_more: float) -> Direction:
    """Return which way the records lean, if they do."""
    if chance_more >= LEANS:
        return Direction.LEANS_MORE
    return Direction.LEANS_LESS if chance_more <= 1 - LEANS else Direction.CANNOT_TELL


def leaning_text(pair: Pair, leaning: Belief, money: float | None, currency: str) -> str:
    """Return how the records lean, in a sentence; money: what a point of BE is worth per kg of dry substrate."""
    said = chance_said(pair, leaning)
    more = said >= 0.5
    leader, other = (pair.level, pair.against) if more else (pair.against, pair.level)
    chance = max(said, 1 - said)
    word = "lean clearly" if chance > LEANS_CLEARLY else "lean"
    cost = f"{leaning.expected_loss:.1f} points"
    if money is not None:
        cost += f" ({money * leaning.expected_loss:.2f} {currency} per kg dry substrate)"
    of_hundred = min(5 * round(20 * chance), 95)
    return (
        f"The records {word} to {leader} over {other}: a guess, right in about {of_hundred} of 100 "
        f"such cases. Taking {leader} meanwhile is expected to cost {cost} against knowing."
    )


def prior_text() -> str:
    """Return what is held before the records are seen, as the page and the tables say it."""
    from pipeline.stats.leaning import Prior

    prior = Prior()
    return (
        f"soaks differ by about {prior.soak_sd:g} points (scaled inverse chi-square, {prior.degrees:g} degrees of "
        f"freedom), two levels by {prior.difference_sd:.0f} points (normal); the farm's own soaks change the first"
    )
