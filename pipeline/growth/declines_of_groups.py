"""The declines of all groups at once: what pipeline.growth.decline finds for each, from sums over all of them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from pipeline.growth.decline import over_flush_1, why_early
from pipeline.models.known_flushes import FlushOfUnits
from pipeline.models.unit_arrays import Days, Flags, Numbers, Whole
from pipeline.stats.ratio import Ratio, of_one_soak

# Apart by more days than any container is old.
APART = 1e6


class FlushOfGroup(NamedTuple):
    """How a flush of a group stands to its flush 1. first_gave: flush 1 gave something; why: why the decline is not
    known yet; started, gave: see decline_started and decline_gave, None where it is not known yet, and of flush 1.
    """

    first_gave: bool
    why: str | None
    started: Ratio | None = None
    gave: Ratio | None = None


@dataclass(frozen=True)
class Units:
    """The units of some groups, in the order of groups. groups: their places among all groups; group: that of each
    unit's group; begins: the first unit of each of them; soak: the place of each unit's soak among those of all groups;
    first_soak: of each of all groups, and the number of soaks at the end; starts, first_start: a start's group and age
    as one number, rising; the first of each of all groups, and their number at the end.
    """

    groups: Whole
    group: Whole
    begins: Whole
    age: Numbers
    soak: Whole
    first_soak: Whole
    starts: Numbers
    first_start: Whole

    def any(self, which: Flags) -> Flags:
        """Whether it is so for any unit of each group."""
        found: Flags = np.logical_or.reduceat(which, self.begins)
        return found

    def of_groups(self, chosen: Flags) -> Units:
        """Return the units of the chosen ones among all groups."""
        if chosen.all():
            return self
        units = chosen[self.group]
        group = self.group[units]
        return replace(
            self,
            groups=np.flatnonzero(chosen),
            group=group,
            begins=np.flatnonzero(np.diff(group, prepend=-1)),
            age=self.age[units],
            soak=self.soak[units],
        )

    def weights(self, resolved_age: Days) -> Numbers:
        """Return for how many units each stands: see pipeline.growth.decline.weights."""
        known = ~np.isnan(resolved_age)
        group = self.group[known]
        count = np.diff(self.first_start)[group]
        younger = np.searchsorted(self.starts, group * APART + resolved_age[known], side="left")
        found = np.zeros(len(known))
        found[known] = 1 / (1 - (younger - self.first_start[group]) / count)
        return found

    def ratios(self, over: Numbers, under: Numbers, wanted: Flags) -> list[Ratio | None]:
        """Return sum(over) / sum(under) of each group, by soak; None of groups that are not wanted."""
        count = int(self.first_soak[-1])
        sums: list[Numbers] = [np.bincount(self.soak, each, count).astype(np.float64) for each in (over, under)]
        tops, bottoms = sums
        top, bottom = tops.tolist(), bottoms.tolist()
        firsts, lasts = self.first_soak[self.groups].tolist(), self.first_soak[self.groups + 1].tolist()
        return [
            None
            if not each
            else of_one_soak(top[first], bottom[first])
            if last - first == 1
            else over_flush_1(tops[first:last], bottoms[first:last])
            for first, last, each in zip(firsts, lasts, wanted.tolist(), strict=True)
        ]


def units_of(first: FlushOfUnits) -> tuple[Whole, Units]:
    """Return the groups of the units of flush 1 by their numbers, and all their units. first: in the order of
    groups.
    """
    numbers, begins, group = np.unique(first.group_id, return_index=True, return_inverse=True)
    places = np.arange(len(numbers) + 1)
    # Pairs as one number each, which is quicker to sort than a pair.
    most = int(first.soak_no.max()) + 1
    soaks, soak = np.unique(group * most + first.soak_no, return_inverse=True)
    _, start = np.unique(soak * APART + first.age, return_index=True)
    return numbers, Units(
        groups=places[:-1],
        group=group,
        begins=begins,
        age=first.age,
        soak=soak,
        first_soak=np.searchsorted(soaks, places * most),
        starts=np.sort(group[start] * APART + first.age[start]),
        first_start=np.searchsorted(group[start], places),
    )


def declines_of_groups(of_flushes: Iterable[FlushOfUnits]) -> dict[int, dict[int, FlushOfGroup]]:
    """Return how each flush of each group stands to its flush 1, by the group's number and the flush, up to the group's
    highest. of_flushes: of each flush, from 1 on, the units whose group came to it, in the order of groups.
    """
    found: dict[int, dict[int, FlushOfGroup]] = {}
    for flush, of in enumerate(of_flushes, start=1):
        if not len(of.age):
            break
        if flush == 1:
            numbers, units = units_of(of)
            found = {group: {} for group in numbers.tolist()}
        came = of.group_id[np.flatnonzero(np.diff(of.group_id, prepend=-1))]
        own = units.of_groups(np.isin(numbers, came, kind="sort"))
        for group, each in zip(numbers[own.groups].tolist(), _of_flush(own, of, flush), strict=True):
            found[group][flush] = each
    return found


def _of_flush(units: Units, of: FlushOfUnits, flush: int) -> list[FlushOfGroup]:
    """How this flush of each group stands to flush 1."""
    gave = units.any(of.fresh_g_first != 0).tolist()
    whys = _too_early(units, of)
    known = np.array([why is None and flush > 1 for why in whys])
    weight = units.weights(of.resolved_age)
    came = weight * (of.fresh_g > 0)
    started = units.ratios(weight * of.fresh_g, weight * of.fresh_g_first, known)
    where_it_came = units.ratios(came * of.fresh_g, came * of.fresh_g_first, known)
    return [*map(FlushOfGroup, gave, whys, started, where_it_came)]


def _too_early(units: Units, of: FlushOfUnits) -> list[str | None]:
    """Why the decline of a flush is not known yet, of each group: see pipeline.growth.decline.too_early."""
    tells, known = (of.fresh_g_first > 0) | (of.fresh_g > 0), ~np.isnan(of.resolved_age)
    oldest = np.maximum.reduceat(units.age, units.begins)
    produces = units.any(
        tells & ~known & (units.age == np.repeat(oldest, np.diff(units.begins, append=len(units.age))))
    )
    of_groups = zip(units.any(tells & known).tolist(), oldest.tolist(), produces.tolist(), strict=True)
    return [why_early(known_of_any, age, of.oldest_resolved, still) for known_of_any, age, still in of_groups]
