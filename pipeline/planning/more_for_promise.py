"""What helps a promise that may not be met: how many containers more, and by when they are begun at the latest."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np

from pipeline.models.unit_arrays import Numbers
from pipeline.outlook.ahead import Ahead, dice
from pipeline.outlook.running import RunningBatch
from pipeline.outlook.widening import spread
from pipeline.planning.foresight import container_size, latest_alike
from pipeline.planning.starts import WANTED_CHANCE

# The stream of uniforms that belongs to this: outlook has 0 to 2, a plan 3.
PROMISE_DICE = 4
# More than so many containers for one promise are no advice. Our choice, no source.
MOST_MORE = 200
# So many more containers than on the best day are borne for a later one. Our choice, no source.
BORNE = 1.1
# Days after which past batches gave less than this share of the best are not looked at. Our choice, no source.
WORTH = 0.05


@dataclass(frozen=True)
class More:
    """So many containers more, begun in so many days at the latest."""

    containers: int
    start_by: int


def more_containers(ahead: Ahead, like: int, short_kg: Numbers, due_in: int, shelf_days: int) -> More | None:
    """Return the fewest containers with which what is short is there in WANTED_CHANCE of the draws, and the latest day
    on which about as few do. None where nothing that is begun tomorrow or later would.

    like: a batch of the recipe; short_kg: what is short, of each draw (nothing: below 0); due_in: days until it is due.
    """
    lend = ahead.drawing.lend
    latest = latest_alike(lend.history, lend.day, int(lend.history.alike[like]))
    size = container_size(lend.history, latest, ahead.likeness.fill_power)
    share, chance = size / float(lend.sizes[like]), dice(PROMISE_DICE).random(len(short_kg))
    factor = ahead.factors.of_days(due_in)
    from_day = max(due_in - shelf_days - 1, 0)
    needed: dict[int, int] = {}
    for start in _starts(lend.kg_by_age, from_day, due_in):
        lent = ahead.drawing.kg(RunningBatch(like, -start, 1.0, True), np.array([from_day, due_in]), chance)
        if lent is not None:
            gives = spread(share * (lent.kg[:, 1] - lent.kg[:, 0]), factor)
            number = _fewest(gives, short_kg)
            if number is not None:
                needed[start] = number
    if not needed:
        return None
    start_by = max(start for start, number in needed.items() if number <= ceil(BORNE * min(needed.values())))
    return More(needed[start_by], start_by)


def _starts(kg_by_age: Numbers, from_day: int, due_in: int) -> list[int]:
    """Return the days of beginning, from tomorrow on, after which past batches gave anything worth it by the day."""
    starts = np.arange(1, due_in + 1)
    ages = np.maximum(np.array([from_day, due_in])[:, None] - starts, 0)
    gave = np.diff(kg_by_age[np.minimum(ages, len(kg_by_age) - 1)], axis=0)[0]
    found: list[int] = starts[gave > WORTH * gave.max(initial=0.0)].tolist()
    return found


def _fewest(gives_kg: Numbers, short_kg: Numbers) -> int | None:
    """Return the fewest containers with which at least WANTED_CHANCE of the draws are no longer short."""
    needed = np.divide(short_kg, gives_kg, out=np.full(len(short_kg), np.inf), where=gives_kg > 0)
    needed = np.where(short_kg <= 0, 0.0, np.ceil(needed))
    number = float(np.sort(needed)[ceil(WANTED_CHANCE * len(needed)) - 1])
    return int(number) if number <= MOST_MORE else None
