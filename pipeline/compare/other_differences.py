"""What else differed between two levels, even where it does not explain everything, and in which strata it does not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from math import sqrt

import numpy as np

from pipeline.compare.confounding import held_against
from pipeline.compare.factor_column import counted
from pipeline.compare.factors import CHOICES, READINGS
from pipeline.compare.pairs import Pair
from pipeline.compare.sides import Sides
from pipeline.stats.sums import mean, total

# From when a difference in what went into two levels is named: our choice, no source. V for words; for numbers the
# difference of the means over their spread.
WORTH_TELLING_V = 0.3
WORTH_TELLING_SPREAD = 1.0
# A stratum is offered from so many soaks of each level: fewer give no interval.
LEAST_SOAKS = 2


@dataclass(frozen=True)
class Differing:
    """Something else that differed. strength: Cramer's V for words (0 alike, 1 wholly apart), None for numbers.
    ours, theirs: for words how many soaks had each label (shares add up); for numbers the mean, as {"": mean}.
    """

    factor: str
    strength: float | None
    ours: Mapping[str, float]
    theirs: Mapping[str, float]


@dataclass(frozen=True)
class Stratum:
    """A comparison that would hold something else alike: which labels, and how many soaks of each level it has."""

    within: tuple[tuple[str, str], ...]
    soaks: int
    soaks_against: int


def differing(sides: Sides, factor: str, of_yield: bool) -> list[Differing]:
    """Return what else differed between the pair's levels: choices by Cramer's V over soaks, clusters where none is
    shared, numbers by their means; the strongest first.
    """
    choices, clusters, amounts = held_against(factor, of_yield)
    found = [each for name in choices if (each := _of_words(sides, name))]
    found += [each for name in clusters if not sides.shares_any(name) and (each := _of_words(sides, name))]
    found.sort(key=lambda each: -(each.strength or 0))
    return found + [each for name in (*amounts, *READINGS) if (each := _of_numbers(sides, name))]


def _of_words(sides: Sides, factor: str) -> Differing | None:
    strength = sides.strength(factor)
    if strength < WORTH_TELLING_V:
        return None
    return Differing(factor, strength, counted(sides.of_first(factor)), counted(sides.of_second(factor)))


def _of_numbers(sides: Sides, factor: str) -> Differing | None:
    ours, theirs = sides.first.means(factor), sides.second.means(factor)
    if not len(ours) or not len(theirs):
        return None
    means = [mean(side) for side in (ours, theirs)]
    rest = sum(total((side - middle) ** 2) for side, middle in zip((ours, theirs), means, strict=True))
    spread = sqrt(rest / max(len(ours) + len(theirs) - 2, 1))
    apart = abs(means[0] - means[1])
    if apart <= 1e-9 * max(map(abs, means)) or apart < WORTH_TELLING_SPREAD * spread:
        return None
    return Differing(factor, None, {"": means[0]}, {"": means[1]})


def strata(pair: Pair, found: Sequence[Differing]) -> list[Stratum]:
    """Return the labels of what differed within which both levels have two soaks and more. All that differed held alike
    where that is possible, else one thing at a time; the one with the most soaks of each first. A blank is no label.
    """
    words = [each for each in found if each.strength is not None and each.factor in CHOICES]
    if not words:
        return []
    together = _best(pair, [each.factor for each in words])
    if together:
        return [together]
    return [stratum for each in words if (stratum := _best(pair, [each.factor]))]


def _best(pair: Pair, factors: Sequence[str]) -> Stratum | None:
    columns = [[side.column(name) for side in (pair.first, pair.second)] for name in factors]
    shared = [sorted(set(ours.labels) & set(theirs.labels)) for ours, theirs in columns]
    has = [
        {label: [side.has(label) for side in both] for label in own} for both, own in zip(columns, shared, strict=True)
    ]
    best: Stratum | None = None
    for labels in product(*shared):
        if "" in labels:
            continue
        held = tuple(zip(factors, labels, strict=True))
        ours, theirs = (
            int(np.logical_and.reduce([of[label][side] for of, label in zip(has, labels, strict=True)]).sum())
            for side in (0, 1)
        )
        if min(ours, theirs) >= LEAST_SOAKS and (
            best is None or min(ours, theirs) > min(best.soaks, best.soaks_against)
        ):
            best = Stratum(held, ours, theirs)
    return best
