"""Sums of many numbers that are as good as exact, so that their order does not matter."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.numbering import Places

Numbers = NDArray[np.float64]

# Numbers are summed in two parts: their leading bits, so many of the largest of them, which up to 2^27 numbers sum
# exactly, and the rest.
LEADING_BITS = 26
DOUBLE_BITS = 52  # behind the point, of a number of 64 bits


def _leading(values: Numbers) -> Numbers:
    """The leading bits of each."""
    _, exponent = np.frexp(max(values.max(initial=0.0), -values.min(initial=0.0)))
    # Beside so large a number there is no room for the others.
    large = np.ldexp(1.5, min(int(exponent) + DOUBLE_BITS - LEADING_BITS, 1022))
    found: Numbers = values + large
    found -= large
    return found


def total(values: Numbers) -> float:
    """Return the sum of all."""
    leading = _leading(values)
    return float(leading.sum() + (values - leading).sum())


def totals(values: Numbers, places: Places, count: int, times: Places | None = None) -> Numbers:
    """Return the sum of the values of each place. places: one per value, from 0 and below `count`; times: how often
    each is counted, once where that is not said.
    """
    leading = _leading(values)
    rest: Numbers = values - leading
    if times is not None:
        leading *= times
        rest *= times
    return np.asarray(np.bincount(places, leading, count) + np.bincount(places, rest, count), dtype=float)


def mean(values: Sequence[float] | Numbers) -> float:
    """Return the mean."""
    return total(np.asarray(values, dtype=float)) / len(values)
