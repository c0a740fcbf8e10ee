"""Days to pins as time to event: how many have pins by which day, losses competing, units still waiting kept in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from pipeline.models.pinned_units import PinnedUnits, WaitsForPins, pinned_units
from pipeline.models.unit_arrays import Numbers, Whole, numbered
from pipeline.stats.incidence import (
    EVENT,
    OTHER_END,
    WAITING,
    Curve,
    cumulative_incidence,
    limits,
    log_log_limits,
    median_day,
)
from pipeline.stats.proportions import LEAST_SOAKS

if TYPE_CHECKING:
    from pipeline.models.view import LedgerView
    from schemas.result_rows import ResultRow, ResultRows

DAYS_SHOWN = (14, 21, 28)  # pins at 15-25 days are usual on straw, 14-49 in print
ENDS = {"waiting": WAITING, "noted": EVENT, "lost": OTHER_END}
TOO_FEW = "fewer than three soaks"


@dataclass(frozen=True)
class Pinning:
    """The units of one group whose pins are noted or not yet there, one entry per unit; and how many are unnoted."""

    days: Numbers
    ends: Whole
    soaks: Whole
    stands_for: Numbers
    unnoted: int

    @cached_property
    def curve(self) -> Curve:
        """The share that has pins by each day."""
        return cumulative_incidence(self.days, self.ends, self.soaks, self.stands_for)

    def count(self, end: int) -> int:
        """Return how many units stand like this: EVENT, OTHER_END or WAITING."""
        return int((self.ends == end).sum())


def pinning(view: LedgerView) -> dict[int, Pinning]:
    """How the units of each group stand to their pins. By the group's number.

    A unit that was picked from without a note of its pins did show them, on an unknown day: the noted ones of its batch
    stand for it. Of batches that note none, nothing is told.
    """
    return {group: of_units(units) for group, units in _by_group(pinned_units(view))}


def _by_group(table: PinnedUnits) -> list[tuple[int, PinnedUnits]]:
    return [(int(units.group_id[0]), units) for units in table.parts(table.group_id)]


def of_units(units: WaitsForPins) -> Pinning:
    """How these units stand to their pins, those without a note stood for."""
    noted, pinned = units.fate != "unnoted", units.fate == "noted"
    batch = numbered(units.batch_line)
    with_day = np.bincount(batch, pinned)
    without = np.bincount(batch, ~noted)
    stands_for = np.where(pinned, 1 + without[batch] / np.maximum(with_day[batch], 1), 1.0)
    return Pinning(
        units.days[noted],
        np.array([ENDS[fate] for fate in units.fate[noted]], dtype=np.int64),
        units.soak_no[noted],
        stands_for[noted],
        int((~noted).sum()),
    )


def pins(view: LedgerView) -> ResultRows:
    """How soon pins show. One record per group, with the columns of the `pins` contract."""
    return _pins(view, pinning(view))


def pins_and_curve(view: LedgerView) -> tuple[ResultRows, ResultRows]:
    """Return what pins and pins_curve do: what they share is read and estimated once."""
    by_group = pinning(view)
    return _pins(view, by_group), _curves(view, by_group)


def _pins(view: LedgerView, by_group: Mapping[int, Pinning]) -> ResultRows:
    return [{**called, **summary(by_group[group])} for group, called in view.groups().items() if group in by_group]


def summary(group: Pinning) -> ResultRow:
    """How soon pins show in these units. The columns of the `pins` contract."""
    curve = group.curve
    soaks = len(np.unique(group.soaks))
    # On the log-log scale, as the limits of a median are told by R's survfit.
    bounds = [limits(curve, at, scale=log_log_limits) for at in range(len(curve.day))]
    median, first, last = median_day(curve, bounds)
    record: ResultRow = {
        "soaks": soaks,
        "units": len(group.ends) + group.unnoted,
        "pinned": group.count(EVENT),
        "lost": group.count(OTHER_END),
        "waiting": group.count(WAITING),
        "units_unnoted": group.unnoted,
        "median_days": median,
        "median_low_days": first,
        "median_high_days": last,
    }
    for day in DAYS_SHOWN:
        record |= _by_day(curve, day)
    return record | {"why_no_interval": None if soaks >= LEAST_SOAKS else TOO_FEW}


def _by_day(curve: Curve, day: int) -> ResultRow:
    share, low, high = pinned_by(curve, day)
    return {f"pinned_by_{day}_pct": share, f"pinned_by_{day}_low_pct": low, f"pinned_by_{day}_high_pct": high}


def pinned_by(curve: Curve, day: int) -> tuple[float | None, float | None, float | None]:
    """Return the share (%) that has pins by this day, with its limits. All None on a day not told yet."""
    if not curve.covers(day):
        return None, None, None
    at = curve.at(day)
    share = 100 * float(curve.share[at]) if at is not None else 0.0
    found = limits(curve, at)
    return (share, 100 * found[0], 100 * found[1]) if found else (share, None, None)


def pins_curve(view: LedgerView) -> ResultRows:
    """The share that has pins by each day. One record per group and day, from 0 to the last day told or the last event,
    with the columns of the `pins_curve` contract.
    """
    return _curves(view, pinning(view))


def _curves(view: LedgerView, by_group: Mapping[int, Pinning]) -> ResultRows:
    return [
        {**called, **record}
        for group, called in view.groups().items()
        if group in by_group
        for record in _curve_rows(by_group[group])
    ]


def _curve_rows(group: Pinning) -> ResultRows:
    curve = group.curve
    if not len(curve.day):
        return []
    rows: ResultRows = []
    soaks, days = len(np.unique(group.soaks)), np.sort(group.days)
    for day in range(int(curve.day[-1]) + 1):
        at = curve.at(day)
        share, low, high = pinned_by(curve, day)
        rows.append(
            {
                "day": day,
                "at_risk": len(days) - int(np.searchsorted(days, day)),
                "soaks": int(curve.soaks[at]) if at is not None else soaks,
                "pinned_pct": share,
                "low_pct": low,
                "high_pct": high,
                "lost_pct": 100 * float(curve.other_share[at]) if at is not None else 0.0,
            }
        )
    return rows
