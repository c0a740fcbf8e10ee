"""Farms of a co-op made up as cells, so that thousands of them go through the comparison over sites."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from pipeline.compare.design import DesignCell
from pipeline.compare.factors import CHOICES, CLUSTERS
from pipeline.compare.measures import measure_of
from pipeline.compare.pairs import Pair, family, judged, levels_of, pairs_of
from pipeline.compare.query import ComparisonQuery
from pipeline.compare.site_cells import OwnAnswer, SiteCells
from pipeline.compare.verdicts import direction_of
from pipeline.stats.estimate import Estimate
from schemas.answers import Direction
from tests.simulated_units import LAST

WHOLE = Fraction(1)
BLANK: Mapping[str, Mapping[str, Fraction | int]] = {name: {"": WHOLE} for name in (*CHOICES, *CLUSTERS)}
QUERY = ComparisonQuery("substrate", measure_of("be"))


def cell(soak: str, level: str, value: float, **shares: str) -> DesignCell:
    """A soak of which nothing matters but its value, and what is said here that it had."""
    had = {**BLANK, **{name: {label: WHOLE} for name, label in shares.items()}}
    return DesignCell(f"soak {soak}", level, value, value, 1.0, (soak,), 1, 0, 0, None, had, {})


def site(cells: Sequence[DesignCell], query: ComparisonQuery = QUERY, counts: float = 10.0) -> SiteCells:
    """What a site with these cells gives to all; its own answers by the estimates of pairs alone."""
    levels = levels_of(cells, sorted({each.level for each in cells}))
    pairs = pairs_of(levels, query.against, query.split_only)
    together = family([each for each in pairs if each.has_enough], every_pair=True)
    own = {(each.level, each.against): _own(judged(each, together)) for each in pairs}
    by_level = {each.name: tuple(each.used) for each in levels}
    return SiteCells(query, "BE by substrate", LAST, by_level, {}, own, counts, None, "not yet", {})


def _own(pair: Pair) -> OwnAnswer:
    shown = direction_of(pair.limits) if pair.limits and pair.has_enough else Direction.CANNOT_TELL
    return OwnAnswer(pair.estimate, pair.size, shown, pair.has_interval)


def own_estimates(sites: Mapping[str, SiteCells], level: str, against: str) -> list[Estimate]:
    """The difference on each site by itself."""
    return [own.estimate for each in sites.values() if (own := each.answer(level, against))]
