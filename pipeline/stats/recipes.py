"""What each level of each factor is worth, all factors at once, and what further split soaks would teach of them.

It is the hierarchical normal model of leaning for whole recipes: no test, and what it says is never called evidence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from math import log
from typing import TYPE_CHECKING

from pipeline.stats.distributions import normal_quantile
from pipeline.stats.leaning import GRID, HIGHEST, LOWEST, PART, Prior

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

# Amounts of this ratio are about as far apart as nearer ones are alike: see prior_covariance. Our choice, no source.
RATIO = 2.0
OWN_SHARE = 0.05  # of the variance of an amount, which no amount near it shares; our choice, no source
INTERCEPT_SD = 100.0  # what a farm gives on average is left to its records; points of BE
LESSONS = 100  # equally likely outcomes of a further soak that are gone through
DRAWS = 2000  # of the levels' worth, for what taking the leader may cost


@dataclass(frozen=True)
class RecipeCells:
    """What parts of soaks gave, those of one soak one after the other.

    value: of each part; soak: the number of its soak; levels: parts by levels of all factors, 1 where the part has the
    level and else 0; variance: what its containers add to the variance of its value.
    """

    value: Floats
    soak: NDArray[np.int64]
    levels: Floats
    variance: Floats


@dataclass(frozen=True)
class LevelBelief:
    """What is held of the levels: how far each lies from its factor's middle, and their covariance; soak_variance: what
    the variance between soaks is held to be. All in the unit of the measure, or its square.
    """

    mean: Floats
    covariance: Floats
    soak_variance: float

    def of(self, contrast: Floats) -> tuple[float, float]:
        """Return the mean and the standard deviation of a weighted sum of levels."""
        return float(contrast @ self.mean), float(contrast @ self.covariance @ contrast) ** 0.5


def prior_covariance(amounts: Sequence[float | None], prior: Prior) -> Floats:
    """Return the covariance of the levels of one factor before the records are seen.

    Two levels differ by N(0, difference_sd^2). Amounts near each other differ by less, as of a smooth curve: their
    correlation is (1 - OWN_SHARE) exp(-(log ratio / log RATIO)^2 / 2). amounts: of each level, None for words and for
    nothing.
    """
    import numpy as np

    alike = np.eye(len(amounts))
    for at, one in enumerate(amounts):
        for other_at, other in enumerate(amounts):
            if at != other_at and one and other:
                alike[at, other_at] = (1 - OWN_SHARE) * np.exp(-((log(one / other) / log(RATIO)) ** 2) / 2)
    found: Floats = prior.difference_sd**2 / 2 * alike
    return found


def level_belief(cells: RecipeCells, before: Floats, prior: Prior) -> LevelBelief:
    """Return what is held of the levels after these parts of soaks. before: the levels' covariance beforehand.

    A part gives an intercept, the sum of its levels, and the luck of its soak, of which the share PART is its own;
    given the soaks' variance all is normal and conjugate (Lindley & Smith 1972, J. R. Stat. Soc. B 34:1-41). That
    variance is integrated on a grid: scaled inverse chi-square times the likelihood of all parts. Levels that always
    came together share what they gave; of a level without a record the prior is held.
    Checked against: the whole covariance matrix, inverted (tests/test_recipes.py).
    """
    import numpy as np

    log_sd = np.log(prior.soak_sd) + np.linspace(np.log(LOWEST), np.log(HIGHEST), GRID)
    variance = np.exp(2 * log_sd)
    start: Floats = -prior.degrees / 2 * (np.log(variance) + prior.soak_sd**2 / variance)
    fits = _given(cells, before, variance)
    weight = np.exp(start + fits.likelihood - (start + fits.likelihood).max())
    weight /= weight.sum()
    mean = weight @ fits.mean
    apart = fits.mean - mean
    covariance = np.tensordot(weight, fits.covariance, 1) + apart.T @ (weight[:, None] * apart)
    return LevelBelief(mean, covariance, float(weight @ variance))


@dataclass(frozen=True)
class _Fits:
    """By soak variance: the levels' means and covariances, and the log of the likelihood of the parts."""

    mean: Floats
    covariance: Floats
    likelihood: Floats


