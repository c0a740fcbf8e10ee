"""Several levels at once: limits and p values that hold for all pairs together."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from pipeline.stats.distributions import chi_square_quantile
from pipeline.stats.estimate import Estimate, Limits, t_critical, two_sided_p
from pipeline.stats.roots import root
from schemas.confidence import LEVEL

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

# Nodes of both integrals: 12 digits against R's ptukey (tests/test_compare_golden.py).
NODES = 160
TAIL = 8.5  # standard deviations beyond which the normal density is nothing
ENDLESS = 1e7  # degrees of freedom from which the spread counts as known


def range_p(q: float, levels: int, degrees: float) -> float:
    """Return the probability that the studentized range of so many means is at least q.

    1 - integral of W(q s) over the density of s = chi / sqrt(degrees), with W(w) = k integral phi(z) (Phi(z) -
    Phi(z - w))^(k-1) dz (Tukey 1953; Lund & Lund 1983, Appl. Stat. 32:204-210), both by Gauss-Legendre.
    Checked against: R ptukey, scipy.stats.studentized_range.
    """
    import numpy as np

    from pipeline.stats.normal import legendre_nodes, normal_chances

    at, weight = legendre_nodes(NODES)
    z = TAIL * at
    density = TAIL * weight * np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)

    def beyond(width: NDArray[np.float64]) -> NDArray[np.float64]:
        inside = normal_chances(z)[:, None] - normal_chances(z[:, None] - width[None, :])
        covered: NDArray[np.float64] = 1 - levels * (density @ inside ** (levels - 1))
        return covered

    if degrees >= ENDLESS:
        return float(np.clip(beyond(np.array([q]))[0], 0, 1))
    low = math.sqrt(chi_square_quantile(1e-14, degrees) / degrees)
    high = math.sqrt(chi_square_quantile(1e-16, degrees, above=True) / degrees)
    half = (high - low) / 2
    s = low + half * (at + 1)
    half_degrees = degrees / 2
    log_density = (
        math.log(2)
        + half_degrees * math.log(half_degrees)
        - math.lgamma(half_degrees)
        + (degrees - 1) * np.log(s)
        - half_degrees * s**2
    )
    return float(np.clip((half * weight * np.exp(log_density)) @ beyond(q * s), 0, 1))


@cache
def range_critical(levels: int, degrees: float, level: float = LEVEL) -> float:
    """Return the studentized range that so many means pass by chance in 1 - level of cases.

    The root of range_p's logarithm. Checked against: R qtukey, scipy.stats.studentized_range.
    """

    def above(q: float) -> float:
        return math.log(max(range_p(q, levels, degrees), 1e-300) / (1 - level))

    two_alone = t_critical(degrees, level) * math.sqrt(2)  # two means alone: never more than several
    return root(above, 0.0, two_alone, near=1e-10)


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
