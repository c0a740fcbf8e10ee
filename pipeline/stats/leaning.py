"""How the records lean below a verdict: the chance that one level gives more than another, and what taking the leader
is expected to cost. A hierarchical normal model; it is no test, and what it says is never called evidence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Whole = NDArray[np.int64]

# The spread of soaks before anything is known of the farm: scaled inverse chi-square on its square. Our choice: print
# gives 10 to 28 points of BE for the spread of bags within a paper.
PRIOR_DEGREES, PRIOR_SOAK_SD = 4.0, 12.5
# Levels are exchangeable about a mean of their own, so that two differ by N(0, 12^2) points of BE. Our choice, of the
# widths that were simulated (see lean).
PRIOR_LEVEL_SD = 8.5
# Of the variance of soaks so much is that of parts of one soak, which a split does not share. Our choice, no source.
PART = 0.25
# Soak spreads that are integrated over, evenly on the log scale: from a twentieth of the prior's to forty times it.
GRID, LOWEST, HIGHEST = 60, 0.05, 40.0


@dataclass(frozen=True)
class Prior:
    """What is held before the records are seen, in the unit of the measure: the scale of the soaks' standard deviation
    with its degrees of freedom, and the standard deviation of levels about their mean.
    """

    soak_sd: float = PRIOR_SOAK_SD
    degrees: float = PRIOR_DEGREES
    level_sd: float = PRIOR_LEVEL_SD

    @property
    def difference_sd(self) -> float:
        """The standard deviation of the difference of two levels."""
        return float(2**0.5 * self.level_sd)


@dataclass(frozen=True)
class LevelCells:
    """The cells of one comparison, one entry each: soak and level (whole numbers from 0), the cell's value, and the
    variance that its containers give that value.
    """

    soak: Whole
    level: Whole
    value: Floats
    variance: Floats


@dataclass(frozen=True)
class SoaksAlike:
    """Soaks of one recipe, which tell how much soaks differ here: a value each, and its containers' variance."""

    value: Floats
    variance: Floats


@dataclass(frozen=True)
class WeightedEstimate:
    """A difference of two levels as a weighted sum of cell values. soak_part: the sum over soaks of their squared total
    weights; part_part: the sum over cells of their squared weights; cell_variance: what containers add to its variance.
    """

    value: float
    soak_part: float
    part_part: float
    cell_variance: float


@dataclass(frozen=True)
class PairLeaning:
    """How two levels compare. chance_more: the chance (0-1) that the first gives more; expected_loss: what taking the
    leader is expected to cost against knowing which is better, in the unit of the measure; soak_sd: the posterior mean
    of the soaks' standard deviation.
    """

    chance_more: float
    expected_loss: float
    soak_sd: float


@dataclass(frozen=True)
class Leaning:
    """How levels compare, by number. chance_more[a, b]: the chance that a gives more than b (half on the diagonal);
    expected_loss[a, b]: what taking a is expected to cost against taking the better of a and b, in the measure's unit;
    difference[a, b]: the mean of a less b. soak_sd: the posterior mean of the soaks' standard deviation.
    """

    chance_more: Floats
    expected_loss: Floats
    difference: Floats
    soak_sd: float


def lean_estimate(
    estimate: WeightedEstimate, alike: Sequence[SoaksAlike], prior: Prior | None = None, grid: int = GRID
) -> PairLeaning:
    """Return how two levels compare, by an estimate of their difference.

    The same model as of lean: the difference is N(0, 2 level_sd^2); given sigma the estimate is normal about it with
    variance sigma^2 ((1 - PART) soak_part + PART part_part) + cell_variance; sigma by its prior and the restricted
    likelihood of all soaks in `alike`, the pair's own among them. PART of a soak's variance is that of its parts, so
    that a split does not show all.
    Checked against: lean, where both apply (tests/test_leaning.py); tests/calibrate_leaning.py.
    """
    import numpy as np
    from scipy.special import ndtr

    held = prior or Prior()
    log_sd, weight = _spreads(alike, held, grid)
    weight = np.exp(weight - weight.max())
    weight /= weight.sum()
    variance = np.exp(2 * log_sd) * ((1 - PART) * estimate.soak_part + PART * estimate.part_part)
    precision = 1 / (variance + estimate.cell_variance)
    spread = 1 / np.sqrt(precision + 1 / held.difference_sd**2)
    middle = spread**2 * precision * estimate.value
    z = middle / spread
    density = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
    chance_more = float(weight @ ndtr(z))
    below = float(weight @ (spread * density - middle * ndtr(-z)))
    above = float(weight @ (spread * density + middle * ndtr(z)))
    return PairLeaning(chance_more, below if chance_more >= 0.5 else above, float(weight @ np.exp(log_sd)))


