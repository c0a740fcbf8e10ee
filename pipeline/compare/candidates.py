"""A pair before it is judged: what else could explain it, and what it is estimated from."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from pipeline.compare.adjusted import PairFit, adjusted, unbalanced
from pipeline.compare.confounding import Confounder, by_clusters, confounders, counted_clusters, held_against
from pipeline.compare.pairs import LEAST_FOR_A_VERDICT, Level, Pair, split_alone
from pipeline.compare.query import ComparisonQuery
from pipeline.compare.side_by_side import alternates
from pipeline.compare.sides import Sides, sides_of
from pipeline.stats.two_levels import DesignKind


@dataclass(frozen=True)
class PairCandidate:
    """A pair as its soaks allow it: its estimate, its sides, and what else could explain it. fit: that an adjusted pair
    is from, None for a plain one.
    """

    pair: Pair
    sides: Sides
    confounders: tuple[Confounder, ...]
    fit: PairFit | None = None

    @property
    def supported(self) -> bool:
        """Whether the design supports a verdict, whatever the units gave."""
        return self.pair.has_enough and not self.confounders


def candidate(
    pair: Pair, query: ComparisonQuery, levels: Sequence[Level], least_gap: Callable[[str], float]
) -> PairCandidate:
    """Return the pair with what else could explain it, and estimated with the rest alike where that is not alike.

    Where three soaks and more hold both and the rest is alike within them, by these soaks alone. levels: of the whole
    comparison; least_gap: from which on an amount of a factor counts as different.
    """
    pair = replace(pair, alternate=alternates(pair, query.factor))
    sides = sides_of(pair, () if query.split_only else levels)
    if not pair.has_interval:
        return PairCandidate(pair, sides, ())
    choices, clusters, _ = held_against(query.factor, query.of_yield)
    other = unbalanced(sides, choices)
    if other and pair.varies is DesignKind.BOTH and pair.split >= LEAST_FOR_A_VERDICT:
        alone = replace(split_alone(pair), split_only=True)
        within = sides_of(alone)
        if not unbalanced(within, choices):
            pair, sides, other = alone, within, []
    found = tuple(confounders(sides, query.factor, query.of_yield, least_gap))
    counted = counted_clusters(sides, clusters)
    if found or not other:
        return PairCandidate(by_clusters(pair, counted), sides, found)
    named = replace(pair, clusters=counted.cluster if counted else "")
    alike, fit = adjusted(named, sides, other, counted.group if counted else {})
    return PairCandidate(alike, sides, found, fit)
