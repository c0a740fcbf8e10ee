"""The declines of all groups at once: what pipeline.growth.decline finds for each, from sums over all of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.growth.decline import over_flush_1, why_early
from pipeline.models.resolved_flushes import ResolvedFlushes
from pipeline.models.unit_arrays import Flags, Numbers, Whole
from pipeline.stats.ratio import Ratio, of_one_soak

# Apart by more days than any container is old.
APART = 1e6


@dataclass(frozen=True)
class FlushOfGroup:
    """How a flush of a group stands to its flush 1. first_gave: flush 1 gave something; why: why the decline is not
    known yet; started, gave: see decline_started and decline_gave, None where it is not known yet.
    """

    first_gave: bool
    why: str | None
    started: Ratio | None = None
    gave: Ratio | None = None


@dataclass(frozen=True)
class Units:
    """The units of all groups, in the order of groups. group: the place of each unit's group; begins: the first unit of
    each group; soak: the place of each unit's soak among those of all groups; first_soak: of each group, and their
    number at the end; starts, first_start: a start's group and age as one number, rising; the first of each group, and
    their number at the end.
    """

    names: Whole
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

    def weights(self, resolved_age: Numbers) -> Numbers:
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
        bounds = self.first_soak.tolist()
        return [
            None
            if not each
            else of_one_soak(top[first], bottom[first])
            if last - first == 1
            else over_flush_1(tops[first:last], bottoms[first:last])
            for first, last, each in zip(bounds, bounds[1:], wanted.tolist(), strict=False)
        ]


def units_of(first: ResolvedFlushes) -> Units:
    """Return the units of a table of flush 1 alone, in the order of groups."""
    names, begins, group = np.unique(first.group_id, return_index=True, return_inverse=True)
    soaks, soak = np.unique(np.stack([group, first.soak_no]), axis=1, return_inverse=True)
    places = np.arange(len(names) + 1)
    starts = np.unique(np.stack([group, first.age, first.soak_no]), axis=1)
    return Units(
        names=names,
        group=group,
        begins=begins,
        age=first.age,
        soak=soak.reshape(-1),
        first_soak=np.searchsorted(soaks[0], places),
        starts=starts[0] * APART + starts[1],
        first_start=np.searchsorted(starts[0], places),
    )


def declines_of_groups(table: ResolvedFlushes) -> dict[int, dict[int, FlushOfGroup]]:
    """Return how each flush of each group stands to its flush 1, by the group's number and the flush."""
    if not len(table):
        return {}
    flushes = int(table.flush.max())
    ordered = table.where(np.argsort(table.group_id, kind="stable"))
    units = units_of(ordered.where(slice(0, None, flushes)))
    by_flush = [_of_flush(units, ordered.where(slice(at, None, flushes))) for at in range(flushes)]
    return {
        group: {flush: found[at] for flush, found in enumerate(by_flush, start=1)}
        for at, group in enumerate(units.names.tolist())
    }


def _of_flush(units: Units, of: ResolvedFlushes) -> list[FlushOfGroup]:
    """How one flush of each group stands to flush 1. of: that flush alone, one entry per unit."""
    gave = units.any(of.fresh_g_first != 0).tolist()
    whys = _too_early(units, of)
    known = np.array([why is None for why in whys])
    weight = units.weights(of.resolved_age)
    came = weight * (of.fresh_g > 0)
    started = units.ratios(weight * of.fresh_g, weight * of.fresh_g_first, known)
    where_it_came = units.ratios(came * of.fresh_g, came * of.fresh_g_first, known)
    return [FlushOfGroup(*each) for each in zip(gave, whys, started, where_it_came, strict=True)]


def _too_early(units: Units, of: ResolvedFlushes) -> list[str | None]:
    """Why the decline of a flush is not known yet, of each group: see pipeline.growth.decline.too_early."""
    tells, known = (of.fresh_g_first > 0) | (of.fresh_g > 0), ~np.isnan(of.resolved_age)
    oldest_resolved = float(np.max(of.resolved_age[tells & known], initial=0.0))
    oldest = np.maximum.reduceat(units.age, units.begins)
    produces = units.any(tells & ~known & (units.age == oldest[units.group]))
    of_groups = zip(units.any(tells & known).tolist(), oldest.tolist(), produces.tolist(), strict=True)
    return [why_early(known_of_any, age, oldest_resolved, still) for known_of_any, age, still in of_groups]
