"""Comparing two levels where each batch has one of them: the means of batch values, and never their containers."""

from __future__ import annotations

from collections.abc import Sequence
from math import fsum, sqrt

from pipeline.stats.estimate import Estimate


def mean(values: Sequence[float]) -> float:
    """What is the mean of these values?"""
    return fsum(values) / len(values)


def variance(values: Sequence[float]) -> float:
    """What is the sample variance of these values? Two at least."""
    middle = mean(values)
    return fsum((value - middle) ** 2 for value in values) / (len(values) - 1)


def welch_degrees(variances: tuple[float, float], numbers: tuple[int, int]) -> float:
    """How many degrees of freedom has the difference of two means, from the spread found in each?

    (sA^2/nA + sB^2/nB)^2 / ((sA^2/nA)^2/(nA-1) + (sB^2/nB)^2/(nB-1)) (Welch 1947, Biometrika 34:28-35).
    """
    parts = [spread / number for spread, number in zip(variances, numbers, strict=True)]
    under = fsum(part**2 / (number - 1) for part, number in zip(parts, numbers, strict=True))
    return fsum(parts) ** 2 / under


def bell_mccaffrey_degrees(numbers: tuple[int, int]) -> float:
    """How many degrees of freedom has it at most, from the numbers of batches alone?

    (1/nA + 1/nB)^2 / (1/(nA^2 (nA-1)) + 1/(nB^2 (nB-1))) (Bell & McCaffrey 2002, Survey Methodology 28:169-181).
    """
    first, second = numbers
    under = 1 / (first**2 * (first - 1)) + 1 / (second**2 * (second - 1))
    return (1 / first + 1 / second) ** 2 / under


def between(values: Sequence[float], against: Sequence[float]) -> Estimate:
    """By how much do the values (one per batch) lie above those they are held against, on average?

    The difference of the two means; SE^2 = sA^2/nA + sB^2/nB; t with the smaller of Welch's and Bell and McCaffrey's
    degrees of freedom. Taking the smaller is our combination; what supports it is simulation only (
    tests/calibrate.py). Without a spread (fewer than two batches on a side) the estimate has no standard error. Not for
    batches that hold both levels: see within and mixed.
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
