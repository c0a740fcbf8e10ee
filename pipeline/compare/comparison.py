"""A whole comparison: from units to levels, pairs and verdicts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, partial
from typing import TYPE_CHECKING

from pipeline.compare import factors
from pipeline.compare.adjusted import fitted
from pipeline.compare.blank_flushes import unsure_levels, without
from pipeline.compare.candidates import PairCandidate, candidate
from pipeline.compare.collapse import cells, varies
from pipeline.compare.confounding import Confounder
from pipeline.compare.design import DesignCell
from pipeline.compare.interplay import Interplay, interplays
from pipeline.compare.leaning import FarmSpread, farm_spread, lean_pair
from pipeline.compare.measures import Measure
from pipeline.compare.money import in_currency, smallest_margin
from pipeline.compare.other_differences import Differing, Stratum, differing, strata
from pipeline.compare.pairs import Level, Pair, family, judged, levels_of, pairs_of
from pipeline.compare.per_container import OneSize, of_one_size, smallest_mass
from pipeline.compare.query import ComparisonQuery
from pipeline.compare.share_by_day import with_share_by
from pipeline.compare.trend import Trend, trend_of
from pipeline.compare.verdicts import Facts, Judgement, judge
from pipeline.farm.prices import prices
from pipeline.farm.settings import Settings, number
from pipeline.models.compared_units import ComparedUnits, FarmUnits
from pipeline.stats.multiple import Family
from pipeline.stats.two_levels import DesignKind

if TYPE_CHECKING:
    from pipeline.stats.leaning import Belief


@dataclass(frozen=True)
class PairResult:
    """A pair with its judgement, its other explanations, what else differed, and where that would be alike; leaning:
    how the records lean, None where the model does not apply; interplays: of each factor that is held alike.
    """

    pair: Pair
    judgement: Judgement
    confounders: tuple[Confounder, ...]
    differing: tuple[Differing, ...]
    strata: tuple[Stratum, ...]
    leaning: Belief | None = None
    interplays: tuple[Interplay, ...] = ()


@dataclass(frozen=True)
class Comparison:
    """The answer to a query, its labels as the farm writes them. units_without_level: whose cell is blank; bases: how
    dry mass was found, where in several ways; smallest_effect: from which difference on it counts; money_a_point: what
    a point of BE brings per kg of dry substrate, None without a price; trend: over ordered amounts; unsure: by
    level, why it has no figure; sizes: which containers are counted, where not all are alike.
    """

    query: ComparisonQuery
    units: FarmUnits
    varies: DesignKind
    levels: tuple[Level, ...]
    pairs: tuple[PairResult, ...]
    units_without_level: int
    bases: tuple[str, ...]
    smallest_effect: float
    money_a_point: float | None = None
    currency: str = ""
    trend: Trend | None = None
    unsure: Mapping[str, str] = field(default_factory=dict)
    sizes: OneSize | None = None


def not_yet(measure: Measure, units: FarmUnits) -> str:
    """Return what is said of a unit that is not far enough."""
    if units.to_day is not None and measure.by_flush and measure.least_flush == 1:
        return f"younger than {units.to_day} days"
    return measure.not_yet.format(flush=units.through)


def compare(
    units: FarmUnits, query: ComparisonQuery, settings: Settings, spread: FarmSpread | None = None
) -> Comparison:
    """Return what the farm's records say of the levels of a factor.

    settings: one value per key of the farm contract; spread: of its soaks in this measure, where it is known already.
    Raises WrongRequest for a level that does not exist, and for numbers that leave no gap to part them.
    """
    rows, within = _held(units.rows, query)
    of = factors.levels(rows, query.factor, query.edges)
    against = None if query.against is None else factors.known_level(query.against, of, "--against")
    query = replace(query, within=within, against=against)
    if query.measure.by_day and units.to_day is not None:
        rows = with_share_by(rows, of, query.measure.name, units.to_day, units.as_of)
    rows, sizes = of_one_size(rows, of, query.measure)
    smallest_effect = number(settings, query.measure.smallest_effect)
    if query.measure.of_containers:
        smallest_effect = smallest_mass(rows, query.measure, settings)
    if query.measure.money:
        query = replace(query, measure=in_currency(query.measure, units, settings))
        smallest_effect = smallest_margin(rows, query.measure, units, settings)
    if spread is None and query.measure.name == "be":
        spread = farm_spread(units.rows, query.measure)
    money = prices(settings)
    unsure = unsure_levels(rows, of, query.measure, units.rule)
    found = without(cells(rows, of, query.measure), unsure)
    levels = levels_of(found, of.order)
    return Comparison(
        query,
        units,
        varies([level.used for level in levels]),
        tuple(levels),
        _pairs(units, query, levels, smallest_effect, spread),
        int((~of.known).sum()),
        _bases(rows) if query.of_yield and found else (),
        smallest_effect,
        None if money.price is None else money.price / 100,
        money.currency,
        trend_of(levels, query),
        unsure,
        sizes,
    )


def _held(units: ComparedUnits, query: ComparisonQuery) -> tuple[ComparedUnits, tuple[tuple[str, str], ...]]:
    """The units that have the labels that are held, and these labels as the farm writes them."""
    held = []
    for name, wanted in query.within:
        of = factors.levels(units, name)
        label = factors.known_level(wanted, of, "--within")
        held.append((name, label))
        units = units.where(of.at(label))
    return units, tuple(held)


def _bases(units: ComparedUnits) -> tuple[str, ...]:
    found = units.cells["dry_basis"].where(units.parts["be"].under > 0)
    bases = tuple(text for at in found.used.tolist() if (text := found.texts[at]))
    return bases if len(bases) > 1 else ()


def _pairs(
    units: FarmUnits,
    query: ComparisonQuery,
    levels: Sequence[Level],
    smallest_effect: float,
    spread: FarmSpread | None,
) -> tuple[PairResult, ...]:
    least_gap = cache(partial(factors.least_gap, units.rows))
    pairs = pairs_of(levels, query.against, query.split_only)
    candidates = [candidate(pair, query, levels, least_gap) for pair in pairs]
    together = family([each.pair for each in candidates if each.supported], query.against is None)
    waiting = {level.name: level.waiting for level in levels}
    results = []
    for each in candidates:
        pair = judged(each.pair, together, often=query.often)
        young = (*waiting[pair.level], *waiting[pair.against])
        leaning = _leaning(each, spread) if spread else None
        judgement = judge(_facts(units, query, each, pair, smallest_effect, young, together, leaning))
        other = tuple(differing(each.sides, query.factor, query.of_yield))
        offered = () if _beyond_strata(each.confounders) else tuple(strata(each.pair, other))
        alike = interplays(pair, each.sides)
        results.append(PairResult(pair, judgement, each.confounders, other, offered, leaning, alike))
    return tuple(results)


def _leaning(found: PairCandidate, spread: FarmSpread) -> Belief | None:
    """How the records lean where nothing else explains the pair, and soaks are what is counted."""
    pair = found.pair
    if not pair.has_interval or found.confounders or pair.clusters:
        return None
    return lean_pair(found.sides, found.fit or fitted(found.sides), spread)


def _facts(
    units: FarmUnits,
    query: ComparisonQuery,
    found: PairCandidate,
    pair: Pair,
    smallest_effect: float,
    waiting: tuple[DesignCell, ...],
    together: Family,
    leaning: Belief | None,
) -> Facts:
    return Facts(
        query.factor,
        pair,
        found.sides,
        found.confounders,
        query.measure,
        smallest_effect,
        units.look_gap,
        waiting,
        not_yet(query.measure, units),
        together,
        leaning,
        query.often,
    )


def _beyond_strata(found: Sequence[Confounder]) -> bool:
    """Whether no stratum would mend this: one that holds two labels needs both levels to have them."""
    return any(each.kind not in ("together", "tie") for each in found)
