"""An estimate with its standard error and degrees of freedom, its p value and its limits."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pipeline.stats.distributions import t_beyond, t_reach
from schemas.confidence import LEVEL

Limits = tuple[float, float]


def two_sided_p(t: float, degrees: float) -> float:
    """Return the probability that Student's t with so many degrees of freedom lies at least as far from 0.

    Checked against: R pt (golden record "t").
    """
    return t_beyond(t, degrees)


def t_critical(degrees: float, level: float = LEVEL) -> float:
    """Return how many standard errors a two-sided interval of this level reaches to each side.

    Checked against: R qt (golden record "t"). Raises ValueError for degrees of freedom that are not above 0.
    """
    if not degrees > 0:
        raise ValueError(f"{degrees} degrees of freedom")
    return t_reach(1 - level, degrees)


@dataclass(frozen=True)
class Estimate:
    """A value with its standard error and its degrees of freedom, in the unit of the measure.

    standard_error and degrees are None where nothing shows a spread (fewer than two batches), and the standard error is
    0 where the batches do not differ at all: neither has limits or a p value.
    """

    value: float
    standard_error: float | None = None
    degrees: float | None = None

    @property
    def t(self) -> float | None:
        """The distance of the value from 0, in standard errors; None without a spread."""
        if self.standard_error is None or self.degrees is None or not self.standard_error > 0:
            return None
        return self.value / self.standard_error

    @property
    def p(self) -> float | None:
        """The probability of a value at least as far from 0 where there is no difference; None without a spread."""
        return None if self.t is None or self.degrees is None else two_sided_p(self.t, self.degrees)

    def limits(self, level: float = LEVEL) -> Limits | None:
        """Return the limits of the interval at this level; None without a spread."""
        if self.t is None or self.degrees is None:
            return None
        return self.around(t_critical(self.degrees, level))

    def around(self, critical: float) -> Limits | None:
        """Return the limits so many standard errors to each side; None without a standard error."""
        if self.standard_error is None or not math.isfinite(critical):
            return None
        half = critical * self.standard_error
        return self.value - half, self.value + half
