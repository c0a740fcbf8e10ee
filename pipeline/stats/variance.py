"""Variance components: how much of the spread lies between batches, and how much within them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from pipeline.stats.distributions import chi_square_quantile, f_above
from pipeline.stats.sums import total, totals


@dataclass(frozen=True)
class Anova:
    """One-way analysis of variance of values in groups, and the components that it estimates.

    between_ms, within_ms: mean squares; n0: containers per batch (an average where they differ); between_variance may
    come out negative, where batches differ less than their containers would make them; p is None where nothing varies
    within groups.
    """

    between_ms: float
    within_ms: float
    between_degrees: int
    within_degrees: int
    n0: float

    @property
    def between_variance(self) -> float:
        """What the batch adds to the variance: (MSB - MSW) / n0; negative where chance made it so."""
        return (self.between_ms - self.within_ms) / self.n0

    @property
    def batch_variance(self) -> float:
        """The same, and never below 0: what planning uses."""
        return max(0.0, self.between_variance)

    @property
    def batch_share(self) -> float | None:
        """The share of the variance that is the batch's (intraclass correlation). Negative as between_variance is."""
        whole = self.between_variance + self.within_ms
        return self.between_variance / whole if whole > 0 else None

    @property
    def f(self) -> float | None:
        """The mean square between groups over that within; None where nothing varies within."""
        return self.between_ms / self.within_ms if self.within_ms > 0 else None

    @property
    def p(self) -> float | None:
        """The probability of an F at least as large where groups do not differ, for independent values."""
        return None if self.f is None else f_above(self.f, self.between_degrees, self.within_degrees)


def inflation(degrees: float) -> float:
    """Return by how much the true SD may exceed one that is known from so few degrees of freedom.

    sqrt(df / chi2(.20, df)), its upper 80 % limit: 2.12, 1.56, 1.40, 1.27, 1.17 for 2, 4, 6, 10, 20.
    """
    return sqrt(degrees / chi_square_quantile(0.2, degrees))


def pooled(strata: Sequence[Anova]) -> Anova | None:
    """Return one analysis of several strata: mean squares by their degrees of freedom, so that what differs between
    strata is counted as spread in neither. None where no stratum has degrees of freedom between its groups.

    Searle, Casella & McCulloch 1992, Variance Components, 3.6. Checked against: lme4 Dyestuff and Dyestuff2.
    """
    between = sum(each.between_degrees for each in strata)
    if not between:
        return None
    within = sum(each.within_degrees for each in strata)
    return Anova(
        sum(each.between_ms * each.between_degrees for each in strata) / between,
        sum(each.within_ms * each.within_degrees for each in strata) / within,
        between,
        within,
        sum(each.n0 * each.between_degrees for each in strata) / between,
    )


def one_way(groups: Sequence[Sequence[float]]) -> Anova | None:
    """Return the analysis of variance between groups and within them. groups: the containers' values, one sequence per
    batch.

    MSB = sum n_i (m_i - m)^2 / (k - 1), MSW = sum (y - m_i)^2 / (N - k), n0 = (N - sum n_i^2 / N) / (k - 1): the ANOVA
    estimators of variance components (Searle, Casella & McCulloch 1992, Variance Components, ch. 3). None for fewer
    than two groups, or where no group has two values. Deviations are taken from the means, so that large means cost no
    digits.
    Checked against: R on lme4::Dyestuff and Dyestuff2, nlme::RatPupWeight; NIST StRD SmLs; Abou Fayssal et al. 2020.
    """
    filled = [group for group in groups if len(group)]
    sizes = np.array([len(group) for group in filled], dtype=np.int64)
    count, degrees = int(sizes.sum()), len(filled) - 1
    if degrees < 1 or count <= len(filled):
        return None
    values = np.fromiter((value for group in filled for value in group), dtype=float, count=count)
    # From a value of their own kind, so that 1000000.4 keeps what lies behind the point.
    shifted, of_group = values - values[0], np.repeat(np.arange(len(filled)), sizes)
    means = totals(shifted, of_group, len(filled)) / sizes
    across = total(sizes * (means - total(shifted) / count) ** 2)
    inside = total((shifted - means[of_group]) ** 2)
    n0 = (count - int((sizes**2).sum()) / count) / degrees
    return Anova(across / degrees, inside / (count - len(filled)), degrees, count - len(filled), n0)
