"""What may be said of a pair over several sites: the rules of one site (verdicts), and two that only several have.

S1  Fewer than two sites hold both levels: the rest would be a difference between farms.
S2  The sites differ in the difference, more than by chance, and it does not lie the same way on all: no way is named
    for them together.

R3 and R4 are asked within sites: an amount, or the start, explains a pair only where it lay apart in the same way on
every site.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from pipeline.compare import wording as words
from pipeline.compare.confounding import Confounder
from pipeline.compare.design import DesignCell
from pipeline.compare.factors import title
from pipeline.compare.pairs import LEAST_DEGREES, Pair
from pipeline.compare.query import ComparisonQuery
from pipeline.compare.side_by_side import started
from pipeline.compare.site_cells import OwnAnswer
from pipeline.compare.sites_sides import OneWay, SitedSides
from pipeline.compare.verdicts import Facts, Judgement, Reason, judge, worth_of
from pipeline.models.compared_units import MONTH
from pipeline.stats.agreement import Agreement
from pipeline.stats.multiple import Family
from schemas.answers import Direction, Worth
from schemas.phrases import counted


@dataclass(frozen=True)
class SitesFacts:
    """A pair over sites before it is judged: see verdicts.Facts. ways: what lay apart in the same way on all sites."""

    query: ComparisonQuery
    pair: Pair
    sides: SitedSides
    confounders: tuple[Confounder, ...]
    ways: tuple[OneWay, ...]
    waiting: tuple[DesignCell, ...]
    look_gap: float | None
    not_yet: str

    @property
    def supported(self) -> bool:
        """Whether the design supports a verdict, whatever the soaks gave."""
        return self.pair.has_enough and not self.confounders and not self.ways


def too_few_sites(level: str, against: str, both: Sequence[str]) -> Judgement:
    """Return what is said of a pair that fewer than two sites hold."""
    if both:
        why = f"only {both[0]} has figures of both: its own answer is all there is"
    else:
        why = "no site has figures of both, so what the farms differ in would be in the difference"
    help_ = f"Grow {level} and {against} on {'one site more' if both else 'two sites'}, side by side on each"
    return Judgement(Direction.CANNOT_TELL, Worth.CANNOT_TELL, (Reason("S1", why, help_),))


def judge_over_sites(
    facts: SitesFacts,
    own: Mapping[str, OwnAnswer],
    apart: Agreement | None,
    smallest_effects: tuple[float, float],
    together: Family,
) -> Judgement:
    """Return what may be said of this pair over sites, and why no more. smallest_effects: the smallest and the largest
    of the sites' own: "worth it" must hold by all of them, and so must "no difference that matters".
    """
    smallest, largest = smallest_effects
    found = judge(
        Facts(
            facts.query.factor,
            facts.pair,
            facts.sides,
            facts.confounders,
            facts.query.measure,
            largest,
            facts.look_gap,
            facts.waiting,
            facts.not_yet,
            together,
        )
    )
    reasons = [_few_left(facts) if each.rule == "R2" else each for each in found.reasons]
    more = [_one_way(each, facts) for each in facts.ways] if facts.pair.has_interval else []
    more += _disagreeing(facts.pair, own, apart)
    every = tuple(sorted((*more, *reasons), key=lambda each: not each.stops))
    if more:
        return Judgement(Direction.CANNOT_TELL, Worth.CANNOT_TELL, every)
    worth = found.worth
    if worth is Worth.NO_MATTER and facts.pair.limits and smallest < largest:
        worth = worth_of(facts.pair.limits, smallest)
    return replace(found, worth=worth, reasons=every)


def _few_left(facts: SitesFacts) -> Reason:
    pair = facts.pair
    left = f"({pair.estimate.degrees or 0:.1f} degrees of freedom, {LEAST_DEGREES:g} are the least)"
    soaks = f"{counted(len(pair.first), 'soak')} of {pair.level} and {len(pair.second)} of {pair.against}"
    why = f"{soaks}, each held against its own site's alone, leave too little to judge by {left}"
    return Reason("R2", why, f"{started(pair.level, pair.against, pair.alternate)}, on any site that holds both")


def _one_way(found: OneWay, facts: SitesFacts) -> Reason:
    best = started(facts.pair.level, facts.pair.against, facts.pair.alternate)
    if found.factor == MONTH:
        why = (
            f"on every site all soaks of {found.less} were started before the first of {found.more}: season, room and "
            "spawn changed in between, too"
        )
        return Reason("R4", why, best)
    what = title(found.factor)
    return Reason("R3", f"on every site {found.less} had less {what} than {found.more}", f"{best}, at the same {what}")


def _disagreeing(pair: Pair, own: Mapping[str, OwnAnswer], apart: Agreement | None) -> list[Reason]:
    """Why no way is named where the sites differ, and not all lie the way that they do together."""
    if apart is None or not apart.differ:
        return []
    looked_at = {site: each.estimate.value for site, each in own.items() if each.has_interval}
    other_way = [site for site, value in looked_at.items() if value * pair.estimate.value <= 0]
    if not other_way:
        return []
    why = f"the sites differ in it, more than by chance, and it does not lie the same way on all ({_spread(looked_at)})"
    return [Reason("S2", why, "Go by each site's own answer; what the sites do otherwise may be why")]


def _spread(values: Mapping[str, float]) -> str:
    low, high = min(values, key=values.__getitem__), max(values, key=values.__getitem__)
    return f"from {words.number(values[low])} on {low} to {words.number(values[high])} on {high}"
