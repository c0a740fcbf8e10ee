"""What is picked on each of the days ahead, strain by strain, as the outlook draws it, its weeks widened."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.models.unit_arrays import Numbers
from pipeline.outlook.ahead import DAYS, Ahead
from pipeline.outlook.simulate import RunningBatch, simulate
from pipeline.outlook.widening import spread


def picked_by_day(ahead: Ahead, strains: Sequence[Sequence[RunningBatch]], days: int) -> Numbers:
    """Return the kg picked on each of so many days from tomorrow on: strains x draws x days. strains: of each, the
    batches that run or are planned.
    """
    weeks = -(-days // 7)
    if len(strains) == 1:
        sums = [ahead.found.total[:, : 7 * weeks]]
    else:
        sums = [simulate(ahead.drawing, list(each), DAYS[: 7 * weeks]).total for each in strains]
    factors = ahead.factors.weeks[:weeks]
    return np.stack([widened_days(np.diff(each, axis=1, prepend=0.0), factors)[:, :days] for each in sums])


def widened_days(kg: Numbers, factors: Numbers) -> Numbers:
    """Return the days' kg so that each week's sum is moved away from its median by the week's factor; the days of a
    week keep their shares. kg: draws x days, of whole weeks.
    """
    by_week = kg.reshape(len(kg), -1, 7)
    sums = by_week.sum(axis=2)
    wider = spread(sums, factors)
    shares = np.divide(by_week, sums[..., None], out=np.full(by_week.shape, 1 / 7), where=sums[..., None] > 0)
    found: Numbers = (shares * wider[..., None]).reshape(kg.shape)
    return found
