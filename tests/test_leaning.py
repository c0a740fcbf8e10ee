"""Leaning: against a fine grid and direct integration, and how often what is said comes true."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import chi2, multivariate_normal

from pipeline.stats.leaning import Belief, Prior, SoaksAlike, WeightedEstimate, belief
from tests import calibrate_leaning

# Three soaks of one level, two of the other, cells of six containers.
OURS, THEIRS, CELL = np.array([80.0, 71, 77]), np.array([62.0, 66]), 24.0
ALIKE = (SoaksAlike(np.array([50.0, 58.0, 44.0]), np.full(3, 20.0)),)


def of_means(ours: int = 3, theirs: int = 2) -> WeightedEstimate:
    worth = 1 / ours + 1 / theirs
    return WeightedEstimate(float(OURS[:ours].mean() - THEIRS[:theirs].mean()), worth, worth, CELL * worth)


def by_integration(alike: tuple[SoaksAlike, ...], points: int = 4000) -> float:
    """The chance of more: the joint normal density of the estimate and the difference over a grid of variances with the
    inverse chi-square density, and of the other soaks with a mean as vague as can be.
    """
    prior, vague, of = Prior(), 1e4, of_means()
    variances = prior.degrees * prior.soak_sd**2 / chi2.ppf((np.arange(points) + 0.5) / points, prior.degrees)
    weights, chances = [], []
    for variance in variances:
        error = variance * of.soak_part + of.cell_variance
        log_weight = 0.0
        for group in alike:
            own = vague**2 + (variance * np.eye(len(group.value)) + np.diag(group.variance))
            log_weight += multivariate_normal(np.zeros(len(group.value)), own).logpdf(group.value)
        both = prior.difference_sd**2
        mean, spread = both / (both + error) * of.value, both * error / (both + error)
        weights.append(log_weight)
        chances.append(1 - float(multivariate_normal(mean, spread).cdf(0.0)))
    weight = np.exp(np.array(weights) - max(weights))
    return float(weight @ np.array(chances) / weight.sum())


@pytest.mark.parametrize("alike", [(), ALIKE])
def test_sixty_points_do_as_two_thousand(alike: tuple[SoaksAlike, ...]) -> None:
    coarse, fine = belief(of_means(), alike), belief(of_means(), alike, grid=2000)
    for name in ("chance_more", "expected_loss", "middle"):
        assert getattr(coarse, name) == pytest.approx(getattr(fine, name), abs=1e-6)


@pytest.mark.parametrize("alike", [(), ALIKE])
def test_the_chance_is_that_of_the_joint_density(alike: tuple[SoaksAlike, ...]) -> None:
    found = belief(of_means(), alike).chance_more
    assert found == pytest.approx(by_integration(alike), abs=5e-4)
    assert 0.7 < found < 0.95


def test_the_loss_is_what_the_leader_falls_short_of_knowing() -> None:
    # By drawing: E[max(d, 0)] - max(E d, 0).
    found = belief(of_means(), ALIKE)
    rng = np.random.default_rng(7)
    at = rng.choice(len(found.weight), 400_000, p=found.weight)
    drawn = rng.normal(found.mean[at], found.sd[at])
    assert found.expected_loss == pytest.approx(np.maximum(drawn, 0).mean() - max(drawn.mean(), 0), abs=0.02)
    assert (drawn > 0).mean() == pytest.approx(found.chance_more, abs=0.003)


def test_of_an_estimate_that_tells_nothing_the_prior_is_left() -> None:
    alone = belief(WeightedEstimate(5.0, 0.5, 0.5, 1e12), ())
    assert (alone.chance_more, alone.middle) == (pytest.approx(0.5), pytest.approx(0.0, abs=1e-6))
    # E[max(N(0, 12^2), 0)] = 12 / sqrt(2 pi)
    assert alone.expected_loss == pytest.approx(12 / (2 * np.pi) ** 0.5)


def test_a_farm_whose_soaks_differ_little_leans_more() -> None:
    steady = (SoaksAlike(np.array([60.0, 62, 61, 59, 60, 61, 60]), np.full(7, 1.0)),)
    restless = (SoaksAlike(np.array([20.0, 95, 50, 10, 80, 60, 33]), np.full(7, 1.0)),)
    chances = [belief(of_means(), alike).chance_more for alike in (steady, (), restless)]
    assert chances == sorted(chances, reverse=True)
    assert chances[0] - chances[2] > 0.1


def test_the_other_way_round_is_the_rest() -> None:
    of = of_means()
    turned: Belief = belief(WeightedEstimate(-of.value, of.soak_part, of.part_part, of.cell_variance), ALIKE)
    assert turned.chance_more == pytest.approx(1 - belief(of, ALIKE).chance_more)
    assert turned.expected_loss == pytest.approx(belief(of, ALIKE).expected_loss)


def test_what_compare_says_comes_true_where_farms_follow_the_prior() -> None:
    bins = calibrate_leaning.binned(
        list(calibrate_leaning.chances(calibrate_leaning.Design(None, 12, 3), 400, np.random.default_rng(20261128)))
    )
    for said, came, count in bins:
        # Three standard errors of a share of so many farms.
        assert abs(said - came) < 3 * (0.25 / max(count, 1)) ** 0.5 + 0.01, (said, came, count)
    assert sum(count for _, _, count in bins) == 400


def test_of_two_soaks_a_level_no_chance_above_ninety_is_said() -> None:
    design = calibrate_leaning.Design(None, 40, 2)
    said = [chance for chance, _ in calibrate_leaning.chances(design, 40, np.random.default_rng(3))]
    assert max(said) == pytest.approx(0.9)
    more = calibrate_leaning.Design(None, 40, 3)
    assert max(chance for chance, _ in calibrate_leaning.chances(more, 40, np.random.default_rng(3))) > 0.95
