"""What a design can show: power, and the smallest detectable difference."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from math import isfinite

from pipeline.stats.estimate import Limits

POWER = 0.8  # common practice, no source: a difference is detectable where 4 of 5 such farms would show it
STEPS = 2000  # of the quadrature
NO_LOWER_TAIL = 8.0  # scipy's noncentral t has no value deep in its lower tail


def power(noncentrality: float, degrees: float, critical: float) -> float:
    """Return the share of cases in which a t test with this critical value shows a difference of so many standard
    errors.

    The noncentral t, both tails. Checked against: R power.t.test(strict = TRUE).
    """
    above = 1 - noncentral_t(degrees, noncentrality, critical)
    below = 0.0 if noncentrality > NO_LOWER_TAIL else noncentral_t(degrees, noncentrality, -critical)
    return above + below


def one_sided(noncentrality: float, degrees: float, critical: float) -> float:
    """Return the share of cases in which it shows one of at least that size on its own side alone."""
    if noncentrality < -NO_LOWER_TAIL:
        return 0.0
    return 1 - noncentral_t(degrees, noncentrality, critical)


def noncentral_t(degrees: float, noncentrality: float, value: float) -> float:
    """Return the chance that a noncentral t lies below a value. scipy's, where that has one: here and there, for some
    fractional degrees, it has none; there the integral itself, of normal chances over the spread that was estimated.

    Checked against: each other, to 1e-12 (tests/test_compare_golden.py).
    """
    from scipy.special import nctdtr

    found = float(nctdtr(degrees, noncentrality, value))
    return found if isfinite(found) else integrated_t(degrees, noncentrality, value)


def integrated_t(degrees: float, noncentrality: float, value: float) -> float:
    """Return the same by quadrature: the mean of Phi(value s - noncentrality) over s, the estimated spread."""
    import numpy as np
    from scipy.special import chdtri, gammaln, ndtr

    # Over the logarithm of s all is smooth and ends at nothing, where even steps are the best there are.
    low, high = (float(np.log(chdtri(degrees, share) / degrees)) / 2 for share in (1 - 1e-15, 1e-16))
    log_s, step = np.linspace(low, high, STEPS, retstep=True)
    log_density = np.log(2) + degrees / 2 * np.log(degrees / 2) - gammaln(degrees / 2)
    density = np.exp(log_density + degrees * (log_s - np.exp(2 * log_s) / 2))
    return float((density * ndtr(value * np.exp(log_s) - noncentrality)).sum() * step)


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
