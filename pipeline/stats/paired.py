"""Comparing two levels where every batch is split between them: the differences within batches."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

from pipeline.stats.estimate import Estimate
from pipeline.stats.welch import mean, variance


def within(differences: Sequence[float]) -> Estimate:
    """What is the mean of differences within batches (one per split batch), and how sure is it?

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
