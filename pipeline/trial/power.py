"""How likely it is that a trial finds a true difference."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.multiple import Family
from pipeline.stats.power import POWER, bisected, minimum_detectable, one_sided
from pipeline.stats.power import power as t_power

Floats = NDArray[np.float64]

# Up to so many soaks a level power is simulated with the test that will judge it: for few, the formula promises more.
SIMULATED_UP_TO = 8
SIMULATIONS = 20_000
NODES = 33  # of the limits of simulated trials
ONE_PAIR = Family(1)
SEED = 20260601  # any number


@dataclass(frozen=True)
class PlannedTest:
    """The planned test of one difference. error: the true standard error of the difference; degrees: of freedom; soaks:
    in each level, or split ones; split: are the levels compared within soaks? together: the pairs judged
    together, as in the comparison that will judge them.
    """

    error: float
    degrees: float
    soaks: int
    split: bool
    together: Family = ONE_PAIR

    @property
    def simulated(self) -> bool:
        """Whether its power is simulated rather than taken from the formula."""
        return self.soaks <= SIMULATED_UP_TO


def between_test(
    soak_sd: float, container_sd: float, containers: float, soaks: int, together: Family = ONE_PAIR
) -> PlannedTest:
    """The test of two levels with so many soaks each, of so many containers: SE^2 = 2 (sB^2 + s^2/n) / b, 2(b-1)
    degrees of freedom.
    """
    error = sqrt(2 * (soak_sd**2 + container_sd**2 / containers) / soaks)
    return PlannedTest(error, 2 * (soaks - 1), soaks, False, together)


def split_test(
    between_parts_sd: float, container_sd: float, containers: float, soaks: int, together: Family = ONE_PAIR
) -> PlannedTest:
    """The test of two levels within so many split soaks, each part of so many containers:
    SE^2 = (sInt^2 + 2 s^2/k) / b, b-1 degrees of freedom. between_parts_sd is sInt: the SD of the
    difference of two parts of one soak beyond what their containers make.
    """
    error = sqrt((between_parts_sd**2 + 2 * container_sd**2 / containers) / soaks)
    return PlannedTest(error, soaks - 1, soaks, True, together)


def formula_power(difference: float, test: PlannedTest) -> float:
    """Return how likely (0-1) Student's t finds this difference, on either side. Checked against: R power.t.test."""
    return t_power(abs(difference) / test.error, test.degrees, _limit(test))


def _limit(test: PlannedTest) -> float:
    """Return from how many standard errors on a difference is found, at the test's share of false alarms."""
    return test.together.critical(test.degrees)


def power(difference: float, test: PlannedTest) -> float:
    """Return how likely (0-1) the comparison says which of the two levels gives more, where they truly differ so far.

    Simulated for few soaks, else by the formula.
    """
    if not test.simulated:
        return formula_power(difference, test)
    estimate, error, limit = _simulated(test.soaks, test.split, test.together)
    return float((np.abs(estimate + difference / test.error) > limit * error).mean())


def power_worth(difference: float, smallest_effect: float, test: PlannedTest) -> float:
    """Return how likely (0-1) the comparison also says that the difference is worth acting on: that its whole interval
    lies beyond the smallest effect.
    """
    beyond = abs(difference) - smallest_effect
    if not test.simulated:
        return one_sided(beyond / test.error, test.degrees, _limit(test))
    estimate, error, limit = _simulated(test.soaks, test.split, test.together)
    return float((estimate + beyond / test.error >= limit * error).mean())


@cache
def _simulated(soaks: int, split: bool, together: Family) -> tuple[Floats, Floats, Floats]:
    """Trials without a true difference and with a true standard error of 1: what each estimates, its own standard
    error, and the limit its test takes. Tests as in the comparisons, draws always the same.
    """
    rng = np.random.default_rng(SEED)
    if split:
        values = rng.standard_normal((SIMULATIONS, soaks)) * sqrt(soaks)
        error = values.std(axis=1, ddof=1) / sqrt(soaks)
        return values.mean(axis=1), error, np.full(SIMULATIONS, together.critical(soaks - 1))
    values = rng.standard_normal((SIMULATIONS, 2, soaks)) * sqrt(soaks / 2)
    parts = values.var(axis=2, ddof=1) / soaks
    # With as many soaks on both sides Welch's degrees are never more than Bell and McCaffrey's, 2 (soaks - 1).
    degrees = parts.sum(axis=1) ** 2 * (soaks - 1) / (parts**2).sum(axis=1)
    means = values.mean(axis=2)
    return means[:, 0] - means[:, 1], np.sqrt(parts.sum(axis=1)), _limits(degrees, soaks, together)


def _limits(degrees: Floats, soaks: int, together: Family) -> Floats:
    """The limit at each number of degrees, from soaks - 1 to twice that, between NODES of them (to 1e-4)."""
    nodes = np.geomspace(soaks - 1, 2 * (soaks - 1), NODES)
    at = np.array([together.critical(float(each)) for each in nodes])
    found: Floats = np.exp(np.interp(np.log(degrees), np.log(nodes), np.log(at)))
    return found


def detectable(test: PlannedTest, wanted: float = POWER) -> float:
    """Return the true difference that the test finds as likely as wanted. Simulated powers to a thousandth of the
    error.
    """
    if not test.simulated:
        return minimum_detectable(test.degrees, _limit(test), wanted) * test.error
    _, high = bisected(lambda errors: power(errors * test.error, test), wanted, 1.0, absolute=0.001)
    return high * test.error


def half_width(test: PlannedTest) -> float:
    """Return how far, on average, the interval reaches to each side of the difference."""
    return _limit(test) * test.error
