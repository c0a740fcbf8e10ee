"""What the farm's own past can lend: the weekly path of every batch, and how much of it still ran at each age."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from pipeline.models.view import Ledger

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Rows = Sequence[tuple[Any, ...]]

# Older batches are not looked at: farms change. Our choice, no source.
WEEKS_BACK = 130
# A batch gives nothing that matters after a year. Our choice, no source; the slowest in print take about 130 days.
LAST_AGE = 364
# So many containers at a time, for a farm of any size fits into memory.
PORTION = 10_000


@dataclass(frozen=True)
class PastBatches:
    """The batches of a farm, also those to come, in the order of days and names; one entry per batch in each array.

    start: day of inoculation, as date.toordinal. dry_kg, containers: its size; nan where not told. alike, substrate:
    alike for batches of one substrate and strain, and of one substrate. kg[batch, age]: picked up to that age, in kg;
    running[batch, age]: the share of its containers that still ran on that day, by what was known on it.
    undated: loaded batches without a day, which can lend nothing.
    """

    names: tuple[str, ...]
    start: Whole
    dry_kg: Floats
    containers: Floats
    alike: Whole
    substrate: Whole
    kg: Floats
    running: Floats
    undated: int = 0

    def picked(self, first: int, last: int) -> float:
        """Return how much was picked from the first to the last of these days, in kg."""
        before, upto = (self.kg_at(day - self.start) for day in (first - 1, last))
        return float((upto - before).sum())

    def kg_at(self, ages: Whole) -> Floats:
        """Return how much each batch had given by its age. Nothing before its day of inoculation."""
        at = np.clip(ages, 0, LAST_AGE)
        found: Floats = np.where(ages < 0, 0.0, self.kg[np.arange(len(at)), at])
        return found


def read_history(ledger: Ledger, as_of: date) -> PastBatches:
    """Return what the ledger holds of the last WEEKS_BACK weeks, and of days to come."""
    ledger.set_variables(first_day=as_of - timedelta(weeks=WEEKS_BACK))
    ((undated,),) = ledger.tuples("undated_batches")
    return history_of(
        ledger.tuples("outlook_past_batches"),
        ledger.tuples("outlook_ends"),
        ledger.tuples("outlook_pickings"),
        ledger.settings,
        undated,
    )


def history_of(
    batches: Rows, places: Rows, pickings: Rows, settings: Mapping[str, Any], undated: int = 0
) -> PastBatches:
    """Return what these batches can lend. batches: name, day, dry kg, containers, substrate, strain, in the order of
    days and names; places: number of the batch, age at which it ended (None: never); pickings: number of the batch, of
    the place (None: weighed together), age, kg. settings: lapse_days, lapse_unpicked_days.
    """
    kg, running = _paths(len(batches), places, pickings, settings)
    return PastBatches(
        names=tuple(row[0] for row in batches),
        start=np.array([row[1].toordinal() for row in batches], dtype=np.int64),
        dry_kg=_numbers([row[2] for row in batches]),
        containers=_numbers([row[3] for row in batches]),
        alike=_coded([(row[4], row[5]) for row in batches]),
        substrate=_coded([row[4] for row in batches]),
        kg=kg,
        running=running,
        undated=undated,
    )


def _numbers(cells: list[Any]) -> Floats:
    """Sizes as floats: nan where nothing, or nothing above zero, is told."""
    return np.array([float(cell) if cell else np.nan for cell in cells], dtype=float)


def _coded(keys: list[Any]) -> Whole:
    codes = {key: code for code, key in enumerate(dict.fromkeys(keys))}
    return np.array([codes[key] for key in keys], dtype=np.int64)


def _paths(batches: int, places: Rows, pickings: Rows, settings: Mapping[str, Any]) -> tuple[Floats, Floats]:
    """Of each batch, by age: kg picked so far, and the share of its containers that still ran."""
    of_place = np.array([row[0] for row in places], dtype=np.int64)
    closed = np.array([LAST_AGE + 1 if row[1] is None else row[1] for row in places], dtype=np.int64)
    at = np.array([row[0] for row in pickings], dtype=np.int64)
    place = np.array([-1 if row[1] is None else row[1] for row in pickings], dtype=np.int64)
    age = np.array([row[2] for row in pickings], dtype=np.int64)
    within = age <= LAST_AGE
    at, place, age = at[within], place[within], age[within]
    kg = np.zeros((batches, LAST_AGE + 1))
    np.add.at(kg, (at, age), np.array([row[3] for row in pickings], dtype=float)[within])
    together = np.full((batches, LAST_AGE + 1), -1, dtype=np.int16)
    together[at[place < 0], age[place < 0]] = age[place < 0]
    together = np.maximum.accumulate(together, axis=1)
    lapses = (int(settings["lapse_days"]), int(settings["lapse_unpicked_days"]))
    return np.cumsum(kg, axis=1), _running(batches, of_place, closed, place, age, together, lapses)


def _running(
    batches: int,
    of_place: Whole,
    closed: Whole,
    place: Whole,
    age: Whole,
    together: NDArray[np.int16],
    lapses: tuple[int, int],
) -> Floats:
    """The share of each batch's containers that still ran at each age: neither ended nor lapsed, as known then."""
    ages = np.arange(LAST_AGE + 1)
    still = np.zeros((batches, LAST_AGE + 1))
    for first in range(0, len(of_place), PORTION):
        mine = slice(first, first + PORTION)
        last = np.full((len(of_place[mine]), LAST_AGE + 1), -1, dtype=np.int16)
        here = (place >= first) & (place < first + PORTION)
        last[place[here] - first, age[here]] = age[here]
        last = np.maximum(np.maximum.accumulate(last, axis=1), together[of_place[mine]])
        heard = np.where(last < 0, lapses[1], last + lapses[0])
        np.add.at(still, of_place[mine], (ages < heard) & (ages < closed[mine, None]))
    count = np.bincount(of_place, minlength=batches)
    found: Floats = still / np.maximum(count, 1)[:, None]
    return found
