"""What a design can show: power, and the smallest detectable difference."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

from pipeline.stats.estimate import Limits

POWER = 0.8  # common practice, no source: a difference is detectable where 4 of 5 such farms would show it
NO_LOWER_TAIL = 8.0  # scipy's noncentral t has no value deep in its lower tail


def power(noncentrality: float, degrees: float, critical: float) -> float:
    """Return the share of cases in which a t test with this critical value shows a difference of so many standard
    errors.

    The noncentral t, both tails. Checked against: R power.t.test(strict = TRUE).
    """
    from scipy.special import nctdtr

    above = 1 - float(nctdtr(degrees, noncentrality, critical))
    below = 0.0 if noncentrality > NO_LOWER_TAIL else float(nctdtr(degrees, noncentrality, -critical))
    return above + below


def one_sided(noncentrality: float, degrees: float, critical: float) -> float:
    """Return the share of cases in which it shows one of at least that size on its own side alone."""
    from scipy.special import nctdtr

    if noncentrality < -NO_LOWER_TAIL:
        return 0.0
    return 1 - float(nctdtr(degrees, noncentrality, critical))


@cache
def minimum_detectable(degrees: float, critical: float, wanted: float = POWER) -> float:
    """Return how many standard errors a difference must be to be shown in this share of cases, to 9 digits."""
    low, high = bisected(lambda size: power(size, degrees, critical), wanted, 2 * critical + 4, relative=1e-9)
    return (low + high) / 2


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
