"""What the farm's own past can lend: the weekly path of every batch, and how much of it still ran at each age."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from pipeline.farm.settings import Settings, whole
from pipeline.models.outlook_records import AgedPickings, ContainerEnds, OutlookRecords, outlook_records
from pipeline.models.unit_arrays import Numbers, Whole

if TYPE_CHECKING:
    from pipeline.models.view import Ledger

# Older batches are not looked at: farms change. Our choice, no source.
WEEKS_BACK = 130
# A batch gives nothing that matters after a year. Our choice, no source; the slowest in print take about 130 days.
LAST_AGE = 364
AGES = LAST_AGE + 1  # with that of the first day


@dataclass(frozen=True)
class PastBatches:
    """The batches of a farm, also those to come, in the order of days and names; one entry per batch in each array.

    start: day of inoculation, as date.toordinal. dry_kg, containers: its size; nan where not told. alike, substrate:
    alike for batches of one substrate and strain, and of one substrate. kg[batch, age]: picked up to that age, in kg;
    running[batch, age]: the share of its containers that still ran on that day, by what was known on it.
    undated: loaded batches without a day, which can lend nothing. recipes: of each batch, its substrate and its strain;
    "" where blank. sizes: how large each batch is, by the power of its fill, once it was asked for (levels.sizes).
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
    sizes: dict[float, Numbers] = field(default_factory=dict, compare=False, repr=False)

    def picked(self, first: int, last: int) -> float:
        """Return how much was picked from the first to the last of these days, in kg."""
        before, upto = (self.kg_at(day - self.start) for day in (first - 1, last))
        return float((upto - before).sum())

    @cached_property
    def of_days(self) -> Numbers:
        """Return what was picked on each day, in kg, from the first day of inoculation on; of no batch: one day."""
        if not len(self.start):
            return np.zeros(1)
        begun, firsts = np.unique(self.start, return_index=True)
        steps = np.diff(np.add.reduceat(self.kg, firsts, axis=0), axis=1, prepend=0)
        day = (begun - begun[0])[:, None] + np.arange(LAST_AGE + 1)
        return np.bincount(day.reshape(-1), steps.reshape(-1)).astype(np.float64)

    def picked_after(self, day: int, days: int) -> Numbers:
        """Return how much was picked on each of so many days after a day, in kg."""
        first = day + 1 - int(self.start.min(initial=day))
        found = np.zeros(days)
        there = self.of_days[max(first, 0) : max(first + days, 0)]
        found[max(-first, 0) :][: len(there)] = there
        return found

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
    pickings = pickings.where(pickings.age <= LAST_AGE)
    at = pickings.number * AGES + pickings.age
    kg: Numbers = np.bincount(at, pickings.kg, batches * AGES).astype(np.float64, copy=False).reshape(batches, AGES)
    count = np.bincount(ends.number, minlength=batches)
    running = _running(ends, pickings, count, (whole(settings, "lapse_days"), whole(settings, "lapse_unpicked_days")))
    np.cumsum(kg, axis=1, out=kg)
    running /= np.maximum(count, 1)[:, None]
    return kg, running


def _running(ends: ContainerEnds, pickings: AgedPickings, count: Whole, lapses: tuple[int, int]) -> Numbers:
    """How many of each batch's containers still ran at each age: neither ended nor lapsed, as known then.

    A container runs from 0 and from each picking on, until it lapses, is picked from again or ends: what begins and
    what ends at each age is counted. count: of each batch's containers; lapses: lapse_days, lapse_unpicked_days.
    """
    closed = np.minimum(np.nan_to_num(ends.closed_age, nan=AGES), AGES).astype(np.int64)
    place, age = _visits(ends, pickings, count)
    first = np.append(True, np.diff(place) != 0)[: len(place)]
    until_next = np.where(np.append(first[1:], True)[: len(place)], AGES, np.append(age[1:], 0)[: len(place)])
    unpicked = np.full(len(closed), min(lapses[1], AGES))
    unpicked[place[first]] = np.minimum(unpicked[place[first]], age[first])
    begins = np.concatenate([np.zeros(len(closed), dtype=np.int64), age])
    over = np.minimum(
        np.concatenate([unpicked, np.minimum(age + lapses[0], until_next)]), np.concatenate([closed, closed[place]])
    )
    at = (AGES + 1) * np.concatenate([ends.number, ends.number[place]])
    # One that is over before it begins ends as it begins.
    places = np.concatenate([at + begins, at + np.maximum(over, begins)])
    signs = np.repeat([1.0, -1.0], len(at))
    change: Numbers = np.bincount(places, signs, len(count) * (AGES + 1)).astype(np.float64, copy=False)
    change = change.reshape(len(count), AGES + 1)
    return np.cumsum(change, axis=1, out=change)[:, :AGES]


def _visits(ends: ContainerEnds, pickings: AgedPickings, count: Whole) -> tuple[Whole, Whole]:
    """The container and the age of each picking, in their order; what was weighed together was picked from each
    container of its batch.
    """
    of_one = ~np.isnan(pickings.place)
    together = pickings.where(~of_one)
    of_each = count[together.number]
    nth = np.arange(of_each.sum()) - np.repeat(np.cumsum(of_each) - of_each, of_each)
    in_batches = np.argsort(ends.number, kind="stable")
    of_batch = np.repeat((np.cumsum(count) - count)[together.number], of_each)
    visits = np.concatenate(
        [
            pickings.place[of_one].astype(np.int64) * AGES + pickings.age[of_one],
            in_batches[of_batch + nth] * AGES + np.repeat(together.age, of_each),
        ]
    )
    visits.sort(kind="stable")
    return visits // AGES, visits % AGES
