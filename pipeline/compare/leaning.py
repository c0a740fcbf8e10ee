"""How the records lean below an answer: the chance that one level gives more, and what taking the leader may cost."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import fsum
from typing import TYPE_CHECKING

from pipeline.compare.adjusted import PairFit
from pipeline.compare.design import DesignCell
from pipeline.compare.measures import Measure
from pipeline.compare.pairs import LEAST_FOR_AN_INTERVAL, Pair
from pipeline.compare.sides import Sides
from pipeline.models.compared_units import ComparedUnit
from schemas.answers import Direction

if TYPE_CHECKING:
    from pipeline.stats.leaning import Belief, SoaksAlike

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


def farm_spread(units: Sequence[ComparedUnit], measure: Measure) -> FarmSpread:
    """Return how soaks of one recipe and containers of one soak differ on this farm, in the unit of the measure."""
    import numpy as np

    from pipeline.stats.leaning import SoaksAlike

    soaks: dict[tuple[str, ...], dict[str, list[tuple[float, float]]]] = {}
    first: dict[str, tuple[str, ...]] = {}
    for each, value, under in _values(sorted(units, key=lambda unit: unit.unit), measure):
        recipe = tuple(each.cells.get(name, "") for name in RECIPE)
        # A soak that holds several recipes counts once: its fate is one.
        if first.setdefault(each.soak, recipe) == recipe:
            soaks.setdefault(recipe, {}).setdefault(each.soak, []).append((value, under))
    variance = container_variance([own for of in soaks.values() for own in of.values()])
    alike = tuple(
        SoaksAlike(
            np.array([_mean(own) for own in of.values()]), np.array([variance / len(own) for own in of.values()])
        )
        for of in soaks.values()
        if len(of) > 1
    )
    return FarmSpread(alike, variance)


def _values(units: Iterable[ComparedUnit], measure: Measure) -> Iterable[tuple[ComparedUnit, float, float]]:
    for each in units:
        part = each.parts[measure.name]
        if part.resolved and part.under:
            yield each, measure.scale * part.over / part.under, part.under


def _mean(values: Sequence[tuple[float, float]]) -> float:
    return fsum(value * under for value, under in values) / fsum(under for _, under in values)


def container_variance(groups: Sequence[Sequence[tuple[float, float]]]) -> float:
    """Return the variance of containers within groups of one fate, pooled. groups: a value and its divisor each."""
    squares, degrees = 0.0, 0
    for own in groups:
        middle = fsum(value for value, _ in own) / len(own)
        squares += fsum((value - middle) ** 2 for value, _ in own)
        degrees += len(own) - 1
    return squares / degrees if degrees and squares else CONTAINER_SD**2


def lean_pair(sides: Sides, found: PairFit, spread: FarmSpread) -> Belief:
    """Return what is held of the difference of a pair, by its own fit and the farm's spread of soaks."""
    import numpy as np

    from pipeline.stats.leaning import WeightedEstimate, belief

    weights = np.asarray(found.weights)
    pulls = [each.weight @ each.design @ found.fit.bread @ weights for each in found.fit.clusters]
    own = np.concatenate(pulls)
    variances = np.array([_variance(cells, spread) for cells in _cells_of(sides)])
    order = _in_clusters(sides)
    soak_part = 0.0 if sides.split else sum(float(pull.sum()) ** 2 for pull in pulls)
    parts = (2 if sides.split else 1) * float(own @ own)
    estimate = WeightedEstimate(
        float(weights @ found.fit.coefficients), soak_part, parts, float(own**2 @ variances[order])
    )
    return belief(estimate, spread.alike)


def _cells_of(sides: Sides) -> list[tuple[DesignCell, ...]]:
    """The cells behind each row of the design: the two of a split soak, else one."""
    if not sides.split:
        return [(cell,) for cell in (*sides.cells, *sides.others)]
    theirs = {cell.soak: cell for cell in sides.second}
    return [(cell, theirs[cell.soak]) for cell in sides.first]


def _in_clusters(sides: Sides) -> list[int]:
    """The numbers of the rows in the order of the fit's clusters: soaks in order of appearance, rows within them."""
    places: dict[str, list[int]] = {}
    for at, cells in enumerate(_cells_of(sides)):
        places.setdefault(cells[0].soak, []).append(at)
    return [at for own in places.values() for at in own]


def _variance(cells: Sequence[DesignCell], spread: FarmSpread) -> float:
    return sum(spread.container_variance / max(cell.units, 1) for cell in cells)


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
