"""The normal distribution over arrays, and the nodes that integrals over it are taken at."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
# erfc(x) = exp(-x^2) u (sum of c_k T_k(2 u - 1)), u = 3 / (3 + x), x >= 0 (of the kind of Schonfelder 1978, Math. Comp.
# 32:1232-1240): what is left out is below 2e-16. Ours, by interpolation at 64 Chebyshev nodes with 50 digits.
CENTRE = 3.0
# fmt: off
SERIES = (
    0.471146074660290654, 0.377158949691565793, 0.118036033447495454, 0.0283623466996951515, 0.00487175775760554639,
    0.000459852387876544279, -2.14302222381053151903e-5, -1.30144736992413488e-5, -8.80928358285351363e-7,
    2.74648004797028445e-7, 4.41599189922378551e-8, -6.39840838557548284e-9, -1.67683572124846442e-9,
    1.94733547008900241e-10, 6.24744130346938951e-11, -8.12455755224449574e-12, -2.33031461322256573e-12,
    4.19103853922533298e-13, 8.19333526881302986e-14, -2.33524721079292633e-14, -2.24425856491653643e-15,
    1.28114352980505062e-15,
)
# fmt: on


def normal_chances(values: Floats) -> Floats:
    """Return the chance that a standard normal lies below each value.

    Checked against: scipy.special.ndtr to 1e-13 of each chance (tests/test_distributions.py).
    """
    x = np.abs(values) * np.sqrt(0.5)
    u = CENTRE / (CENTRE + x)
    twice = 4 * u - 2
    now = before = np.zeros_like(u)
    for each in SERIES[:0:-1]:
        now, before = each + twice * now - before, now
    outside = np.exp(-x * x) * u * (SERIES[0] + twice / 2 * now - before) / 2
    found: Floats = np.where(values > 0, 1 - outside, outside)
    return found


@cache
def legendre_nodes(number: int) -> tuple[Floats, Floats]:
    """Return the nodes and weights of Gauss-Legendre quadrature from -1 to 1, by Newton's way.

    Davis & Rabinowitz 1984, Methods of Numerical Integration, 2.7. Checked against: numpy's leggauss.
    """
    at = -np.cos(np.pi * (np.arange(number) + 0.75) / (number + 0.5))
    for _ in range(4):
        below, value = np.ones(number), at
        for degree in range(2, number + 1):
            below, value = value, ((2 * degree - 1) * at * value - (degree - 1) * below) / degree
        slope = number * (at * value - below) / (at * at - 1)
        at = at - value / slope
    return at, 2 / ((1 - at * at) * slope * slope)
