"""Several levels at once: limits and p values that hold for all pairs together."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from pipeline.stats.estimate import Estimate, Limits, t_critical, two_sided_p
from schemas.confidence import LEVEL

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

# Nodes of both integrals: 12 digits against R's ptukey (tests/test_compare_golden.py).
NODES = 160
TAIL = 8.5  # standard deviations beyond which the normal density is nothing
MOST_STEPS = 60  # towards a critical value; some ten are needed
ENDLESS = 1e7  # degrees of freedom from which the spread counts as known


@cache
def _nodes() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    import numpy as np

    return np.polynomial.legendre.leggauss(NODES)


def range_p(q: float, levels: int, degrees: float) -> float:
    """Return the probability that the studentized range of so many means is at least q.

    1 - integral of W(q s) over the density of s = chi / sqrt(degrees), with W(w) = k integral phi(z) (Phi(z) -
    Phi(z - w))^(k-1) dz (Tukey 1953; Lund & Lund 1983, Appl. Stat. 32:204-210), both by Gauss-Legendre.
    Checked against: R ptukey, scipy.stats.studentized_range.
    """
    import numpy as np
    from scipy.special import chdtri, gammaln, ndtr

    at, weight = _nodes()
    z = TAIL * at
    density = TAIL * weight * np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)

    def beyond(width: NDArray[np.float64]) -> NDArray[np.float64]:
        inside = ndtr(z)[:, None] - ndtr(z[:, None] - width[None, :])
        covered: NDArray[np.float64] = 1 - levels * (density @ inside ** (levels - 1))
        return covered

    if degrees >= ENDLESS:
        return float(np.clip(beyond(np.array([q]))[0], 0, 1))
    low, high = (math.sqrt(float(chdtri(degrees, tail)) / degrees) for tail in (1 - 1e-14, 1e-16))
    half = (high - low) / 2
    s = low + half * (at + 1)
    half_degrees = degrees / 2
    log_density = (
        math.log(2)
        + half_degrees * math.log(half_degrees)
        - gammaln(half_degrees)
        + (degrees - 1) * np.log(s)
        - half_degrees * s**2
    )
    return float(np.clip((half * weight * np.exp(log_density)) @ beyond(q * s), 0, 1))


@cache
def range_critical(levels: int, degrees: float, level: float = LEVEL) -> float:
    """Return the studentized range that so many means pass by chance in 1 - level of cases.

    The root of range_p by false position on its logarithm, the end that stays halved (the Illinois way: Dowell &
    Jarratt 1971, BIT 11:168-174). Checked against: R qtukey, scipy.stats.studentized_range.
    """

    def above(q: float) -> float:
        return math.log(max(range_p(q, levels, degrees), 1e-300) / (1 - level))

    low, high = 0.0, t_critical(degrees, level) * math.sqrt(2)  # two means alone: never more than several
    at_low, at_high = above(low), above(high)
    while at_high > 0:
        low, at_low, high = high, at_high, 2 * high
        at_high = above(high)
    moved = 0  # which end moved last: -1 low, 1 high
    for _ in range(MOST_STEPS):
        middle = (low * at_high - high * at_low) / (at_high - at_low)
        at_middle = above(middle)
        if abs(at_middle) < 1e-10:
            break
        if at_middle > 0:
            low, at_low, at_high = middle, at_middle, at_high / 2 if moved < 0 else at_high
            moved = -1
        else:
            high, at_high, at_low = middle, at_middle, at_low / 2 if moved > 0 else at_low
            moved = 1
    return middle


@dataclass(frozen=True)
class Family:
    """The pairs that are judged together. levels: how many levels they are of, where every pair of them is compared
    between batches (Games and Howell's way); 0: the number of pairs alone counts (Bonferroni's way).
    """

    pairs: int
    levels: int = 0

    def p(self, estimate: Estimate) -> float | None:
        """Return the probability that any pair lies so far apart where none differs; None without a spread.

        Between batches the studentized range, q / sqrt 2, with the pair's own standard error and the smaller degrees of
        freedom (Games & Howell 1976, J. Educ. Stat. 1:113-125). Within batches, or where some are split, it raises more
        false alarms than it says (8 % at three levels and 3 split batches, 11 % at four: 20,000 simulated farms each),
        so there p times the number of pairs.
        """
        if estimate.t is None or estimate.degrees is None:
            return None
        if self.levels > 2:
            return range_p(abs(estimate.t) * math.sqrt(2), self.levels, estimate.degrees)
        return min(1.0, self.pairs * two_sided_p(estimate.t, estimate.degrees))

    def critical(self, degrees: float, level: float = LEVEL) -> float:
        """Return how many standard errors each pair's interval reaches to each side, so that all hold together."""
        if self.levels > 2:
            return range_critical(self.levels, degrees, level) / math.sqrt(2)
        return t_critical(degrees, 1 - (1 - level) / max(self.pairs, 1))

    def limits(self, estimate: Estimate, level: float = LEVEL) -> Limits | None:
        """Return the limits of the pair's difference, adjusted for all pairs; None without a spread."""
        if estimate.t is None or estimate.degrees is None:
            return None
        return estimate.around(self.critical(estimate.degrees, level))
