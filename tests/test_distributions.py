"""Distributions are scipy's, to 12 digits; gillbook does without scipy, whose import takes longer than an answer."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import numpy as np
import pytest
from scipy import special

from pipeline.stats.distributions import chi_square_quantile, f_above, normal_below, normal_quantile, t_beyond, t_reach
from pipeline.stats.normal import legendre_nodes, normal_chances
from pipeline.stats.power import noncentral_t, power

CASES = 2000
DIGITS = 1e-12


def drawn(seed: int, low: float, high: float) -> Callable[[], float]:
    """Draws numbers of any size between these."""
    draws = random.Random(seed)
    return lambda: math.exp(draws.uniform(math.log(low), math.log(high)))


def test_chances_of_t_are_scipys_and_quantiles_lead_back() -> None:
    degrees_of, distance, share = drawn(1, 0.5, 1e6), drawn(2, 0.002, 30), drawn(3, 1e-12, 0.999)
    for _ in range(CASES):
        degrees, t, beyond = degrees_of(), distance(), share()
        assert t_beyond(-t, degrees) == pytest.approx(2 * special.stdtr(degrees, -t), rel=DIGITS, abs=1e-280)
        assert t_reach(beyond, degrees) == pytest.approx(-special.stdtrit(degrees, beyond / 2), rel=DIGITS)
        assert t_beyond(t_reach(beyond, degrees), degrees) == pytest.approx(beyond, rel=DIGITS)


@pytest.mark.parametrize("degrees", [1e9, 1e12, math.inf])
def test_with_endless_degrees_t_is_normal(degrees: float) -> None:
    assert t_beyond(1.96, degrees) == pytest.approx(2 * special.ndtr(-1.96), rel=1e-8)
    assert t_reach(0.05, degrees) == pytest.approx(special.ndtri(0.975), rel=1e-8)


def test_the_ends_of_t_are_its_limits() -> None:
    assert t_beyond(0.0, 3.0) == 1.0
    assert t_beyond(math.inf, 3.0) == 0.0
    assert t_beyond(1e200, 3.0) == 0.0
    assert t_reach(1.0 - 1e-12, 3.0) == pytest.approx(0.0, abs=1e-11)


def test_chances_of_f_are_scipys() -> None:
    under_of, f_of = drawn(4, 1, 1e5), drawn(5, 0.02, 20)
    for over in (1, 2, 3, 7, 20, 150):
        for _ in range(CASES // 10):
            under, f = under_of(), f_of()
            assert f_above(f, over, under) == pytest.approx(special.fdtrc(over, under, f), rel=DIGITS, abs=1e-200)


def test_quantiles_of_chi_square_are_scipys() -> None:
    # Below: where scipy's own chance of its quantile is right (for large shapes and small shares it is off by 1e-8).
    degrees_of, share_of = drawn(6, 0.5, 1e4), drawn(7, 1e-16, 0.99)
    for _ in range(CASES // 2):
        degrees, share = degrees_of(), share_of()
        assert chi_square_quantile(share, degrees, above=True) == pytest.approx(
            special.chdtri(degrees, share), rel=DIGITS
        )
        assert chi_square_quantile(share, degrees) == pytest.approx(
            2 * special.gammaincinv(degrees / 2, share), rel=1e-9
        )
        assert special.gammainc(degrees / 2, chi_square_quantile(share, degrees) / 2) == pytest.approx(share, rel=1e-11)


def test_the_normal_is_scipys_alone_and_over_arrays() -> None:
    values = np.linspace(-37.5, 9, 20_001)
    assert normal_chances(values) == pytest.approx(special.ndtr(values), rel=2e-12, abs=0)
    assert [normal_below(value) for value in values[::100]] == pytest.approx(special.ndtr(values[::100]), rel=2e-12)
    shares = np.linspace(1e-9, 1 - 1e-9, 201)
    assert [normal_quantile(share) for share in shares] == pytest.approx(special.ndtri(shares), rel=DIGITS, abs=1e-15)


def test_nodes_of_quadrature_are_numpys() -> None:
    nodes, weights = np.polynomial.legendre.leggauss(160)
    assert legendre_nodes(160)[0] == pytest.approx(nodes, abs=1e-15)
    assert legendre_nodes(160)[1] == pytest.approx(weights, rel=1e-10)


def test_the_noncentral_t_is_scipys_where_it_has_one() -> None:
    draws, degrees_of = random.Random(8), drawn(9, 0.8, 3000)
    compared = 0
    for _ in range(CASES):
        degrees, apart, value = degrees_of(), draws.uniform(-4, 14), draws.uniform(-8, 20)
        if math.isfinite(scipys := float(special.nctdtr(degrees, apart, value))):
            assert noncentral_t(degrees, apart, value) == pytest.approx(scipys, abs=1e-11)
            compared += 1
    assert compared > CASES * 0.9
    # Here scipy 1.17 has no value, which a search for a detectable difference took for too little power.
    assert noncentral_t(7.203175179447439, 7.874037416813374, 4.814421527726425) == pytest.approx(
        1 - 0.9747944355, abs=1e-9
    )


@pytest.mark.parametrize("apart", [45.0, 160.0, 1e3, 1e8, 1e150, math.inf])
@pytest.mark.parametrize("degrees", [1.0, 1.7, 6.0, 300.0])
def test_what_lies_far_apart_is_told_without_counting_steps(degrees: float, apart: float) -> None:
    """A t with such a difference is above 2.5, or below -2.5, but for a spread that does not come."""
    # P(T < 2.5) <= P(s > (apart - 9) / 2.5) + P(Z < -9); of one degree of freedom s is |Z|.
    most = 1e-18 + math.erfc((apart - 9) / 2.5 / math.sqrt(2))
    assert 0 <= noncentral_t(degrees, apart, 2.5) <= most
    assert 1 - 1e-12 - most <= noncentral_t(degrees, -apart, -2.5) <= 1
    assert noncentral_t(degrees, apart, -2.5) == 0
    assert power(apart, degrees, 2.5) == pytest.approx(1, abs=1e-12 + most)


def test_what_is_no_number_has_no_chance_and_ends() -> None:
    assert math.isnan(t_beyond(math.nan, 5))
    assert math.isnan(f_above(math.nan, 2, 7))
