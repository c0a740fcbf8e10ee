"""E-values: against another implementation and integration, and how often they speak up where nothing differs."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from golden_records import GOLDEN
from scipy.integrate import dblquad, quad

from pipeline.stats.estimate import t_critical
from pipeline.stats.sequential import anytime_critical, e_value

CONTRASTS = [12.0, 3.0, 8.5, -2.0]
SAVVI: dict[str, Any] = json.loads((GOLDEN / "savvi.json").read_text(encoding="utf-8"))


def of_one_sample(values: list[float], bet: float) -> float:
    x = np.array(values)
    t = float(x.mean() / (x.std(ddof=1) / len(x) ** 0.5))
    return e_value(t, len(x) - 1, len(x), bet)


def by_integration(values: list[float], bet: float) -> float:
    """The ratio of both likelihoods, each integrated over the spread s with prior 1/s; the effect d over its bet."""
    x = np.array(values)

    def likelihood(d: float, s: float) -> float:
        return float(np.exp(-((x / s - d) ** 2).sum() / 2)) * s ** -(len(x) + 1)

    def density(d: float) -> float:
        return float(np.exp(-(d**2) / (2 * bet)) / np.sqrt(2 * np.pi * bet))

    above, _ = dblquad(lambda d, s: likelihood(d, s) * density(d), 0.05, 2000, -15, 15, epsabs=0, epsrel=1e-9)
    below, _ = quad(lambda s: likelihood(0.0, s), 0.05, 2000, epsabs=0, epsrel=1e-11, limit=500)
    return above / below


@pytest.mark.parametrize("known", SAVVI["e"])
def test_e_values_are_those_of_another_implementation(known: dict[str, float]) -> None:
    assert e_value(known["t"], known["degrees"], known["z2"], 1 / known["phi"]) == pytest.approx(known["e"], rel=1e-9)


@pytest.mark.parametrize("known", SAVVI["radius"])
def test_limits_are_those_of_another_implementation(known: dict[str, float]) -> None:
    found = anytime_critical(known["degrees"], known["z2"], known["alpha"], 1 / known["phi"])
    assert found == pytest.approx(known["radius"], rel=1e-9)
    assert e_value(found, known["degrees"], known["z2"], 1 / known["phi"]) == pytest.approx(1 / known["alpha"])


@pytest.mark.parametrize("bet", [1.0, 2.0])
def test_an_e_value_is_the_ratio_of_the_integrated_likelihoods(bet: float) -> None:
    for count in (3, 4):
        assert of_one_sample(CONTRASTS[:count], bet) == pytest.approx(by_integration(CONTRASTS[:count], bet), rel=1e-5)


def test_too_few_batches_have_no_limits_and_many_come_near_students() -> None:
    assert anytime_critical(1, 1, 0.05) == float("inf")
    assert t_critical(398) < anytime_critical(398, 200, 0.05) < 2 * t_critical(398)


def test_eighteen_looks_at_no_difference_speak_up_in_few_farms() -> None:
    rng = np.random.default_rng(20261128)
    spoke = np.zeros(4000, dtype=bool)
    x = rng.normal(0, 15, (4000, 20))
    for count in range(3, 21):
        t = x[:, :count].mean(axis=1) / (x[:, :count].std(axis=1, ddof=1) / count**0.5)
        spoke |= np.abs(t) > anytime_critical(count - 1, count, 0.05)
    assert spoke.mean() <= 0.05
    # It is no test that never speaks: a difference of two standard deviations is shown within eight soaks.
    x = rng.normal(20, 10, (500, 8))
    t = x.mean(axis=1) / (x.std(axis=1, ddof=1) / 8**0.5)
    assert (np.abs(t) > anytime_critical(7, 8, 0.05)).mean() >= 0.75
