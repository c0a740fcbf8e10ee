"""The smallest difference that the data could have shown."""

from __future__ import annotations

from functools import cache

POWER = 0.8  # common practice, no source: a difference counts as showable when 4 of 5 such farms would show it
NO_LOWER_TAIL = 8.0  # scipy's noncentral t has no value deep in its lower tail


def power(noncentrality: float, degrees: float, critical: float) -> float:
    """How often does a t test with this critical value show a difference of so many standard errors?

    The noncentral t, both tails. Checked against: R power.t.test(strict = TRUE).
    """
    from scipy.special import nctdtr

    above = 1 - float(nctdtr(degrees, noncentrality, critical))
    below = 0.0 if noncentrality > NO_LOWER_TAIL else float(nctdtr(degrees, noncentrality, -critical))
    return above + below


@cache
def minimum_detectable(degrees: float, critical: float, wanted: float = POWER) -> float:
    """How many standard errors must a difference be, to be shown in this share of cases? By bisection on power."""
    low, high = 0.0, 2 * critical + 4
    while power(high, degrees, critical) < wanted:
        low, high = high, 2 * high
    while high - low > 1e-9 * high:
        middle = (low + high) / 2
        low, high = (low, middle) if power(middle, degrees, critical) >= wanted else (middle, high)
    return (low + high) / 2
