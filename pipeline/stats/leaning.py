"""How the records lean below an answer: a hierarchical normal model of one difference.

It is no test, and what it says is never called evidence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

# The spread of soaks before anything is known of the farm: scaled inverse chi-square on its square. Our choice: print
# gives 10 to 28 points of BE for the spread of bags within a paper.
PRIOR_DEGREES, PRIOR_SOAK_SD = 4.0, 12.5
# Two levels differ by N(0, 12^2) points of BE. Our choice, of the widths that were simulated (DEVELOPERS.md).
PRIOR_DIFFERENCE_SD = 12.0
# Of the variance of soaks so much is that of parts of one soak, which a split does not share. Our choice, no source.
PART = 0.25
# Soak spreads that are integrated over, evenly on the log scale: from a twentieth of the prior's to forty times it.
GRID, LOWEST, HIGHEST = 60, 0.05, 40.0


@dataclass(frozen=True)
class Prior:
    """What is held before the records are seen, in the unit of the measure: the scale of the soaks' standard deviation
    with its degrees of freedom, and the standard deviation of the difference of two levels.
    """

    soak_sd: float = PRIOR_SOAK_SD
    degrees: float = PRIOR_DEGREES
    difference_sd: float = PRIOR_DIFFERENCE_SD


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
class SoakSpreads:
    """What is held of the spread of soaks, one entry per spread of the grid: its weight (they add up to 1), and it."""

    weight: Floats
    soak_sd: Floats


@dataclass(frozen=True)
class Belief:
    """What is held of a difference, one entry per soak spread of the grid: its weight (they add up to 1), the spread,
    and the mean and standard deviation of the difference where that is the spread.
    """

    weight: Floats
    soak_sd: Floats
    mean: Floats
    sd: Floats

    @property
    def middle(self) -> float:
        """The mean of the difference."""
        return float(self.weight @ self.mean)

    @property
    def chance_more(self) -> float:
        """The chance (0-1) that the first level gives more."""
        from pipeline.stats.normal import normal_chances

        return float(self.weight @ normal_chances(self.mean / self.sd))

    @property
    def expected_loss(self) -> float:
        """What taking the leader is expected to cost against knowing which is better, in the unit of the measure."""
        return float(self.weight @ _above_nothing(self.mean, self.sd)) - max(self.middle, 0.0)


def belief(
    estimate: WeightedEstimate, alike: Sequence[SoaksAlike], prior: Prior | None = None, grid: int = GRID
) -> Belief:
    """Return what is held of the difference of two levels.

    The difference is N(0, difference_sd^2); given sigma the estimate is normal about it with variance
    sigma^2 ((1 - PART) soak_part + PART part_part) + cell_variance; sigma^2 is scaled inverse chi-square, times the
    restricted likelihood of all soaks in `alike`, the pair's own among them. Given sigma all is normal and conjugate
    (Lindley & Smith 1972, J. R. Stat. Soc. B 34:1-41); sigma is integrated on a grid.
    Not for shares near 0 or 100 %, whose errors are not normal.
    Checked against: a grid of 2,000 points (1e-6), direct integration (tests/test_leaning.py); what is said against
    what comes true in tests/calibrate_leaning.py.
    """
    return believed(estimate, soak_spreads(alike, prior, grid), prior)


def soak_spreads(alike: Sequence[SoaksAlike], prior: Prior | None = None, grid: int = GRID) -> SoakSpreads:
    """Return what is held of the spread of soaks: one and the same for all differences of a farm."""
    import numpy as np

    log_sd, weight = _spreads(alike, prior or Prior(), grid)
    weight = np.exp(weight - weight.max())
    return SoakSpreads(weight / weight.sum(), np.exp(log_sd))


def believed(estimate: WeightedEstimate, spreads: SoakSpreads, prior: Prior | None = None) -> Belief:
    """Return what is held of the difference of two levels where this is held of the spread of soaks: see belief."""
    import numpy as np

    held = prior or Prior()
    between = spreads.soak_sd**2 * ((1 - PART) * estimate.soak_part + PART * estimate.part_part)
    variance = between + estimate.cell_variance
    sd = 1 / np.sqrt(1 / variance + 1 / held.difference_sd**2)
    return Belief(spreads.weight, spreads.soak_sd, sd**2 / variance * estimate.value, sd)


def _above_nothing(mean: Floats, sd: Floats) -> Floats:
    """E[max(X, 0)] of normal X."""
    import numpy as np

    from pipeline.stats.normal import normal_chances

    z = mean / sd
    found: Floats = sd * np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi) + mean * normal_chances(z)
    return found


def _spreads(alike: Sequence[SoaksAlike], prior: Prior, grid: int) -> tuple[Floats, Floats]:
    """The log of each soak spread of the grid, and the log of its weight: prior times restricted likelihood."""
    import numpy as np

    log_sd = np.log(prior.soak_sd) + np.linspace(np.log(LOWEST), np.log(HIGHEST), grid)
    variance = np.exp(2 * log_sd)
    weight: Floats = -prior.degrees / 2 * (np.log(variance) + prior.soak_sd**2 / variance)
    for group in alike:
        weight = weight + _restricted(group, variance)
    return log_sd, weight


def _restricted(group: SoaksAlike, variance: Floats) -> Floats:
    """The log of the restricted likelihood of soaks with one unknown mean, for each variance between soaks."""
    import numpy as np

    precision = 1 / (variance[:, None] + group.variance[None, :])
    total = precision.sum(1)
    middle = (precision * group.value).sum(1) / total
    squares = (precision * (group.value - middle[:, None]) ** 2).sum(1)
    found: Floats = (np.log(precision).sum(1) - np.log(total) - squares) / 2
    return found
