"""What the farm's own past can lend: the weekly path of every batch, and how much of it still ran at each age."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pipeline.farm.settings import Settings, whole
from pipeline.models.outlook_records import AgedPickings, ContainerEnds, OutlookRecords, outlook_records
from pipeline.models.unit_arrays import Numbers, Whole

if TYPE_CHECKING:
    from pipeline.models.view import Ledger

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
    undated: loaded batches without a day, which can lend nothing. recipes: of each batch, its substrate and its strain;
    "" where blank.
    """

    names: tuple[str, ...]
    start: Whole
    dry_kg: Numbers
    containers: Numbers
    alike: Whole
    substrate: Whole
    kg: Numbers
    running: Numbers
    undated: int = 0
    recipes: tuple[tuple[str, str], ...] = ()

    def picked(self, first: int, last: int) -> float:
        """Return how much was picked from the first to the last of these days, in kg."""
        before, upto = (self.kg_at(day - self.start) for day in (first - 1, last))
        return float((upto - before).sum())

    def kg_at(self, ages: Whole) -> Numbers:
        """Return how much each batch had given by its age. Nothing before its day of inoculation."""
        at = np.clip(ages, 0, LAST_AGE)
        found: Numbers = np.where(ages < 0, 0.0, self.kg[np.arange(len(at)), at])
        return found


def read_history(ledger: Ledger, as_of: date) -> PastBatches:
    """Return what the ledger holds of the last WEEKS_BACK weeks, and of days to come."""
    return history_of(outlook_records(ledger, as_of - timedelta(weeks=WEEKS_BACK)), ledger.settings)


def history_of(records: OutlookRecords, settings: Settings) -> PastBatches:
    """Return what these batches can lend. records: of batches in the order of days and names; settings: lapse_days,
    lapse_unpicked_days.
    """
    batches = records.batches
    kg, running = _paths(len(batches), records.ends, records.pickings, settings)
    return PastBatches(
        names=tuple(each.name for each in batches),
        start=np.array([each.inoculated_on.toordinal() for each in batches], dtype=np.int64),
        dry_kg=_sizes([each.dry_kg for each in batches]),
        containers=_sizes([each.containers for each in batches]),
        alike=_coded([(each.substrate, each.strain) for each in batches]),
        substrate=_coded([each.substrate for each in batches]),
        kg=kg,
        running=running,
        undated=records.undated,
        recipes=tuple((each.substrate or "", each.strain or "") for each in batches),
    )


def _sizes(known: Sequence[float | None]) -> Numbers:
    """Sizes as floats: nan where nothing, or nothing above zero, is known."""
    return np.array([float(size) if size else np.nan for size in known], dtype=float)


def _coded(keys: Sequence[Hashable]) -> Whole:
    codes = {key: code for code, key in enumerate(dict.fromkeys(keys))}
    return np.array([codes[key] for key in keys], dtype=np.int64)


def _paths(batches: int, ends: ContainerEnds, pickings: AgedPickings, settings: Settings) -> tuple[Numbers, Numbers]:
    """Of each batch, by age: kg picked so far, and the share of its containers that still ran."""
    closed = np.nan_to_num(ends.closed_age, nan=LAST_AGE + 1).astype(np.int64)
    place = np.nan_to_num(pickings.place, nan=-1).astype(np.int64)
    at, age = pickings.number, pickings.age
    within = age <= LAST_AGE
    at, place, age = at[within], place[within], age[within]
    kg = np.zeros((batches, LAST_AGE + 1))
    np.add.at(kg, (at, age), pickings.kg[within])
    together = np.full((batches, LAST_AGE + 1), -1, dtype=np.int16)
    together[at[place < 0], age[place < 0]] = age[place < 0]
    together = np.maximum.accumulate(together, axis=1)
    lapses = (whole(settings, "lapse_days"), whole(settings, "lapse_unpicked_days"))
    return np.cumsum(kg, axis=1), _running(batches, ends.number, closed, place, age, together, lapses)


def _running(
    batches: int,
    of_place: Whole,
    closed: Whole,
    place: Whole,
    age: Whole,
    together: NDArray[np.int16],
    lapses: tuple[int, int],
) -> Numbers:
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
        runs = (ages < heard) & (ages < closed[mine, None])
        order = np.argsort(of_place[mine], kind="stable")
        found_in, begins = np.unique(of_place[mine][order], return_index=True)
        still[found_in] += np.add.reduceat(runs[order], begins, axis=0, dtype=np.float64)
    count = np.bincount(of_place, minlength=batches)
    found: Numbers = still / np.maximum(count, 1)[:, None]
    return found
