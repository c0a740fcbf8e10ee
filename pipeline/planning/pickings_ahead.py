"""What is picked on each of the days ahead, strain by strain, as the outlook draws it, its weeks widened."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.models.unit_arrays import Numbers
from pipeline.outlook.ahead import DAYS, Ahead
from pipeline.outlook.backtest import LEARNT_WEEKS, MEDIAN, Past
from pipeline.outlook.running import RunningBatches
from pipeline.outlook.simulate import simulate
from pipeline.outlook.widening import spread

# What is drawn follows what came of late: all of it by (what the weeks that ended in the last LATE_WEEKS gave over the
# medians foreseen of them) to the power FOLLOWS, between LEAST_LEVEL and MOST_LEVEL. Chosen among 11 settings on 60
# farms of each design of tests/calibrate_promises.py, whose table is of other farms.
LATE_WEEKS, FOLLOWS, LEAST_LEVEL, MOST_LEVEL = 8, 0.5, 0.5, 1.6


def picked_by_day(ahead: Ahead, strains: Sequence[RunningBatches], days: int, as_of: int) -> Numbers:
    """Return the kg picked on each of so many days from tomorrow on: strains x draws x days. strains: of each, the
    batches that run or are planned; as_of: today, as date.toordinal.
    """
    weeks = -(-days // 7)
    if len(strains) == 1:
        sums = [ahead.found.total[:, : 7 * weeks]]
    else:
        sums = [simulate(ahead.drawing, each, DAYS[: 7 * weeks]).total for each in strains]
    factors = ahead.factors.weeks[:weeks]
    level = late_level(ahead.past, as_of)
    return np.stack([level * widened_days(np.diff(each, axis=1, prepend=0.0), factors)[:, :days] for each in sums])


def late_level(past: Past, as_of: int) -> float:
    """Return by how much what is foreseen is raised, for what came of late was more than had been foreseen; below 1:
    lowered. A season, or other straw, shows there first; 1 where nothing was foreseen of these weeks.
    """
    ends = past.origins[:, None] + 7 * np.arange(1, LEARNT_WEEKS + 1)
    came, foreseen = past.weeks.actual[:, :LEARNT_WEEKS], past.weeks.bands_kg[:, :LEARNT_WEEKS, MEDIAN]
    late = (ends <= as_of) & (ends > as_of - 7 * LATE_WEEKS) & ~np.isnan(came)
    median_kg, came_kg = float(foreseen[late].sum()), float(came[late].sum())
    if median_kg <= 0:
        return 1.0
    return float(np.clip(came_kg / median_kg, LEAST_LEVEL, MOST_LEVEL) ** FOLLOWS)


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
