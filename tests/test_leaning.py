"""Leaning: against a fine grid and direct integration, and how often what is said comes true."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import chi2, multivariate_normal

from pipeline.stats.leaning import LevelCells, Prior, SoaksAlike, WeightedEstimate, lean, lean_estimate
from tests import calibrate_leaning

# Two levels: two soaks of the first, one of the second, and one that holds both.
SPLIT = LevelCells(
    np.array([0, 1, 2, 3, 3]), np.array([0, 0, 1, 0, 1]), np.array([80.0, 71.0, 62.0, 86.0, 75.0]), np.full(5, 60.0)
)
ALIKE = (SoaksAlike(np.array([50.0, 58.0, 44.0]), np.full(3, 20.0)),)


def by_integration(cells: LevelCells, prior: Prior, alike: tuple[SoaksAlike, ...], points: int = 4000) -> float:
    """The chance that level 0 gives more than level 1: the joint normal density of the cells and the difference, with a
    mean as vague as can be, over a grid of variances with the inverse chi-square density.
    """
    vague = 1e4
    variances = prior.degrees * prior.soak_sd**2 / chi2.ppf((np.arange(points) + 0.5) / points, prior.degrees)
    of_level = (cells.level[:, None] == np.arange(2)).astype(float)
    of_soak = (cells.soak[:, None] == np.unique(cells.soak)).astype(float)
    levels = vague**2 + prior.level_sd**2 * np.eye(2)
    contrast = np.array([1.0, -1.0])
    weights, chances = [], []
    for variance in variances:
        whole = of_level @ levels @ of_level.T + variance * of_soak @ of_soak.T + np.diag(cells.variance)
        log_weight = multivariate_normal(np.zeros(len(cells.value)), whole).logpdf(cells.value)
        for group in alike:
            own = vague**2 + (variance * np.eye(len(group.value)) + np.diag(group.variance))
            log_weight += multivariate_normal(np.zeros(len(group.value)), own).logpdf(group.value)
        across = of_level @ levels @ contrast
        solved = np.linalg.solve(whole, np.column_stack([cells.value, across]))
        mean = across @ solved[:, 0]
        spread = contrast @ levels @ contrast - across @ solved[:, 1]
        weights.append(log_weight)
        chances.append(1 - float(multivariate_normal(mean, spread).cdf(0.0)))
    weight = np.exp(np.array(weights) - max(weights))
    return float(weight @ np.array(chances) / weight.sum())


@pytest.mark.parametrize("alike", [(), ALIKE])
def test_sixty_points_do_as_two_thousand(alike: tuple[SoaksAlike, ...]) -> None:
    coarse, fine = lean(SPLIT, 2, alike), lean(SPLIT, 2, alike, grid=2000)
    assert coarse.chance_more == pytest.approx(fine.chance_more, abs=1e-6)
    assert coarse.expected_loss == pytest.approx(fine.expected_loss, abs=1e-6)


@pytest.mark.parametrize("alike", [(), ALIKE])
def test_the_chance_is_that_of_the_joint_density(alike: tuple[SoaksAlike, ...]) -> None:
    found = lean(SPLIT, 2, alike).chance_more[0, 1]
    assert found == pytest.approx(by_integration(SPLIT, Prior(), alike), abs=5e-4)
    assert 0.7 < found < 0.95


def test_chances_add_up_and_losses_differ_by_the_difference() -> None:
    cells = LevelCells(np.arange(5), np.array([0, 0, 1, 1, 2]), np.array([80.0, 70, 60, 66, 75]), np.full(5, 16.0))
    found = lean(cells, 4)  # the fourth level has no soak yet
    assert found.chance_more + found.chance_more.T == pytest.approx(np.ones((4, 4)))
    assert found.expected_loss.T - found.expected_loss == pytest.approx(found.difference)
    assert np.all(found.expected_loss >= 0)
    assert 0.2 < found.chance_more[3, 1] < 0.8


def test_a_farm_whose_soaks_differ_little_leans_more() -> None:
    steady = (SoaksAlike(np.array([60.0, 62, 61, 59, 60, 61, 60]), np.full(7, 1.0)),)
    restless = (SoaksAlike(np.array([20.0, 95, 50, 10, 80, 60, 33]), np.full(7, 1.0)),)
    cells = LevelCells(np.arange(4), np.array([0, 0, 1, 1]), np.array([70.0, 64, 52, 60]), np.full(4, 9.0))
    chances = [lean(cells, 2, alike).chance_more[0, 1] for alike in (steady, (), restless)]
    assert chances == sorted(chances, reverse=True)
    assert chances[0] - chances[2] > 0.1


@pytest.mark.parametrize(("ours", "theirs"), [(2, 2), (3, 5)])
def test_an_estimate_leans_as_its_cells_do_where_the_spread_is_known(ours: int, theirs: int) -> None:
    known = Prior(degrees=1e7)
    values = np.random.default_rng(ours).normal(60, 12, ours + theirs)
    level = np.repeat([0, 1], [ours, theirs])
    cells = LevelCells(np.arange(ours + theirs), level, values, np.full(ours + theirs, 25.0))
    worth = 1 / ours + 1 / theirs
    of = WeightedEstimate(float(values[:ours].mean() - values[ours:].mean()), worth, worth, 25 * worth)
    whole, found = lean(cells, 2, (), known), lean_estimate(of, (), known)
    assert found.chance_more == pytest.approx(whole.chance_more[0, 1], abs=1e-12)
    leader = 0 if found.chance_more > 0.5 else 1
    assert found.expected_loss == pytest.approx(whole.expected_loss[leader, 1 - leader], abs=1e-12)


def test_what_compare_says_comes_true_where_farms_follow_the_prior() -> None:
    bins = calibrate_leaning.binned(
        list(calibrate_leaning.chances(calibrate_leaning.Design(None, 12, 3), 400, np.random.default_rng(20261128)))
    )
    for said, came, count in bins:
        # Three standard errors of a share of so many farms.
        assert abs(said - came) < 3 * (0.25 / max(count, 1)) ** 0.5 + 0.01, (said, came, count)
    assert sum(count for _, _, count in bins) == 400
