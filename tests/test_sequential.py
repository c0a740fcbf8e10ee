"""E-values: against direct integration, their scale, and how often they speak up where nothing differs."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import dblquad, quad

from pipeline.stats.sequential import ENOUGH, e_values

CONTRASTS = [12.0, 3.0, 8.5, -2.0]


def by_integration(values: list[float], precision: float) -> float:
    """The ratio of both likelihoods, each integrated over the spread s with prior 1/s; the effect d over its bet."""
    x = np.array(values)

    def likelihood(d: float, s: float) -> float:
        return float(np.exp(-((x / s - d) ** 2).sum() / 2)) * s ** -(len(x) + 1)

    def bet(d: float) -> float:
        return float(np.sqrt(precision / (2 * np.pi)) * np.exp(-precision * d**2 / 2))

    above, _ = dblquad(lambda d, s: likelihood(d, s) * bet(d), 0.05, 2000, -12, 12, epsabs=0, epsrel=1e-9)
    below, _ = quad(lambda s: likelihood(0.0, s), 0.05, 2000, epsabs=0, epsrel=1e-11, limit=500)
    return above / below


@pytest.mark.parametrize("precision", [0.5, 1.0])
def test_an_e_value_is_the_ratio_of_the_integrated_likelihoods(precision: float) -> None:
    found = e_values(CONTRASTS, precision)
    assert found[0] == pytest.approx(1.0, abs=1e-12)
    assert found[2:] == pytest.approx([by_integration(CONTRASTS[:count], precision) for count in (3, 4)], rel=1e-5)


def test_the_unit_and_the_sign_do_not_matter() -> None:
    assert e_values([-1000 * each for each in CONTRASTS]) == pytest.approx(e_values(CONTRASTS), rel=1e-12)
    assert e_values([0.0, 0.0]) == [1.0, 1.0]


def test_eighteen_looks_at_no_difference_speak_up_in_few_farms() -> None:
    rng = np.random.default_rng(20261128)
    spoke = sum(max(e_values(rng.normal(0, 15, 18).tolist())) >= ENOUGH for _ in range(4000)) / 4000
    assert spoke <= 0.05
    # It is no test that never speaks: a difference of two standard deviations is told within ten soaks.
    told = sum(max(e_values(rng.normal(20, 10, 10).tolist())) >= ENOUGH for _ in range(500)) / 500
    assert told >= 0.9
