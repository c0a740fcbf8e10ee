"""The result tables of the outlook, from the ledger: what is to come week by week, from which batches, and how well
this would have held before.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from pipeline.models.outlook_records import rejected_count
from pipeline.models.unit_arrays import Numbers
from pipeline.outlook import backtest
from pipeline.outlook.ahead import Ahead, FarmPast, read_past
from pipeline.outlook.backtest import (
    BANDS,
    HIGH50,
    HIGH80,
    LOW50,
    LOW80,
    MEDIAN,
    MOST_WEEKS,
    WEEK_ENDS,
    Past,
    Spans,
    single_weeks,
)
from pipeline.outlook.drawing import LEAST_DONORS
from pipeline.outlook.history import PastBatches
from pipeline.outlook.need import need
from pipeline.outlook.widening import FIRST_DAYS, WANTED_SHARE, within
from schemas.finding import WrongRequest
from schemas.phrases import did_you_mean
from schemas.result_rows import ResultRow, ResultRows, in_columns

if TYPE_CHECKING:
    from pipeline.models.view import Ledger


@dataclass(frozen=True)
class Outlook:
    """The tables `outlook`, `outlook_batches`, `outlook_by_batch`, `outlook_past` and `outlook_need` as their contracts
    say. why_not: why nothing is told (None: it is). history_weeks: how far the records reach back; few_past: fewer past
    weeks were seen than the farm's own past needs to outweigh what simulated farms needed. undated, pickings_set_aside:
    batches without a day, and pickings, that no figure holds. silent_since: the last day with a picking, where it is so
    old that entries seem to be missing.
    """

    why_not: str | None
    history_weeks: float
    weeks: ResultRows = field(default_factory=list)
    batches: ResultRows = field(default_factory=list)
    by_batch: ResultRows = field(default_factory=list)
    past: ResultRows = field(default_factory=list)
    need: ResultRows = field(default_factory=list)
    few_past: bool = False
    undated: int = 0
    pickings_set_aside: int = 0
    silent_since: date | None = None


@dataclass(frozen=True)
class Wanted:
    """So many kg by a day; like: the batch that more batches would be like (None: the last one begun)."""

    kg: float
    by: date
    like: str | None = None


def outlook(
    ledger: Ledger, as_of: date, weeks: int = 8, wanted: Wanted | None = None, past: FarmPast | None = None
) -> Outlook:
    """Return what is to come in the weeks after `as_of`. Also from batches that are planned: inoculated after it.
    past: where it has been read.

    Raises WrongRequest for weeks beyond MOST_WEEKS, for a day that is past or too far, and for a batch that is not.
    """
    _check(as_of, weeks, wanted)
    past = past or read_past(ledger, as_of)
    history, day = past.history, past.day
    known_weeks = backtest.history_weeks(history, day)
    why_not = too_little(history, as_of, known_weeks)
    if why_not:
        return Outlook(why_not, known_weeks, undated=history.undated)
    ahead = past.ahead()
    return Outlook(
        None,
        known_weeks,
        weeks=_weeks(as_of, ahead, weeks),
        batches=_batches(history, ahead, weeks),
        by_batch=_by_batch(history, ahead, weeks),
        past=_past(ahead.past, weeks),
        need=_need(history, as_of, ahead, wanted) if wanted else [],
        few_past=len(ahead.past.origins) < FIRST_DAYS,
        undated=history.undated,
        pickings_set_aside=rejected_count(ledger, as_of),
        silent_since=date.fromordinal(known) if (known := backtest.known_until(history, day)) < day else None,
    )


def _check(as_of: date, weeks: int, wanted: Wanted | None) -> None:
    if not 1 <= weeks <= MOST_WEEKS:
        raise WrongRequest(f"--weeks {weeks}: an outlook is told for 1 to {MOST_WEEKS} weeks.")
    if wanted is None:
        return
    if not wanted.kg > 0:
        raise WrongRequest(f"--need {wanted.kg:g}: name more than 0 kg.")
    if not as_of < wanted.by <= as_of + timedelta(weeks=MOST_WEEKS):
        last = as_of + timedelta(weeks=MOST_WEEKS)
        raise WrongRequest(f"--by {wanted.by}: name a day from {as_of + timedelta(days=1)} to {last}.")


def too_little(history: PastBatches, as_of: date, weeks: float) -> str | None:
    """Return why nothing can be foreseen. None where it can."""
    if weeks == 0:
        return f"There is nothing to borrow from: no batch was inoculated before {as_of}."
    if weeks <= backtest.REFUSED_WEEKS:
        first = date.fromordinal(int(history.start.min()))
        from_day = first + timedelta(days=7 * backtest.REFUSED_WEEKS + 1)
        return (
            f"The records reach back {weeks:.0f} weeks; more than {backtest.REFUSED_WEEKS} are needed to learn from. "
            f"From {from_day} on it can be foreseen."
        )
    begun = int((history.start < as_of.toordinal()).sum())
    if begun < LEAST_DONORS:
        there = "1 past batch is" if begun == 1 else f"{begun} past batches are"
        return f"Only {there} there to borrow from; at least {LEAST_DONORS} are needed."
    return None


def _ends(ends: Numbers, of: str = "") -> dict[str, float]:
    names = {"median_kg": MEDIAN, "low50_kg": LOW50, "high50_kg": HIGH50, "low80_kg": LOW80, "high80_kg": HIGH80}
    return {f"{of}{name}": float(ends[at]) for name, at in names.items()}


def _weeks(as_of: date, ahead: Ahead, weeks: int) -> ResultRows:
    means = [single_weeks(kg[:, WEEK_ENDS - 1].mean(axis=0)) for kg in (ahead.found.running, ahead.found.planned)]
    bands_kg, sums_kg = ahead.weeks_kg, ahead.sums_kg
    rows: ResultRows = []
    for week in range(weeks):
        first = as_of + timedelta(days=7 * week + 1)
        rows.append(
            {
                "week": week + 1,
                "first_day": first,
                "last_day": first + timedelta(days=6),
                "running_kg": float(means[0][week]),
                "planned_kg": float(means[1][week]),
                **_ends(bands_kg[week]),
                "widened_by": float(ahead.factors.weeks[week]),
                "batches_without_donors": int(ahead.found.without_donors[WEEK_ENDS[week] - 1]),
                **_held(ahead.past.weeks, week),
                **_ends(sums_kg[week], "sum_"),
                **_sums_held(ahead.past.sums, week),
            }
        )
    return in_columns("outlook", rows)


def _held(past: Spans, week: int) -> ResultRow:
    """Return how well a week so far ahead would have been foreseen on the past days, with the bands of then."""
    actual = past.actual[:, week]
    seen = ~np.isnan(actual)
    names = [f"past_held_{100 * level:.0f}_pct" for level in BANDS]
    if not seen.any():
        return {"past_seen": 0, **dict.fromkeys((*names, "past_kg", "past_off_kg"))}
    off = np.abs(actual - past.bands_kg[:, week, MEDIAN])
    held = {name: 100 * float(within(past, level)[seen, week].mean()) for name, level in zip(names, BANDS, strict=True)}
    return {
        "past_seen": int(seen.sum()),
        **held,
        "past_kg": float(actual[seen].mean()),
        "past_off_kg": float(off[seen].mean()),
    }


def _sums_held(past: Spans, week: int) -> ResultRow:
    held = within(past)[:, week]
    held = held[~np.isnan(held)]
    return {"sum_past_seen": len(held), "sum_past_held_80_pct": 100 * float(held.mean()) if len(held) else None}


def _batches(history: PastBatches, ahead: Ahead, weeks: int) -> ResultRows:
    rows: ResultRows = []
    for target, lent in zip(ahead.targets_wanted, ahead.found.borrowed, strict=True):
        if -target.age >= 7 * weeks:
            continue
        containers = history.containers[target.batch]
        rows.append(
            {
                "batch": history.names[target.batch],
                "state": "planned" if target.planned else "running",
                "inoculated_on": date.fromordinal(int(history.start[target.batch])),
                "containers": None if np.isnan(containers) else int(containers),
                "substrate_dry_kg": _number(history.dry_kg[target.batch]),
                "running_pct": 100 * target.running,
                "donors": lent.donors if lent else 0,
                "borrowed_from": lent.source if lent else None,
                "weeks_known": min(weeks, lent.days_known // 7) if lent else 0,
                "expected_kg": float(lent.kg[7 * weeks - 1]) if lent else None,
            }
        )
    return in_columns("outlook_batches", rows)


def _by_batch(history: PastBatches, ahead: Ahead, weeks: int) -> ResultRows:
    """What each batch gives in each week on average: the means of a week add up to that of all."""
    rows: ResultRows = []
    for target, lent in zip(ahead.targets_wanted, ahead.found.borrowed, strict=True):
        if -target.age >= 7 * weeks:
            continue
        kg = single_weeks(lent.kg[WEEK_ENDS[:weeks] - 1]) if lent else np.zeros(weeks)
        name = history.names[target.batch]
        rows += [{"week": week, "batch": name, "expected_kg": each} for week, each in enumerate(kg.tolist(), 1)]
    return in_columns("outlook_by_batch", sorted(rows, key=lambda row: (row["week"], row["batch"])))


def _number(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _past(past: Past, weeks: int) -> ResultRows:
    held = within(past.weeks, WANTED_SHARE)
    rows: ResultRows = []
    for at, day in enumerate(past.origins.tolist()):
        for week in np.flatnonzero(~np.isnan(past.weeks.actual[at, :weeks])).tolist():
            first = date.fromordinal(day + 7 * week + 1)
            rows.append(
                {
                    "foreseen_on": date.fromordinal(day),
                    "week": week + 1,
                    "first_day": first,
                    "last_day": first + timedelta(days=6),
                    **_ends(past.weeks.bands_kg[at, week]),
                    "actual_kg": float(past.weeks.actual[at, week]),
                    "held_80": bool(held[at, week]),
                }
            )
    return in_columns("outlook_past", rows)


def _need(history: PastBatches, as_of: date, ahead: Ahead, wanted: Wanted) -> ResultRows:
    like = _like(history, as_of, wanted.like)
    found = need(ahead, wanted.kg, (wanted.by - as_of).days, like)
    rows: ResultRows = [
        {
            "need_kg": wanted.kg,
            "by": wanted.by,
            "more_batches": each.more,
            "like_batch": history.names[like],
            "start_from": as_of + timedelta(days=1),
            "start_by": as_of + timedelta(days=each.start_in) if each.start_in else None,
            "chance_pct": 100 * each.chance,
            "median_kg": each.median,
            "low80_kg": each.low80,
            "high80_kg": each.high80,
            "widened_by": found.widened,
            "batches_without_donors": found.without_donors,
        }
        for each in found.chances
    ]
    return in_columns("outlook_need", rows)


def _like(history: PastBatches, as_of: date, name: str | None) -> int:
    """Return the batch that more batches would be like: the one named, else the last one begun."""
    if name is None:
        return int(np.flatnonzero(history.start <= as_of.toordinal())[-1])
    if name not in history.names:
        hint = did_you_mean(name, history.names, any_case=True)
        raise WrongRequest(f"--like {name}: there is no such batch with a day of inoculation.{hint}")
    return history.names.index(name)
