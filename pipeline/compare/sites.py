"""A comparison over several sites: the difference of each pair of levels is taken within sites first.

What one farm gives more than another is in no difference: one fit to the cells of all sites that hold both levels, the
site beside the levels, the soak as the unit of replication throughout. So what it says is of these sites together, each
weighing by its soaks; whether they differ in it is told beside, and where they do, and not all lie one way, no way is
named for them together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import combinations

import numpy as np

from pipeline.compare.adjusted import PairFit, adjusted
from pipeline.compare.columns import Cells
from pipeline.compare.confounding import counted_clusters, held_against
from pipeline.compare.pairs import Level, Pair, judged, pairs_of
from pipeline.compare.query import ComparisonQuery
from pipeline.compare.side_by_side import alternates
from pipeline.compare.site_cells import OwnAnswer, SiteCells, of_site
from pipeline.compare.sites_rules import SitesFacts, judge_over_sites, too_few_sites
from pipeline.compare.sites_sides import SitedSides, explained, one_way, unbalanced_within
from pipeline.compare.verdicts import Judgement
from pipeline.stats.agreement import Agreement, OneOfSeveral, agreement
from pipeline.stats.multiple import Family
from pipeline.stats.two_levels import DesignKind
from schemas.result_rows import names_together
from schemas.spellings import spellings

LEAST_SITES = 2


@dataclass(frozen=True)
class SitesPair:
    """Two levels over several sites. both: the sites that hold both; left out are `alone`, by level those that have
    figures of it and not of the other, and `blank`, those that name one and have figures of neither; own: what each of
    `both` says by itself; pair: None where fewer than two hold both.
    """

    level: str
    against: str
    both: tuple[str, ...]
    alone: Mapping[str, tuple[str, ...]]
    blank: tuple[str, ...]
    own: Mapping[str, OwnAnswer]
    pair: Pair | None
    judgement: Judgement
    agreement: Agreement | None = None


@dataclass(frozen=True)
class Spelled:
    """A level that some sites write in another way than usual, so that it counts as another."""

    usual: str
    other: str
    sites: tuple[str, ...]


@dataclass(frozen=True)
class SitesComparison:
    """The answer over several sites. smallest_effects: the smallest and the largest of the sites' own, from which on a
    difference counts; near: levels that sites write in other ways.
    """

    query: ComparisonQuery
    heading: str
    as_of: date
    sites: tuple[str, ...]
    smallest_effects: tuple[float, float]
    pairs: tuple[SitesPair, ...]
    near: tuple[Spelled, ...]


def not_alike(found: Mapping[str, SiteCells]) -> str | None:
    """Return why these sites have no answer together, in a sentence; None where they can have one."""
    units = {site: each.query.measure.unit for site, each in found.items()}
    if len(set(units.values())) > 1:
        said = ", ".join(f"{site} {unit}" for site, unit in units.items())
        return f"No answer over all sites: they reckon in several currencies ({said})."
    if len({each.sizes for each in found.values()}) > 1:
        said = "; ".join(f"{site}: {', '.join(each.sizes) or 'not written down'}" for site, each in found.items())
        return (
            f"No answer over all sites: a larger container gives more, and theirs are not alike ({said}). "
            "--measure g-per-litre compares them."
        )
    return None


def over_sites(found: Mapping[str, SiteCells]) -> SitesComparison:
    """Return what the cells of these sites say together, of two sites and more."""
    first = next(iter(found.values()))
    of_sites = {
        site: {name: Cells(of_site(cells, site)) for name, cells in each.levels.items()} for site, each in found.items()
    }
    names = names_together([list(each.levels) for each in found.values()])
    against = first.query.against
    chosen = [(b, a) for a, b in combinations(names, 2)]
    if against is not None:
        chosen = [(name, against) for name in names if name != against]
    candidates = [_candidate(level, other, found, of_sites, names) for level, other in chosen]
    together = Family(max(1, sum(each.supported for each in candidates)))
    return SitesComparison(
        first.query,
        first.heading,
        max(each.as_of for each in found.values()),
        tuple(found),
        _smallest(found),
        tuple(_result(each, found, together) for each in candidates),
        _near(found),
    )


def _smallest(found: Mapping[str, SiteCells]) -> tuple[float, float]:
    own = [each.smallest_effect for each in found.values()]
    return min(own), max(own)


def _near(found: Mapping[str, SiteCells]) -> tuple[Spelled, ...]:
    """The levels that are written in several ways, the usual one by in how many soaks."""
    counts: dict[str, int] = {}
    for each in found.values():
        for name, cells in each.levels.items():
            counts[name] = counts.get(name, 0) + len(cells)
    return tuple(
        Spelled(each.usual, other, tuple(site for site, own in found.items() if other in own.levels))
        for each in spellings(counts)
        for other in each.others
    )


@dataclass(frozen=True)
class SitesCandidate:
    """A pair before it is judged; facts: None where fewer than two sites hold both levels."""

    level: str
    against: str
    both: tuple[str, ...]
    alone: Mapping[str, tuple[str, ...]]
    blank: tuple[str, ...]
    facts: SitesFacts | None

    @property
    def supported(self) -> bool:
        """Whether the design supports a verdict, whatever the soaks gave."""
        return self.facts is not None and self.facts.supported


LevelsOfSites = Mapping[str, Mapping[str, Cells]]


def _candidate(
    level: str, against: str, found: Mapping[str, SiteCells], of_sites: LevelsOfSites, names: Sequence[str]
) -> SitesCandidate:
    query = next(iter(found.values())).query
    held = {site: (own.get(level, Cells()), own.get(against, Cells())) for site, own in of_sites.items()}
    if query.split_only:
        held = {site: _split(*sides) for site, sides in held.items()}
    both = tuple(site for site, (ours, theirs) in held.items() if ours and theirs)
    alone = {
        level: tuple(site for site, (ours, theirs) in held.items() if ours and not theirs),
        against: tuple(site for site, (ours, theirs) in held.items() if theirs and not ours),
    }
    named = {site for site, each in found.items() if {level, against} & (each.levels.keys() | each.waiting.keys())}
    blank = tuple(site for site in held if site in named and not any(held[site]))
    if len(both) < LEAST_SITES:
        return SitesCandidate(level, against, both, alone, blank, None)
    others = [
        Cells(cell for site in both for cell in of_sites[site].get(name, ()))
        for name in names
        if name not in (level, against)
    ]
    sides = tuple(Cells(cell for site in both for cell in held[site][at]) for at in (0, 1))
    pair = _pair((level, sides[0]), (against, sides[1]), query.factor)
    sited = _sited(pair, [] if query.split_only else [each for each in others if each])
    waiting = [
        cell for site in both for name in (level, against) for cell in of_site(found[site].waiting.get(name, ()), site)
    ]
    gaps = [found[site].look_gap for site in both]
    look_gap = max((gap for gap in gaps if gap is not None), default=None)
    facts = SitesFacts(query, pair, sited, (), (), tuple(waiting), look_gap, found[both[0]].not_yet)
    estimated = _estimated(facts, {site: found[site].gaps for site in both})
    return SitesCandidate(level, against, both, alone, blank, estimated)


def _split(ours: Cells, theirs: Cells) -> tuple[Cells, Cells]:
    soaks = set(ours.soaks) & set(theirs.soaks)
    return Cells(cell for cell in ours if cell.soak in soaks), Cells(cell for cell in theirs if cell.soak in soaks)


def _pair(first: tuple[str, Cells], second: tuple[str, Cells], factor: str) -> Pair:
    ours, theirs = (Level(name, cells, Cells(), None) for name, cells in (first, second))
    (pair,) = pairs_of([ours, theirs], against=theirs.name)
    return replace(pair, alternate=alternates(pair, factor), permutation=None)


def _sited(pair: Pair, others: Sequence[Cells]) -> SitedSides:
    split = pair.varies is DesignKind.WITHIN
    rest = () if split else tuple(others)
    return SitedSides(pair.level, pair.against, pair.first, pair.second, split, rest, pair.alternate)


def _estimated(facts: SitesFacts, gaps: Mapping[str, Mapping[str, float]]) -> SitesFacts:
    """The same with what else could explain the pair, and with its difference taken within sites: beside the site, and
    beside what else the levels did not have alike on some site, where that can be parted.
    """
    query, sides, pair = facts.query, facts.sides, facts.pair
    choices, clusters, _ = held_against(query.factor, query.of_yield)
    other = unbalanced_within(sides, choices)
    found = tuple(explained(sides, query.factor, query.of_yield))
    ways = tuple(one_way(sides, query.factor, query.of_yield, gaps))
    counted = counted_clusters(sides, clusters)
    if found or not other:
        # Without anything to part it from, by the pair's own cells alone.
        sides, other = replace(sides, others=()), []
    named = replace(pair, clusters=counted.cluster if counted else "")
    estimated, fit = adjusted(named, sides, other, counted.group if counted else {})
    return replace(facts, pair=_with_own_spreads(estimated, fit, sides), confounders=found, ways=ways)


def _with_own_spreads(pair: Pair, found: PairFit, sides: SitedSides) -> Pair:
    """The pair with the smaller of its degrees of freedom and Welch's over its sides (and the other levels), as the
    pairs of one site have it between soaks. Ours, supported by simulation only (tests/calibrate_sites.py).
    """
    estimate = pair.estimate
    if sides.split or estimate != found.fit.contrast(found.weights):
        return pair
    sizes = [len(each) for each in (sides.first, sides.second, *sides.others)]
    welch = found.fit.welch_degrees(found.weights, np.repeat(np.arange(len(sizes)), sizes))
    if welch is None or estimate.degrees is None or welch >= estimate.degrees:
        return pair
    return replace(pair, estimate=replace(estimate, degrees=welch))


def _result(candidate: SitesCandidate, found: Mapping[str, SiteCells], together: Family) -> SitesPair:
    level, against, both = candidate.level, candidate.against, candidate.both
    left_out = candidate.alone, candidate.blank
    own = {site: each for site in both if (each := found[site].answer(level, against))}
    apart = agreement(
        [
            OneOfSeveral(each.estimate.value, each.estimate.standard_error**2, each.estimate.degrees, each.size)
            for each in own.values()
            if each.has_interval and each.estimate.standard_error and each.estimate.degrees
        ]
    )
    if candidate.facts is None:
        return SitesPair(level, against, both, *left_out, own, None, too_few_sites(level, against, both))
    pair = judged(candidate.facts.pair, together)
    facts = replace(candidate.facts, pair=pair)
    judgement = judge_over_sites(facts, own, apart, _smallest(found), together)
    return SitesPair(level, against, both, *left_out, own, pair, judgement, apart)
