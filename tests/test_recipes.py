"""Whole recipes: against the full covariance matrix, closed forms and drawing."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import chi2, multivariate_normal, norm

from pipeline.stats.leaning import PART, Prior
from pipeline.stats.recipes import (
    INTERCEPT_SD,
    LevelBelief,
    RecipeCells,
    expected_loss,
    level_belief,
    prior_covariance,
    split_noise,
    taught,
)  # fmt: skip

PRIOR = Prior()
# Five soaks, two of them split; a factor of three levels and one of two, of which the last part has none.
CELLS = RecipeCells(
    np.array([61.0, 55, 72, 80, 66, 49, 58]),
    np.array([0, 1, 1, 2, 3, 3, 4]),
    np.array([[1, 0, 0, 1, 0], [1, 0, 0, 0, 1], [0, 1, 0, 0, 1], [0, 1, 0, 1, 0], [0, 0, 1, 1, 0], [1, 0, 0, 1, 0],
              [0, 1, 0, 0, 0]], dtype=float),
    np.array([24.0, 48, 40, 30, 72, 50, 24]),
)  # fmt: skip
BEFORE = np.zeros((5, 5))
BEFORE[:3, :3] = prior_covariance((5.0, 10.0, 20.0), PRIOR)
BEFORE[3:, 3:] = prior_covariance((None, None), PRIOR)
FACTORS = (slice(0, 3), slice(3, 5))


def by_the_whole_matrix(points: int = 3000) -> tuple[np.ndarray, np.ndarray, float]:
    """The levels' means and covariance, and the variance of soaks: each part's covariance with each other written out,
    over equally likely variances of the prior.
    """
    value = CELLS.value - CELLS.value.mean()
    variances = PRIOR.degrees * PRIOR.soak_sd**2 / chi2.isf((np.arange(points) + 0.5) / points, PRIOR.degrees)
    same = CELLS.soak[:, None] == CELLS.soak
    levels = CELLS.levels @ BEFORE
    fits = []
    for variance in variances:
        luck = variance * ((1 - PART) * same + PART * np.eye(len(value))) + np.diag(CELLS.variance)
        whole = levels @ CELLS.levels.T + luck + INTERCEPT_SD**2
        gain = np.linalg.solve(whole, levels).T
        fits.append(
            (multivariate_normal(np.zeros(len(value)), whole).logpdf(value), gain @ value, BEFORE - gain @ levels)
        )
    logs = np.array([each[0] for each in fits])
    weight = np.exp(logs - logs.max()) / np.exp(logs - logs.max()).sum()
    mean = sum(w * each[1] for w, each in zip(weight, fits, strict=True))
    second = sum(w * (each[2] + np.outer(each[1], each[1])) for w, each in zip(weight, fits, strict=True))
    return mean, second - np.outer(mean, mean), float(weight @ variances)


def test_the_belief_is_that_of_the_whole_matrix() -> None:
    held = level_belief(CELLS, BEFORE, PRIOR)
    mean, covariance, variance = by_the_whole_matrix()
    assert held.mean == pytest.approx(mean, abs=0.01)
    assert held.covariance == pytest.approx(covariance, abs=0.2)
    assert held.soak_variance == pytest.approx(variance, rel=0.02)


def test_without_records_the_prior_is_left() -> None:
    none = RecipeCells(np.zeros(0), np.zeros(0, dtype=np.int64), np.zeros((0, 5)), np.zeros(0))
    held = level_belief(none, BEFORE, PRIOR)
    assert held.mean.tolist() == [0.0] * 5
    assert held.covariance == pytest.approx(BEFORE)


def test_words_differ_by_the_prior_and_near_amounts_by_less() -> None:
    def apart(*amounts: float | None) -> float:
        found = prior_covariance(amounts, PRIOR)
        return float(found[0, 0] + found[1, 1] - 2 * found[0, 1]) ** 0.5

    assert apart(None, None) == pytest.approx(12)
    assert apart(10, 11) < 3.5 < apart(10, 15) < apart(10, 20) < apart(10, 40) < 12


def test_of_two_levels_what_is_taught_is_the_closed_form() -> None:
    # The difference is N(3, 80); of a split soak it is seen with variance 150: E max(N(3, s^2), 0) - 3.
    held = LevelBelief(np.array([3.0, 0.0]), np.eye(2) * 40, 100.0)
    move = 80 / (80 + 150) ** 0.5
    exact = move * norm.pdf(3 / move) + 3 * norm.cdf(3 / move) - 3
    found = taught(held, np.array([[1.0, -1.0]]), 150.0, (slice(0, 2),))
    assert found[0] == pytest.approx(exact, rel=0.02)
    assert split_noise(100.0, 48.0) == pytest.approx(2 * (25 + 48))


def test_what_is_taught_of_many_levels_is_what_drawing_teaches() -> None:
    held, contrast, noise = level_belief(CELLS, BEFORE, PRIOR), np.array([0.0, 0, 0, 1, -1]), 150.0
    dice = np.random.default_rng(3)
    true = dice.multivariate_normal(held.mean, held.covariance, 200_000)
    seen = true @ contrast + noise**0.5 * dice.standard_normal(len(true))
    gain = held.covariance @ contrast / (contrast @ held.covariance @ contrast + noise)
    after = held.mean + (seen - held.mean @ contrast)[:, None] * gain
    better = sum(
        true[np.arange(len(true)), own.start + after[:, own].argmax(1)].mean() - held.mean[own].max() for own in FACTORS
    )
    assert taught(held, contrast[None, :], noise, FACTORS)[0] == pytest.approx(better, abs=0.06)
    assert better > 0.3


def test_the_loss_of_two_levels_is_the_closed_form() -> None:
    held = LevelBelief(np.array([4.0, 0.0]), np.eye(2) * 50, 100.0)
    exact = 10 * norm.pdf(0.4) + 4 * norm.cdf(0.4) - 4
    assert expected_loss(held, slice(0, 2)) == pytest.approx(exact, rel=0.05)
