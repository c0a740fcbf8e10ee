"""Chances and quantiles of Student's t, F and chi-square, in plain floats: ten rows need no larger library.

Each is an incomplete beta or gamma function, by its continued fraction or series.
Checked against: scipy.special to 1e-12 (tests/test_distributions.py), R (tests/golden).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from functools import lru_cache
from itertools import islice

ENOUGH = 2e-16  # a step of a fraction or series that changes less than the last digit
TINY = 1e-300  # in the place of a denominator of 0
STIRLING_FROM = 16.0  # from here on the series below leaves out less than the last digit
MOST_TURNS = 100  # towards a quantile; some five are needed
MOST_TERMS = 1_000_000  # of a fraction or series
ENDLESS = 1e9  # degrees of freedom from which t is normal in all digits that count


def t_beyond(t: float, degrees: float) -> float:
    """Return the chance that Student's t lies at least so far from 0, to either side."""
    if math.isinf(degrees) or degrees > ENDLESS:
        return math.erfc(abs(t) / math.sqrt(2))
    square = t * t
    return 0.0 if math.isinf(square) else _beta(degrees / 2, 0.5, degrees, square)


@lru_cache(maxsize=4096)
def t_reach(beyond: float, degrees: float) -> float:
    """Return how far from 0 Student's t lies, to either side, in this share of cases (above 0 and below 1)."""
    if math.isinf(degrees) or degrees > ENDLESS:
        return normal_quantile(1 - beyond / 2)
    scale = math.exp(math.lgamma((degrees + 1) / 2) - math.lgamma(degrees / 2)) / math.sqrt(degrees * math.pi)

    def slope(t: float) -> float:
        return -2 * scale * math.exp(-(degrees + 1) / 2 * math.log1p(t * t / degrees))

    return _quantile(beyond, lambda t: t_beyond(t, degrees), slope, max(normal_quantile(1 - beyond / 2), beyond))


def f_above(f: float, over: float, under: float) -> float:
    """Return the chance of an F at least as large, with so many degrees of freedom over and under the line."""
    return _beta(under / 2, over / 2, under, over * f)


@lru_cache(maxsize=4096)
def chi_square_quantile(share: float, degrees: float, above: bool = False) -> float:
    """Return the value that chi-square lies below (or above) in this share of cases."""
    shape = degrees / 2
    normal = -normal_quantile(share) if above else normal_quantile(share)
    # Wilson & Hilferty 1931, PNAS 17:684-688: where the search begins.
    begin = max(degrees * (1 - 2 / (9 * degrees) + normal * math.sqrt(2 / (9 * degrees))) ** 3, 1e-3 * degrees) / 2

    def slope(x: float) -> float:
        return (-1 if above else 1) * _gamma_front(shape, x) * shape / x

    return 2 * _quantile(share, lambda x: _gamma(shape, x, above), slope, begin)


def normal_below(value: float) -> float:
    """Return the chance that a standard normal lies below a value."""
    return math.erfc(-value / math.sqrt(2)) / 2


def normal_quantile(share: float) -> float:
    """Return the value that a standard normal lies below in this share of cases (Wichura 1988, Appl. Stat. 37:477)."""
    from statistics import NormalDist

    return NormalDist().inv_cdf(share)


def _quantile(share: float, chance: Callable[[float], float], slope: Callable[[float], float], begin: float) -> float:
    """The value above 0 with this chance, by Newton's way on both logarithms, where these chances are concave."""
    at = begin
    for _ in range(MOST_TURNS):
        now = chance(at)
        step = math.log(now / share) * now / (slope(at) * at)
        at *= math.exp(-max(-3.0, min(3.0, step)))
        if abs(step) < 1e-14:
            break
    return at


def _beta(a: float, b: float, for_a: float, for_b: float) -> float:
    """The regularised incomplete beta function at x = for_a / (for_a + for_b), by the two parts of x: neither loses
    digits where it is small. Turned over where the fraction is slow.
    """
    x, rest = for_a / (for_a + for_b), for_b / (for_a + for_b)
    if not x or not rest:
        return float(x > 0)
    # x^a (1 - x)^b / B(a, b) by Stirling's series and deviances: Loader 2000, Fast and accurate computation of
    # binomial probabilities.
    both = a + b
    off = a * rest - b * x
    deviance = a * math.log1p(off / (both * x)) + b * math.log1p(-off / (both * rest))
    front = math.sqrt(a * b / (2 * math.pi * both)) * math.exp(_stirling(both) - _stirling(a) - _stirling(b) - deviance)
    if x < (a + 1) / (both + 2):
        return front / _fraction(_beta_terms(a, b, x, off), a * (off + 1) / (a + 1))
    return 1 - front / _fraction(_beta_terms(b, a, rest, -off), b * (1 - off) / (b + 1))


def _beta_terms(a: float, b: float, x: float, off: float) -> Iterator[tuple[float, float]]:
    """Numerators and denominators. off: a (1 - x) - b x, where digits would be lost.

    Didonato & Morris 1992, ACM Trans. Math. Softw. 18:360-373, equation 9.
    """
    m = 0
    while True:
        m += 1
        over, turn = a + 2 * m - 1, m * (b - m) * x
        below = turn / over + m + (a + m) * (off + 1 + m * (2 - x)) / (over + 2)
        yield (a + m - 1) * (a + b + m - 1) * turn * x / over**2, below


def _gamma(shape: float, x: float, above: bool) -> float:
    """The regularised incomplete gamma function, lower or upper: DLMF 8.7.1 and 8.9.2."""
    front = _gamma_front(shape, x)
    if x < shape + 1:
        term = total = 1.0
        n = shape
        while term > total * ENOUGH:
            n += 1
            term *= x / n
            total += term
        return 1 - front * total if above else front * total
    upper = front * shape / _fraction(_gamma_terms(shape, x), x + 1 - shape)
    return upper if above else 1 - upper


def _gamma_terms(shape: float, x: float) -> Iterator[tuple[float, float]]:
    n = 1
    while True:
        yield n * (shape - n), x + 2 * n + 1 - shape
        n += 1


def _gamma_front(shape: float, x: float) -> float:
    """x^shape e^-x / Gamma(shape + 1)."""
    off = (x - shape) / shape
    log = math.log1p(off) if abs(off) < 0.5 else math.log(x / shape)
    return math.exp(-shape * (off - log) - _stirling(shape)) / math.sqrt(2 * math.pi * shape)


def _fraction(terms: Iterator[tuple[float, float]], first: float = 1.0) -> float:
    """The fraction first + a1 / (b1 + a2 / (b2 + ...)), forwards (Thompson & Barnett 1986, J. Comput. Phys. 64:490)."""
    value = upper = first or TINY
    lower = 0.0
    for numerator, denominator in islice(terms, MOST_TERMS):
        lower = 1 / (denominator + numerator * lower or TINY)
        upper = denominator + numerator / upper or TINY
        change = upper * lower
        value *= change
        # Also where there is no number at all.
        if not abs(change - 1) >= ENOUGH:
            break
    return value


def _stirling(z: float) -> float:
    """What log Gamma(z + 1) has beyond (z + 1/2) log z - z + log(2 pi) / 2: DLMF 5.11.1."""
    if z < STIRLING_FROM:
        return math.log(math.gamma(z + 1) * math.exp(z) / (z**z * math.sqrt(2 * math.pi * z)))
    square = z * z
    return (1 / 12 - (1 / 360 - (1 / 1260 - (1 / 1680 - 1 / 1188 / square) / square) / square) / square) / z