def _spreads(alike: Sequence[SoaksAlike], prior: Prior, grid: int) -> tuple[Floats, Floats]:
    """The log of each soak spread of the grid, and the log of its weight: prior times restricted likelihood."""
    import numpy as np

    log_sd = np.log(prior.soak_sd) + np.linspace(np.log(LOWEST), np.log(HIGHEST), grid)
    variance = np.exp(2 * log_sd)
    weight: Floats = -prior.degrees / 2 * (np.log(variance) + prior.soak_sd**2 / variance)
    for group in alike:
        weight = weight + _restricted(group, variance)
    return log_sd, weight


def lean(
    cells: LevelCells, levels: int, alike: Sequence[SoaksAlike] = (), prior: Prior | None = None, grid: int = GRID
) -> Leaning:
    """Return how so many levels compare.

    y = mu(level) + a(soak) + e; e has the cells' own variances; a ~ N(0, sigma^2); mu ~ N(m, level_sd^2), m unknown;
    sigma^2 ~ scaled inverse chi-square, times the restricted likelihood of the soaks in `alike`. Given sigma all is
    normal and conjugate (Lindley & Smith 1972, J. R. Stat. Soc. B 34:1-41); sigma is integrated on a grid. `alike`
    must hold none of the cells' own soaks. A level without cells has its prior.
    Not for shares near 0 or 100 %, whose errors are not normal. Where farms differ as the prior says, "97 %" comes
    true in 97-99 of 100 with 2 or 3 soaks a level; where effects are half as large or soaks twice as unlike, in 87-96
    (tests/calibrate_leaning.py).
    Checked against: a grid of 2,000 points (1e-6), direct integration of the joint density (tests/test_leaning.py).
    """
    import numpy as np

    held = prior or Prior()
    log_sd, weight = _spreads(alike, held, grid)
    variance = np.exp(2 * log_sd)
    mean, covariance, likelihood = _given_spread(cells, levels, variance, held.level_sd)
    weight = weight + likelihood
    weight = np.exp(weight - weight.max())
    weight /= weight.sum()
    return _compared(mean, covariance, weight, float(weight @ np.exp(log_sd)))


def _restricted(group: SoaksAlike, variance: Floats) -> Floats:
    """The log of the restricted likelihood of soaks with one unknown mean, for each variance between soaks."""
    import numpy as np

    precision = 1 / (variance[:, None] + group.variance[None, :])
    total = precision.sum(1)
    middle = (precision * group.value).sum(1) / total
    squares = (precision * (group.value - middle[:, None]) ** 2).sum(1)
    found: Floats = (np.log(precision).sum(1) - np.log(total) - squares) / 2
    return found


def _given_spread(cells: LevelCells, levels: int, variance: Floats, level_sd: float) -> tuple[Floats, Floats, Floats]:
    """The posterior means (grid, levels) and covariances (grid, levels, levels) of the levels for each variance between
    soaks, and the log of that variance's likelihood.
    """
    import numpy as np

    same_soak = (cells.soak[:, None] == cells.soak[None, :]).astype(float)
    spread = variance[:, None, None] * same_soak + np.diag(cells.variance)
    of_level = (cells.level[:, None] == np.arange(levels)[None, :]).astype(float)
    # From a value of their own kind: large values cost no digits.
    value = cells.value - cells.value.mean()
    solved = np.linalg.solve(spread, np.column_stack([of_level, value])[None, :, :])
    seen, scaled = of_level.T @ solved[:, :, :levels], (of_level.T @ solved[:, :, levels:])[:, :, 0]
    between = (np.eye(levels) - 1 / levels) / level_sd**2
    covariance = np.linalg.inv(seen + between)
    mean = (covariance @ scaled[:, :, None])[:, :, 0]
    squares = solved[:, :, levels] @ value - (scaled * mean).sum(1)
    sizes = np.linalg.slogdet(spread)[1] - np.linalg.slogdet(covariance)[1]
    return mean, covariance, -(sizes + squares) / 2


def _compared(mean: Floats, covariance: Floats, weight: Floats, soak_sd: float) -> Leaning:
    import numpy as np
    from scipy.special import ndtr

    difference = mean[:, :, None] - mean[:, None, :]
    own = np.diagonal(covariance, axis1=1, axis2=2)
    spread = np.sqrt(np.maximum(own[:, :, None] + own[:, None, :] - 2 * covariance, 0))
    levels = mean.shape[1]
    spread[:, np.arange(levels), np.arange(levels)] = 1.0
    z = difference / spread
    density = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
    loss = spread * density - difference * ndtr(-z)
    loss[:, np.arange(levels), np.arange(levels)] = 0.0
    chance_more, expected_loss, middle = (np.tensordot(weight, each, axes=1) for each in (ndtr(z), loss, difference))
    return Leaning(chance_more, expected_loss, middle, soak_sd)