def _given(cells: RecipeCells, before: Floats, variance: Floats) -> _Fits:
    """The fits, by generalised least squares with the prior as further records; soaks' covariances are inverted by
    Sherman & Morrison (1950), for all variances at once.
    """
    import numpy as np

    size = len(before)
    prior = np.zeros((size + 1, size + 1))
    prior[:size, :size] = np.linalg.inv(before)
    prior[size, size] = INTERCEPT_SD**-2
    if not len(cells.value):
        covariance = np.broadcast_to(before, (len(variance), size, size))
        return _Fits(np.zeros((len(variance), size)), covariance, np.zeros(len(variance)))
    value = (cells.value - cells.value.mean())[:, None]
    design = np.hstack([cells.levels, np.ones_like(value), value])
    starts = np.flatnonzero(np.diff(cells.soak, prepend=-1))
    own = 1 / (PART * variance[:, None] + cells.variance)
    shared = (1 - PART) * variance[:, None]
    grown = 1 + shared * np.add.reduceat(own, starts, axis=1)
    weighed = own[:, :, None] * design
    sums = np.add.reduceat(weighed, starts, axis=1)
    moments = design.T @ weighed - sums.transpose(0, 2, 1) @ ((shared / grown)[:, :, None] * sums)
    precision, pull = moments[:, :-1, :-1] + prior, moments[:, :-1, -1]
    covariance = np.linalg.inv(precision)
    mean = (covariance @ pull[:, :, None])[:, :, 0]
    left = moments[:, -1, -1] - (pull * mean).sum(1)
    spread = np.log(grown).sum(1) - np.log(own).sum(1) + np.linalg.slogdet(precision)[1]
    return _Fits(mean[:, :size], covariance[:, :size, :size], -(left + spread) / 2)


def split_noise(soak_variance: float, part_variance: float) -> float:
    """Return the variance of the difference of two parts of one soak. part_variance: what containers add to a part."""
    return 2 * (PART * soak_variance + part_variance)


def taught(held: LevelBelief, contrasts: Floats, noise: float, factors: Sequence[slice]) -> Floats:
    """Return the expected value of measuring each contrast once: by how much the best recipe is expected to be better.

    contrasts: one row each, of weights of levels; noise: the variance of the measured value; factors: where the levels
    of each factor lie. Afterwards the means are the means plus (covariance contrast) / sd times a standard normal
    (Raiffa & Schlaifer 1961, Applied Statistical Decision Theory, ch. 5; of many levels Frazier, Powell & Dayanik 2009,
    INFORMS J. Comput. 21:599-613), gone through at LESSONS equally likely values; the leader of each factor is taken
    then. The soaks' variance counts as known. In the unit of the measure.
    Checked against: the closed form for two levels (tests/test_recipes.py).
    """
    import numpy as np

    moves = contrasts @ held.covariance
    sd = np.sqrt((moves * contrasts).sum(1) + noise)
    normal = np.array([normal_quantile((lesson + 0.5) / LESSONS) for lesson in range(LESSONS)])
    after = held.mean + (moves / sd[:, None])[:, None, :] * normal[:, None]
    found = np.zeros(len(contrasts))
    for levels in factors:
        found += after[:, :, levels].max(2).mean(1) - held.mean[levels].max()
    return np.maximum(found, 0.0)


def expected_loss(held: LevelBelief, levels: slice) -> float:
    """Return what taking the leader of a factor is expected to cost against knowing its best level; by fixed draws."""
    import numpy as np

    values, vectors = np.linalg.eigh(held.covariance[levels, levels])
    moved = _draws(len(values)) @ (vectors * np.sqrt(np.maximum(values, 0.0))).T
    return float((held.mean[levels] + moved).max(1).mean() - held.mean[levels].max())


@cache
def _draws(levels: int) -> Floats:
    """Standard normals, DRAWS of each level, each with its mirror image; always the same."""
    import numpy as np

    half = np.random.default_rng(1).standard_normal((DRAWS // 2, levels))
    return np.vstack([half, -half])
