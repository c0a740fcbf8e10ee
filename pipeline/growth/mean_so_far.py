"""What a container has given on average by each age, when the young ones are not followed to the end yet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.models.unit_arrays import Numbers, Whole


@dataclass(frozen=True)
class MeanSoFar:
    """A step curve, one entry per age at which anything was given, ages rising.

    followed: containers followed that long; mean: given so far per container; error: its standard error, from the
    soaks.
    """

    age: Numbers
    followed: Numbers
    mean: Numbers
    error: Numbers


def mean_so_far(
    soak: Whole, followed_to: Numbers, unit: Whole, age: Numbers, given: Numbers, containers: Numbers | float = 1.0
) -> MeanSoFar:
    """What a container has given on average by each age. soak, followed_to, containers: one entry per unit, its soak's
    number, its age at the last look (a closed one is followed on: it gives nothing more) and how many containers it is;
    unit, age, given: one entry per event: the unit's place among them, its age then, and how much.

    Mean cumulative function (Nelson 1988, J. Qual. Technol. 20:24-35): the sum over ages of what is given then over the
    containers followed that long. Standard error: infinitesimal jackknife summed by soak (Lawless & Nadeau 1995,
    Technometrics 37:158-168). Checked against R's survfit on survival::valveSeat, to 11 digits.
    """
    ages = np.unique(age)
    soaks = int(np.max(soak, initial=-1)) + 1
    step = np.searchsorted(ages, age)
    amount, at_risk = np.zeros((soaks, len(ages))), np.zeros((soaks, len(ages)))
    np.add.at(amount, (soak[unit], step), given)
    count = np.broadcast_to(np.asarray(containers, dtype=float), followed_to.shape)
    np.add.at(at_risk, soak, count[:, None] * (followed_to[:, None] >= ages[None, :]))
    total = at_risk.sum(axis=0)
    rise = amount.sum(axis=0) / total
    pull = ((amount - at_risk * rise) / total).cumsum(axis=1)
    return MeanSoFar(ages, total, rise.cumsum(), np.sqrt((pull**2).sum(axis=0)))
