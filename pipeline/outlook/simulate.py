"""The simulation: what may the batches give that run or are planned, if each goes on as one of the past did?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pipeline.models.unit_arrays import Numbers, Whole
from pipeline.outlook.drawing import Borrowed, Drawing, days_known, places
from pipeline.outlook.history import LAST_AGE
from pipeline.outlook.levels import Donors
from pipeline.outlook.running import RunningBatches

# So many sets of those who lend are heaped up at a time, times draws: what is looked up stays near the processor.
AT_ONCE = 6000
# A donor that a batch goes on like is looked up at about the cost of so many parts of a product with all donors.
LOOKED_UP = 40


@dataclass(frozen=True)
class Simulated:
    """running and planned: kg from the day on up to each of the days ahead, draw by draw (draws x days).
    without_donors: of each of these days, how many batches have none and are in no figure. borrowed: one entry per
    target where they are told apart, None where nothing can be borrowed.
    """

    running: Numbers
    planned: Numbers
    without_donors: Whole
    borrowed: tuple[Borrowed | None, ...]

    @property
    def total(self) -> Numbers:
        """Return what all batches give together."""
        found: Numbers = self.running + self.planned
        return found


@dataclass(frozen=True)
class _OfAge:
    """The targets of one age. own: their places among all; donors: how many lend to them; span: from the first to the
    last of the days up to which any of the pool gave anything, as places among all days; gains: what each of the pool
    gave from one of these to the next, in kg, pool x days; heaped, luck: of those who lend at it (HeapedSets).
    """

    own: Whole
    age: int
    donors: int
    span: slice
    gains: Numbers
    heaped: Numbers
    luck: Numbers


def expected_kg(lend: Donors, wanted: RunningBatches, days: Whole) -> tuple[Numbers, Whole]:
    """Return the mean kg of all targets up to each of the days ahead, without drawing, and how many have no donors."""
    one, calm = np.ones((1, len(lend.pool))), np.zeros((1, 2))
    _, firsts, which = np.unique(lend.history.alike[wanted.batch], return_index=True, return_inverse=True)
    level = np.array([float(lend.levels(one, batch, calm)[0]) for batch in wanted.batch[firsts].tolist()])
    scale = lend.sizes[wanted.batch] * level[which] * lend.seasons(wanted.batch)
    ages, still = wanted.age, wanted.running
    there = lend.running_by_age[np.maximum(ages, 0)]
    share = np.where(ages < 0, 1.0, np.divide(still, there, out=np.zeros_like(still), where=there > 0))
    at = ages[:, None] + days
    kg = np.where(at < 0, 0.0, lend.kg_by_age[np.clip(at, 0, LAST_AGE)])
    before = np.where(ages < 0, 0.0, lend.kg_by_age[np.maximum(ages, 0)])
    known = days_known(lend, ages)
    return (scale * share) @ (kg - before[:, None]), (days > known[:, None]).sum(axis=0)


def simulate(drawing: Drawing, wanted: RunningBatches, days: Whole, apart: bool = False) -> Simulated:
    """Return what the targets may give up to each of these days ahead, draw by draw. Targets of one age have the same
    donors, which are looked up once. apart: what each target borrows is told, too.

    Gains are added up over the targets, and then over the days: days on which no donor gave anything give nothing,
    to the last digit.
    """
    draws = drawing.draws
    chances = drawing.rng.random((len(wanted), draws))
    gains = {False: np.zeros((draws, len(days))), True: np.zeros((draws, len(days)))}
    known, sizes = days_known(drawing.lend, wanted.age), drawing.sizes(wanted)
    _, firsts, recipe = np.unique(drawing.lend.history.alike[wanted.batch], return_index=True, return_inverse=True)
    levels = np.array([drawing.levels(batch) for batch in wanted.batch[firsts].tolist()])
    borrowed: list[Borrowed | None] = [None] * len(wanted)
    for each in _by_age(drawing, wanted.age, known, days):
        own = each.own
        lent = np.zeros((len(own) if apart else 0, len(days)))
        if each.gains.size:
            flat = places(each.heaped, chances[own])
            scale = sizes[own, None] * (levels / each.luck)[recipe[own]]
            _add(gains[each.age < 0][:, each.span], flat, scale, each.gains)
            if apart:
                lent[:, each.span] = _gained(flat // draws, scale, each.gains)
        for at, mean in zip(own[: len(lent)].tolist(), np.cumsum(lent, axis=1) / draws, strict=True):
            source = drawing.source(int(wanted.batch[at]))
            borrowed[at] = Borrowed(each.donors, int(known[at]), source, mean)
    without_donors = (days > known[:, None]).sum(axis=0)
    running, planned = (np.cumsum(gains[to_come], axis=1) for to_come in (False, True))
    return Simulated(running, planned, without_donors, tuple(borrowed))


def _by_age(drawing: Drawing, ages: Whole, known: Whole, days: Whole) -> Iterator[_OfAge]:
    """Yield the targets of each age at which enough can lend. Several sets of those who lend are heaped up at once."""
    lasting = np.flatnonzero(known > 0)
    lasting = lasting[np.argsort(ages[lasting], kind="stable")]
    if not len(lasting):
        return
    of_ages, begins = np.unique(ages[lasting], return_index=True)
    own = np.split(lasting, begins[1:])
    lends, which = drawing.who_lends(of_ages)
    spans = drawing.spans(of_ages, days, known[lasting[begins]])
    at_once = max(1, AT_ONCE // drawing.draws)
    for first in range(0, len(lends), at_once):
        heaps = drawing.heaps(lends[first : first + at_once])
        for at in np.flatnonzero((which >= first) & (which < first + at_once)).tolist():
            age, heap = int(of_ages[at]), int(which[at]) - first
            gains = np.diff(drawing.lent(age, days[spans[at]]), axis=0, prepend=0.0).T
            donors = int(heaps.lends[heap].sum())
            yield _OfAge(own[at], age, donors, spans[at], gains, heaps.heaped[heap], heaps.luck[heap])


def _add(sums: Numbers, flat: Whole, scale: Numbers, gains: Numbers) -> None:
    """Add what each batch gains to the sums (draws x days): what the donor does that it goes on like, so many times.
    flat: see places; scale: batches x draws; gains: pool x days. Few batches are added one by one; of many, first how
    much of each donor each draw has.
    """
    draws = len(sums)
    if len(flat) * LOOKED_UP < len(gains):
        for which, times in zip(flat // draws, scale, strict=True):
            sums += gains[which] * times[:, None]
        return
    of_donors = np.bincount(flat.reshape(-1), scale.reshape(-1), len(gains) * draws).reshape(-1, draws)
    sums += of_donors.T @ gains


def _gained(which: Whole, scale: Numbers, gains: Numbers) -> Numbers:
    """Return what each batch gains from one day to the next in all draws together, batches x days. which: the donor of
    each draw.
    """
    batches = len(which)
    places_of_all = which + len(gains) * np.arange(batches)[:, None]
    of_donors = np.bincount(places_of_all.reshape(-1), scale.reshape(-1), batches * len(gains))
    found: Numbers = of_donors.reshape(batches, -1) @ gains
    return found
