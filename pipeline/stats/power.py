"""What a design can show: power, the smallest detectable difference, and how many batches would show one."""

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


def batches_needed(
    difference: float,
    variance: float,
    critical_of: Callable[[float], float],
    split: bool,
    least: int,
    most: int,
) -> int | None:
    """Return how many batches (of each level, or split ones) show this difference in 4 of 5 cases; None above `most`.

    variance: what one batch of each level (or one split batch) adds to SE^2 = variance / batches; critical_of: the
    critical value at so many degrees of freedom: 2 (batches - 1), or batches - 1 where they are split.
    """

    def shows(batches: int) -> bool:
        degrees = float(batches - 1 if split else 2 * (batches - 1))
        return bool(minimum_detectable(degrees, critical_of(degrees)) * (variance / batches) ** 0.5 <= difference)

    low, high = least - 1, most
    if not shows(high):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if shows(middle) else (middle, high)
    return high
