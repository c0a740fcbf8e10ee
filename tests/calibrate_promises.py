"""Simulated farms through the code of promises: how often what is said to be there with 80 % is there.

Run as a script (`python -m tests.calibrate_promises [FARMS [SEED]]`, from the folder above): it prints a table, and
exits with 1 when of what could be promised with a chance of 80 %, on each of eight days a week apart, less than 75 or
more than 87 % was there, or when promises of every week that were said to be met in 70 to 90 of 100 were met in less
than 75 or more than 87 of all designs together. The tests run a few farms.

Each farm is asked on ASKED days, drawn from those that calibrate_outlook judges; what it picks then comes by its own
dice. Its last day, which in a design with a season is of one part of the year, is asked too, and stands beside.
Mushrooms can be sold for SHELF_DAYS.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parent))

from calibrate_outlook import DESIGNS
from outlook_farms import FIRST_DAY, Design, simulated

from pipeline.models.unit_arrays import Numbers
from pipeline.outlook.ahead import look_ahead
from pipeline.outlook.history import PastBatches
from pipeline.planning.pickings_ahead import picked_by_day
from pipeline.planning.serving import Due, Serving, met

FARMS = 40  # of each design
ASKED = 2  # days of each farm
DRAWS = 1000
LEAST, MOST = 0.75, 0.87
SHELF_DAYS, DAYS = 7, 56
SHARES = (0.3, 0.5, 0.7, 0.9)  # of what a week gave of late, promised every week
SAID = (0.7, 0.9)


@dataclass(frozen=True)
class Promised:
    """How promises did on a farm. there80, there95: of each day, whether what could be promised with that chance was
    there; said, came: of promises of every week, the chance that was told, and whether they were met.
    """

    there80: Numbers
    there95: Numbers
    said: Numbers
    came: Numbers


def days_asked(design: Design, seed: int) -> list[int]:
    """Return the days on which a farm is asked: the last one, and ASKED drawn ones before it."""
    drawn = np.random.default_rng(10_000 + seed).integers(7 * design.first, 7 * design.weeks, ASKED)
    return [design.today, *(FIRST_DAY + drawn).tolist()]


def promised(history: PastBatches, today: int, draws: int = DRAWS) -> Promised:
    """Return how promises do that one farm makes on a day."""
    ahead = look_ahead(history, today, draws)
    foreseen = picked_by_day(ahead, [ahead.targets_wanted], DAYS, today)
    days = np.array([history.picked(today + day, today + day) for day in range(-SHELF_DAYS, DAYS + 1)])
    stock, comes = days[: SHELF_DAYS + 1][::-1][None], days[SHELF_DAYS + 1 :][None, None]
    there = np.zeros((2, DAYS // 7))
    for at, day in enumerate(range(7, DAYS + 1, 7)):
        could = Serving(stock, foreseen, ()).can_be_promised(day)
        came = float(Serving(stock, comes, ()).can_be_promised(day)[0])
        there[:, at] = [came >= np.quantile(could, share) - 1e-9 for share in (0.2, 0.05)]
    week, said, kept = history.picked(today - 55, today) / 8, [], []
    for share in SHARES:
        due = tuple(Due(day, share * week) for day in range(5, DAYS + 1, 7))
        said += met(Serving(stock, foreseen, due).serve()[0], due).mean(axis=0).tolist()
        kept += met(Serving(stock, comes, due).serve()[0], due)[0].tolist()
    return Promised(there[0], there[1], np.array(said), np.array(kept, dtype=float))


def said_and_came(farms: list[Promised]) -> tuple[float, float, int]:
    """Return of the promises that were said to be met in SAID: what was said, what came, and how many they are."""
    said, came = np.concatenate([each.said for each in farms]), np.concatenate([each.came for each in farms])
    chosen = (said >= SAID[0]) & (said < SAID[1])
    return float(said[chosen].mean()), float(came[chosen].mean()), int(chosen.sum())


HEADING = f"{'design':30}  80 %: there  95 %: there  every week, 70-90: said  came  promises  last day, 80 %: there"


def line(name: str, farms: list[Promised], last: list[Promised]) -> tuple[str, bool]:
    """Return a line of the table, and whether what was said with 80 % was there as often as it must. farms: asked on
    drawn days; last: on their last one.
    """
    there, at_last = (float(np.mean([each.there80 for each in asked])) for asked in (farms, last))
    sure = float(np.mean([each.there95 for each in farms]))
    said, came, count = said_and_came(farms)
    holds = LEAST <= there <= MOST
    figures = f"{100 * there:11.1f}  {100 * sure:11.1f}  {100 * said:23.1f}  {100 * came:4.1f}  {count:8}"
    figures += f"  {100 * at_last:21.1f}"
    return f"{name:30}  {figures}{'' if holds else '  OUTSIDE'}", holds


def main(farms: int = FARMS, seed: int = 1001) -> int:
    """Runs all designs; 0 when they keep the limits."""
    started, hold = time.perf_counter(), []
    everything, all_last = list[Promised](), list[Promised]()
    print(HEADING)
    for design in DESIGNS:
        found: list[list[Promised]] = []
        for number in range(seed, seed + farms):
            history = simulated(design, number)
            found.append([promised(history, today) for today in days_asked(design, number)])
        last, drawn = [each[0] for each in found], [one for each in found for one in each[1:]]
        everything += drawn
        all_last += last
        text, holds = line(design.name, drawn, last)
        hold.append(holds)
        print(text, flush=True)
    print(line("all", everything, all_last)[0])
    print(f"{farms} farms a design, {time.perf_counter() - started:.0f} s.")
    return 0 if all(hold) and LEAST <= said_and_came(everything)[1] <= MOST else 1


if __name__ == "__main__":
    sys.exit(main(*(int(each) for each in sys.argv[1:])))
