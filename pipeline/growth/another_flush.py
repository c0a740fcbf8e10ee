"""Whether another flush is worth the room: the table of it. The table of it, by group and flush."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from pipeline.farm.prices import Prices, prices
from pipeline.farm.settings import Settings, number, whole
from pipeline.growth.decline import Resolved, start_ages, too_early, weights_of
from pipeline.growth.mean_so_far import mean_so_far
from pipeline.growth.waiting import Difference, Stay, above_nought, waiting_against_anew
from pipeline.models.flush_rule import unsure_groups
from pipeline.models.known_flushes import KnownFlushes, known_flushes
from pipeline.models.started_units import PickedByAge, StartedUnits, picked_by_age, started_units
from pipeline.models.unit_arrays import Days, Flags, Numbers, Whole, numbered
from pipeline.stats.estimate import t_critical
from pipeline.stats.proportions import LEAST_SOAKS
from pipeline.stats.ratio import Ratio
from schemas.answers import WaitAnswer
from schemas.phrases import counted

if TYPE_CHECKING:
    from pipeline.models.view import LedgerView
    from schemas.result_rows import ResultRow, ResultRows


@dataclass(frozen=True)
class HeldUnits:
    """The units of one group: one row per unit and one column per flush, from 1; and one entry per unit."""

    soak: Whole
    age: Numbers
    containers: Numbers
    cost: Numbers
    chosen: Flags
    held_days: Numbers
    fresh: Numbers
    resolved_age: Days
    last_age: Days

    def resolved(self, flush: int) -> Resolved:
        """Return how the units stand to this flush."""
        return Resolved(
            self.soak, self.age, self.resolved_age[:, flush - 1], self.fresh[:, flush - 1], self.fresh[:, 0]
        )

    def stands_for(self, flush: int) -> Numbers:
        """Return for how many units each stands that is known through this flush: see decline.weights. Worked out once,
        for waiting is asked for each flush and for the one after it.
        """
        if flush not in self._stand_for:
            self._stand_for[flush] = weights_of(self._starts, self.resolved_age[:, flush - 1])
        return self._stand_for[flush]

    @cached_property
    def _stand_for(self) -> dict[int, Numbers]:
        return {}

    @cached_property
    def _starts(self) -> Numbers:
        return start_ages(self.soak, self.age)

    def over_on(self, flush: int) -> Numbers:
        """At what age was this flush over: at its last picking, or when it was told that there is none?"""
        at = flush - 1
        over = np.where(self.fresh[:, at] > 0, self.last_age[:, at], self.resolved_age[:, at])
        return over.astype(np.float64)


def another_flush(
    view: LedgerView, settings: Settings, known: KnownFlushes | None = None, sums: ResultRows | None = None
) -> ResultRows:
    """Whether another flush is worth the room. One record per group and flush waited for, from 2 on, with the columns
    of the `another_flush` contract. known, sums: the view's flushes, and their sums, where they were read.
    """
    money, known = prices(settings), known or known_flushes(view)
    some = known.units.containers > 0
    if not some.any():
        return []
    of_groups = {int(known.units.group_id[own.start]): _held_units(known, own, money) for own in _groups(known)}
    rows: ResultRows = []
    oldest = [known.oldest_resolved(flush, some) for flush in range(1, len(known.fresh_g) + 1)]
    unsure = unsure_groups(view, sums)
    for group, called in view.groups().items():
        if group not in of_groups or not len(of_groups[group].soak):
            continue
        held = of_groups[group]
        for flush in range(2, held.fresh.shape[1] + 1):
            if (held.fresh[:, flush - 2] > 0).any():
                derived = unsure[(*called.values(),)]
                estimates = _estimates(held, flush, oldest[flush - 1], settings, money, derived.why)
                share = None if derived.share is None else 100 * derived.share
                rows.append({**called, "flush": flush, **estimates, "derived_pct": share})
    return rows


def _groups(known: KnownFlushes) -> list[slice]:
    """Which units are those of each group."""
    begins = np.flatnonzero(np.diff(known.units.group_id, prepend=-1)).tolist()
    return [slice(first, last) for first, last in zip(begins, [*begins[1:], len(known.units)], strict=True)]


def _held_units(known: KnownFlushes, own: slice, money: Prices) -> HeldUnits:
    """The units of a group with a known number of containers."""
    units = known.units.where(own)
    some: Flags | slice = units.containers > 0
    # Of most groups all: then nothing is copied.
    some = slice(None) if units.containers.min(initial=1) > 0 else some
    units = units.where(some)
    return HeldUnits(
        numbered(units.soak_no),
        units.age,
        units.containers,
        money.cost_of_start(units.containers, units.spawn_g, units.dry_g),
        units.by_choice,
        units.held_days,
        known.fresh_g[:, own][:, some].T,
        known.resolved_age[:, own][:, some].T,
        known.last_age[:, own][:, some].T,
    )


def _waited(held: HeldUnits, flush: int, settings: Settings) -> Flags:
    """Which units gave the flush before and were held for this one. Not those emptied or refilled, by choice, before a
    flush could have begun.
    """
    before = held.fresh[:, flush - 2] > 0
    at_once = held.held_days - held.last_age[:, flush - 2] < whole(settings, "new_flush_after_days")
    waited: Flags = before & ~(held.chosen & at_once & (held.fresh[:, flush - 1] == 0))
    return waited


def stays(held: HeldUnits, flush: int, settings: Settings) -> tuple[Stay, Stay]:
    """The waiting for this flush, of the units kept for it; and the cycles that end with the flush before, of all."""
    known, known_before = held.stands_for(flush), held.stands_for(flush - 1)
    waited = np.flatnonzero((known > 0) & _waited(held, flush, settings))
    cycles = np.flatnonzero(known_before > 0)
    before, after = held.over_on(flush - 1), held.over_on(flush)
    days = np.maximum(after - before, 0)[waited]
    turn = before[cycles] + number(settings, "empty_days")
    so_far = held.fresh[:, : flush - 1].sum(axis=1)
    return (
        Stay(waited, held.soak[waited], known[waited], held.fresh[waited, flush - 1], days * held.containers[waited]),
        Stay(cycles, held.soak[cycles], known_before[cycles], so_far[cycles], turn * held.containers[cycles]),
    )


def _estimates(
    held: HeldUnits, flush: int, oldest: float, settings: Settings, money: Prices, unsure: str | None
) -> ResultRow:
    waiting, anew = stays(held, flush, settings)
    record: ResultRow = {
        "soaks": len(np.unique(waiting.soak)),
        "units_waited": len(waiting.soak),
        "units_not_held": int(((held.fresh[:, flush - 2] > 0) & ~_waited(held, flush, settings)).sum()),
        "gave_pct": None,
        "wait_days": None,
        "wait_g": None,
        **_rates("g", None),
        **_rates("money", None),
    }
    why = unsure or too_early(held.resolved(flush), oldest)
    if not why and not waiting.container_days.any():
        why = "no container was kept for it"
    if why:
        return {**record, "answer": WaitAnswer.CANNOT_TELL, "why": why}
    weight = waiting.stands_for
    containers = weight @ held.containers[waiting.unit]
    record |= {
        "gave_pct": 100 * float(weight @ (waiting.gave > 0) / weight.sum()),
        "wait_days": float(weight @ waiting.container_days / containers),
        "wait_g": float(weight @ waiting.gave / containers),
    }
    soaks = int(held.soak.max()) + 1
    in_g = waiting_against_anew(waiting, anew, soaks)
    priced = None if money.missing else in_money(held, waiting, anew, soaks, money)
    return record | _rates("g", in_g) | _rates("money", priced) | _answer(in_g, priced, money)


def in_money(held: HeldUnits, waiting: Stay, anew: Stay, soaks: int, money: Prices) -> Difference | None:
    """The same in money: waiting costs nothing more, a new container its start. Units whose costs are unknown are left
    out of the cycles.
    """
    cost = held.cost[anew.unit]
    known = ~np.isnan(cost)
    price = (money.price or 0.0) / 1000
    return waiting_against_anew(
        replace(waiting, gave=waiting.gave * price),
        Stay(
            anew.unit[known],
            anew.soak[known],
            anew.stands_for[known],
            anew.gave[known] * price - cost[known],
            anew.container_days[known],
        ),
        soaks,
    )


def _rates(unit: str, found: Difference | None) -> dict[str, float | None]:
    nothing = Ratio(None, None, None, None, 0, np.zeros(0))
    first, second = (found.first, found.second) if found else (nothing, nothing)
    if unit == "g":
        first, second = above_nought(first), above_nought(second)
    record: dict[str, float | None] = {}
    for name, ratio in (("wait", first), ("new", second)):
        record |= {
            f"{name}_{unit}_per_day": ratio.value,
            f"{name}_{unit}_per_day_low": ratio.low,
            f"{name}_{unit}_per_day_high": ratio.high,
        }
    return record | {
        f"difference_{unit}_per_day": found.value if found else None,
        f"difference_{unit}_per_day_low": found.low if found else None,
        f"difference_{unit}_per_day_high": found.high if found else None,
    }


def _answer(in_g: Difference | None, paid: Difference | None, money: Prices) -> ResultRow:
    """Return what the limits say. In money where that is told by enough soaks; in mass only that waiting is better,
    since what a new container costs can but speak against it.
    """
    priced = paid is not None and paid.soaks >= LEAST_SOAKS
    found = paid if priced else in_g
    in_settings = f"{' and '.join(money.missing)} in farm.toml" if money.missing else ""
    lacking = in_settings or "the dry mass or spawn of some batches is missing"
    if found is None or found.low is None or found.high is None or found.soaks < LEAST_SOAKS:
        soaks = found.soaks if found else 0
        return _no(f"only {counted(soaks, 'soak shows', 'soaks show')} it; three are the least")
    if found.low > 0:
        return {"answer": WaitAnswer.WAIT, "why": None}
    if found.high < 0 and priced:
        return {"answer": WaitAnswer.START_ANEW, "why": None}
    if found.high < 0:
        return _no(f"a new container gives more, but what it costs is not known: {lacking}")
    return _no("waiting may bring more or less" + ("" if priced or money.missing else f", in mass; {lacking}"))


def _no(why: str) -> ResultRow:
    return {"answer": WaitAnswer.CANNOT_TELL, "why": why}


def given_so_far(view: LedgerView) -> ResultRows:
    """What a container has given on average by each age. One record per group and age at which anything was picked,
    with the columns of the `given_so_far` contract.
    """
    starts, picked = started_units(view), picked_by_age(view)
    rows: ResultRows = []
    for group, called in view.groups().items():
        own = starts.where(starts.group_id == group)
        events = picked.where(picked.group_id == group)
        if len(events):
            rows += [{**called, **record} for record in _so_far(own, events)]
    return rows


def _so_far(own: StartedUnits, events: PickedByAge) -> ResultRows:
    soak = numbered(own.soak_no)
    which = np.searchsorted(own.unit, events.unit)
    curve = mean_so_far(soak, own.age, which, events.age, events.fresh_g, own.containers)
    rows: ResultRows = []
    for at, age in enumerate(curve.age):
        soaks = len(set(soak[own.age >= age].tolist()))
        wide = t_critical(soaks - 1) * float(curve.error[at]) if soaks >= LEAST_SOAKS else None
        mean = float(curve.mean[at])
        rows.append(
            {
                "day": int(age),
                "containers": int(curve.followed[at]),
                "soaks": soaks,
                "g_per_container": mean,
                "low_g": None if wide is None else max(0.0, mean - wide),
                "high_g": None if wide is None else mean + wide,
            }
        )
    return rows
