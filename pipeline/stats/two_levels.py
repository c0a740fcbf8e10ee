"""The difference of two levels, with the batch as the unit of replication: between batches, within them, or both.

A batch gives one value per level; its containers are never counted, for they share its fate. The three designs and
their methods: `between`, `within` and cluster_robust.mixed.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from math import fsum, sqrt

import numpy as np

from pipeline.stats.estimate import Estimate
from pipeline.stats.numbering import Places
from pipeline.stats.sums import Numbers, mean, total

Values = Sequence[float] | Numbers


class DesignKind(StrEnum):
    """Where levels vary: each batch has one of them, each has all of them, or some are split and others are not."""

    BETWEEN = "between soaks"
    WITHIN = "within soaks"
    BOTH = "both"


def design_by_counts(counts: Sequence[int], different: int) -> DesignKind:
    """Return where the levels vary. counts: how many batches each level has; different: how many there are in all."""
    if sum(counts) == different:
        return DesignKind.BETWEEN
    return DesignKind.WITHIN if all(count == different for count in counts) else DesignKind.BOTH


def variance(values: Values) -> float:
    """Return the sample variance (over n - 1) of two values or more."""
    every = np.asarray(values, dtype=float)
    return total((every - mean(every)) ** 2) / (len(every) - 1)


def welch_degrees(variances: tuple[float, float], numbers: tuple[int, int]) -> float:
    """Return the degrees of freedom of the difference of two means, from the variance within each.

    (sA^2/nA + sB^2/nB)^2 / ((sA^2/nA)^2/(nA-1) + (sB^2/nB)^2/(nB-1)) (Welch 1947, Biometrika 34:28-35).
    """
    parts = [spread / number for spread, number in zip(variances, numbers, strict=True)]
    under = fsum(part**2 / (number - 1) for part, number in zip(parts, numbers, strict=True))
    return fsum(parts) ** 2 / under


def bell_mccaffrey_degrees(numbers: tuple[int, int]) -> float:
    """Return the degrees of freedom of the difference of two means, from the numbers of batches alone.

    (1/nA + 1/nB)^2 / (1/(nA^2 (nA-1)) + 1/(nB^2 (nB-1))) (Bell & McCaffrey 2002, Survey Methodology 28:169-181).
    """
    first, second = numbers
    under = 1 / (first**2 * (first - 1)) + 1 / (second**2 * (second - 1))
    return (1 / first + 1 / second) ** 2 / under


def between(values: Values, against: Values) -> Estimate:
    """Return by how much the mean of the values (one per batch) lies above the mean of those they are held against.

    SE^2 = sA^2/nA + sB^2/nB; t with the smaller of Welch's and Bell and McCaffrey's degrees of freedom. Taking the
    smaller is our combination, supported by simulation only (tests/calibrate.py). Without a spread (fewer than two
    batches on a side) the estimate has no standard error. Not for batches that hold both levels: see within, mixed.
    Checked against: R t.test and clubSandwich on nlme::RatPupWeight, VGAM::prats, and pingouin's hair colours.
    """
    difference = mean(values) - mean(against)
    numbers = len(values), len(against)
    if min(numbers) < 2:
        return Estimate(difference)
    spreads = variance(values), variance(against)
    error = sqrt(spreads[0] / numbers[0] + spreads[1] / numbers[1])
    if not error > 0:
        return Estimate(difference, 0.0)
    degrees = min(welch_degrees(spreads, numbers), bell_mccaffrey_degrees(numbers))
    return Estimate(difference, error, degrees)


def within(differences: Values) -> Estimate:
    """Return the mean of differences within batches, one per split batch.

    Student's paired t: SE = s / sqrt(b), degrees of freedom b - 1 over b batches. What a batch does to all its
    containers alike drops out. One batch alone has no standard error.
    Checked against: R t.test on nlme::Machines and nlme::Oats.
    """
    if len(differences) < 2:
        return Estimate(mean(differences))
    spread = variance(differences)
    if not spread > 0:
        return Estimate(mean(differences), 0.0)
    return Estimate(mean(differences), sqrt(spread / len(differences)), float(len(differences) - 1))


def both_ways(level: tuple[Places, Values], against: tuple[Places, Values]) -> Estimate:
    """Return by how much one level lies above the other where some batches hold both: see cluster_robust.mixed.

    level, against: of each cell the number of its batch, from 0, and its value.
    """
    from pipeline.stats.cluster_robust import mixed

    batches, values = (np.concatenate(each) for each in zip(against, level, strict=True))
    return mixed(batches, [0] * len(against[0]) + [1] * len(level[0]), values).difference(1, 0)
