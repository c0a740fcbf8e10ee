"""What a design can show: power, and the smallest detectable difference."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import cache, lru_cache

from pipeline.stats.distributions import ENDLESS, chi_square_quantile, normal_below
from pipeline.stats.estimate import Limits
from pipeline.stats.roots import root

POWER = 0.8  # common practice, no source: a difference is detectable where 4 of 5 such farms would show it
STEPS_A_SPREAD = 1.6  # of the quadrature, to each width over which what is integrated changes: 12 digits
NOTHING_LEFT = 40.0  # so far from its mean a normal has no chance in 64 bits
STEP_SIZES = 8  # steps a unit are a multiple of this, so that few sets of nodes serve all


def power(noncentrality: float, degrees: float, critical: float) -> float:
    """Return the share of cases in which a t test with this critical value shows a difference of so many standard
    errors.

    The noncentral t, both tails. Checked against: R power.t.test(strict = TRUE).
    """
    below = noncentral_t(degrees, noncentrality, -critical)
    return one_sided(noncentrality, degrees, critical) + below


def one_sided(noncentrality: float, degrees: float, critical: float) -> float:
    """Return the share of cases in which it shows one of at least that size on its own side alone."""
    return 1 - noncentral_t(degrees, noncentrality, critical)


def noncentral_t(degrees: float, noncentrality: float, value: float) -> float:
    """Return the chance that a noncentral t lies below a value: the mean of Phi(value s - noncentrality) over s, the
    spread as it was estimated.

    By even steps over the logarithm of s: there all is smooth and ends at nothing, where these are the best there are
    (Trefethen & Weideman 2014, SIAM Rev. 56:385-458).
    Checked against: scipy.special.nctdtr to 1e-11, where that has a value.
    """
    if degrees > ENDLESS:
        return normal_below(value - noncentrality)
    # The number of steps rises with how far apart they are: beyond what any spread makes up for none is needed.
    widest = _widest(degrees)
    if noncentrality - max(value, 0.0) * widest > NOTHING_LEFT:
        return 0.0
    if min(value, 0.0) * widest - noncentrality > NOTHING_LEFT:
        return 1.0
    beyond = noncentrality * math.sqrt(0.5)
    scaled = value * math.sqrt(0.5)
    narrowest = math.sqrt(2 * max(degrees, 1.0) + (abs(noncentrality) + 3) ** 2)
    spreads, weights = _spreads(degrees, math.ceil(narrowest * STEPS_A_SPREAD / STEP_SIZES) * STEP_SIZES)
    erfc = math.erfc
    return math.fsum([weight * erfc(beyond - scaled * spread) for spread, weight in zip(spreads, weights, strict=True)])


@lru_cache(maxsize=256)
def _widest(degrees: float) -> float:
    """The largest s that comes more often than once in 10^16 times."""
    return math.sqrt(chi_square_quantile(1e-16, degrees, above=True) / degrees)


@lru_cache(maxsize=256)
def _spreads(degrees: float, per_unit: int) -> tuple[Sequence[float], Sequence[float]]:
    """Values of s, the square root of chi-square over its degrees of freedom, and half of how often each comes."""
    low = math.log(chi_square_quantile(1e-15, degrees) / degrees) / 2
    high = math.log(_widest(degrees))
    steps = math.ceil((high - low) * per_unit)
    step = (high - low) / steps
    logs = [low + step * at for at in range(steps + 1)]
    weights = [math.exp(degrees * (each - math.expm1(2 * each) / 2)) for each in logs]
    whole = math.fsum(weights)
    return [math.exp(each) for each in logs], [weight / (2 * whole) for weight in weights]


@cache
def minimum_detectable(degrees: float, critical: float, wanted: float = POWER) -> float:
    """Return how many standard errors a difference must be to be shown in this share of cases, to 9 digits."""
    low = critical if power(critical, degrees, critical) < wanted else 0.0
    if not low and power(0.0, degrees, critical) >= wanted:
        return 0.0
    return root(lambda size: power(size, degrees, critical) - wanted, low, critical + 1, near=1e-11)


def bisected(
    power_of: Callable[[float], float], wanted: float, start: float, absolute: float = 0.0, relative: float = 0.0
) -> Limits:
    """Return the bounds between which a rising power reaches what is wanted, by bisection up from 0.

    start: where the search begins to double; it ends when the bounds lie within `absolute` of each other, or within
    `relative` times the upper one.
    """
    low, high = 0.0, start
    while power_of(high) < wanted:
        low, high = high, 2 * high
    while high - low > max(absolute, relative * high):
        middle = (low + high) / 2
        low, high = (low, middle) if power_of(middle) >= wanted else (middle, high)
    return low, high
