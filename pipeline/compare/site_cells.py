"""What a site gives to a comparison over several: its cells, never its rows, and its own answer to each pair."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction

from pipeline.compare.comparison import Comparison, not_yet
from pipeline.compare.confounding import held_against
from pipeline.compare.design import DesignCell
from pipeline.compare.factors import CLUSTERS, least_gap
from pipeline.compare.query import ComparisonQuery
from pipeline.compare.text import heading
from pipeline.stats.estimate import Estimate
from schemas.answers import Direction

# What a cell is said to have of a column beside those of the contracts: which site it is of.
SITE = "site"
WHOLE = Fraction(1)


@dataclass(frozen=True)
class OwnAnswer:
    """What a site by itself says of a pair. size: the soaks that its difference is worth (Pair.size)."""

    estimate: Estimate
    size: float
    direction: Direction
    has_interval: bool

    def turned(self) -> OwnAnswer:
        """Return the answer to the same pair the other way round."""
        other = {Direction.MORE: Direction.LESS, Direction.LESS: Direction.MORE}
        found = replace(self.estimate, value=-self.estimate.value)
        return replace(self, estimate=found, direction=other.get(self.direction, self.direction))


@dataclass(frozen=True)
class SiteCells:
    """A site's part of a comparison over several. levels: by name, in the site's order; waiting: cells that are not far
    enough; own: its answers by level and what that is held against; gaps: from which on an amount counts as different,
    of amounts that some levels have apart; sizes: of its containers, where they must be alike.
    """

    query: ComparisonQuery
    heading: str
    as_of: date
    levels: Mapping[str, Sequence[DesignCell]]
    waiting: Mapping[str, Sequence[DesignCell]]
    own: Mapping[tuple[str, str], OwnAnswer]
    smallest_effect: float
    look_gap: float | None
    not_yet: str
    gaps: Mapping[str, float]
    sizes: tuple[str, ...] = ()

    def answer(self, level: str, against: str) -> OwnAnswer | None:
        """Return what the site says of a pair, whichever way round; None where it says nothing."""
        if found := self.own.get((level, against)):
            return found
        other = self.own.get((against, level))
        return other.turned() if other else None


def site_cells(answer: Comparison) -> SiteCells:
    """Return what this answer of one site gives to that over several."""
    units, query = answer.units, answer.query
    _, _, amounts = held_against(query.factor, query.of_yield)
    own = {
        (each.pair.level, each.pair.against): OwnAnswer(
            each.pair.estimate, each.pair.size, each.judgement.direction, each.pair.has_interval
        )
        for each in answer.pairs
    }
    return SiteCells(
        query,
        heading(answer),
        units.as_of,
        {level.name: tuple(level.used) for level in answer.levels},
        {level.name: level.waiting for level in answer.levels},
        own,
        answer.smallest_effect,
        units.look_gap,
        not_yet(query.measure, units),
        {name: least_gap(units.rows, name) for name in amounts if _some_apart(answer, name)},
        _sizes(answer),
    )


def _some_apart(answer: Comparison, amount: str) -> bool:
    """Whether all of one level has less of an amount than all of another."""
    means = [level.used.means(amount) for level in answer.levels]
    known = [(own.min(), own.max()) for own in means if len(own)]
    return bool(known) and min(high for _, high in known) < max(low for low, _ in known)


def _sizes(answer: Comparison) -> tuple[str, ...]:
    if not answer.query.measure.of_one_size:
        return ()
    if answer.sizes:
        return tuple(sorted(answer.sizes.counted))
    sizes = answer.units.rows.sizes
    return tuple(sorted({sizes.texts[at] for at in sizes.used.tolist()}))


def of_site(cells: Sequence[DesignCell], site: str) -> list[DesignCell]:
    """Return a site's cells as they stand among those of others: soaks, months and lots by the site's name, for those
    of two sites are two whatever they are called; and the site as one more thing that they had.
    """
    known: dict[int, Mapping[str, Fraction | int]] = {}
    alone: Mapping[str, Fraction | int] = {site: WHOLE}

    def named(shares: Mapping[str, Fraction | int]) -> Mapping[str, Fraction | int]:
        if id(shares) not in known:
            known[id(shares)] = {label and f"{site} {label}": share for label, share in shares.items()}
        return known[id(shares)]

    found = []
    for cell in cells:
        kind, _, name = cell.soak.partition(" ")
        shares = {key: named(own) if key in CLUSTERS else own for key, own in cell.shares.items()}
        found.append(replace(cell, soak=f"{kind} {site}: {name}", shares={**shares, SITE: alone}))
    return found
