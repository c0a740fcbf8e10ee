"""Whether differences that were found apart from each other (one per site) lie further apart than chance has them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from pipeline.stats.distributions import f_above
from schemas.confidence import LEVEL


class OneOfSeveral(NamedTuple):
    """One of the differences: its value, variance (standard error squared) and degrees of freedom, and its weight,
    which rests on the design alone (the soaks that it is worth).
    """

    value: float
    variance: float
    degrees: float
    weight: float


@dataclass(frozen=True)
class Agreement:
    """How far several differences lie apart: the F statistic, its two degrees of freedom, how many were looked at, and
    p: of differences that lie at least so far apart where none differs.
    """

    f: float
    degrees: tuple[float, float]
    count: int
    p: float

    @property
    def differ(self) -> bool:
        """Whether they lie further apart than chance has them."""
        return self.p < 1 - LEVEL


def agreement(found: Sequence[OneOfSeveral]) -> Agreement | None:
    """Return how far these differences lie apart; None for fewer than two, and without a spread.

    F = sum w (d - mean)^2 / sum e, e = w (1 - w / sum w) v: what lies between them over what would lie there by chance.
    Degrees: above (sum e)^2 / (sum (w v)^2 (1 - 2 w / W) + (sum w^2 v / W)^2), below (sum e)^2 / sum (e^2 / df), each
    by Satterthwaite. Of means it is Brown & Forsythe's (1974, Technometrics 16:129-132) with the degrees above of
    Mehrotra (1997, Comm. Stat. Simul. 26:1139-1145), both from memory; here it is of differences. No difference's own
    spread is taken for another's: with a pooled spread, sites of which some spread three times more are said to differ
    in 12 to 26 %, with these in at most 6 (tests/calibrate_sites.py).
    Checked against: the interaction of R's aov(breaks ~ wool * tension) on datasets::warpbreaks, whose F it has where
    all are equally many (tests/test_compare_sites.py).
    """
    if len(found) < 2:
        return None
    total = sum(each.weight for each in found)
    middle = sum(each.weight * each.value for each in found) / total
    apart = sum(each.weight * (each.value - middle) ** 2 for each in found)
    chance = [each.weight * (1 - each.weight / total) * each.variance for each in found]
    by_chance = sum(chance)
    if not by_chance > 0:
        return None
    shared = sum(each.weight**2 * each.variance for each in found) / total
    own = sum((each.weight * each.variance) ** 2 * (1 - 2 * each.weight / total) for each in found)
    above = by_chance**2 / (own + shared**2)
    below = by_chance**2 / sum(part**2 / each.degrees for part, each in zip(chance, found, strict=True))
    f = apart / by_chance
    return Agreement(f, (above, below), len(found), f_above(f, above, below))
