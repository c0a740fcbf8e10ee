"""The result tables of promises: the chance of meeting each, what helps where it is small, and what can still be
promised.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from pipeline.farm.settings import whole
from pipeline.models.promises import Delivery, deliveries, promises
from pipeline.models.unit_arrays import Numbers
from pipeline.models.unsold_records import unsold_records
from pipeline.outlook.ahead import Ahead, FarmPast, read_past
from pipeline.outlook.backtest import MOST_WEEKS, history_weeks
from pipeline.outlook.history import PastBatches
from pipeline.outlook.running import RunningBatches
from pipeline.outlook.tables import too_little
from pipeline.planning.more_for_promise import More, more_containers
from pipeline.planning.pickings_ahead import picked_by_day
from pipeline.planning.recipes import recipe_name
from pipeline.planning.serving import Due, Serving, met
from pipeline.planning.starts import WANTED_CHANCE
from pipeline.planning.unsold import days_needed, unsold
from schemas.finding import WrongRequest
from schemas.phrases import did_you_mean
from schemas.result_rows import ResultRow, ResultRows, in_columns

if TYPE_CHECKING:
    from pipeline.models.view import Ledger

DRAWS = 1500
# With which chances it is said how much can still be promised.
CHANCES = (0.80, 0.95)


@dataclass(frozen=True)
class PromiseCheck:
    """The tables `promise_chances` and `promise_room` as their contracts say. why_not: why nothing is told (None: it
    is). unsold_kg: what lies there and can still be sold; sales_known: whether any sale of these days is logged, else
    nothing counts as lying there; shelf_days: of farm.toml; any_promised: whether anything is promised at all;
    unknown_strains: what is said of strains that no batch has.
    """

    why_not: str | None = None
    chances: ResultRows = field(default_factory=list)
    room: ResultRows = field(default_factory=list)
    unsold_kg: float = 0.0
    sales_known: bool = False
    shelf_days: int = 0
    any_promised: bool = False
    unknown_strains: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Outcome:
    """What is due, in the order in which it is served, and what it gets of each draw."""

    due: list[Delivery]
    shelves: Serving
    got_kg: Numbers


def check_promises(
    ledger: Ledger,
    as_of: date,
    weeks: int = 8,
    on: date | None = None,
    with_room: bool = True,
    past: FarmPast | None = None,
) -> PromiseCheck:
    """Return the chances of what is due from `as_of` on for so many weeks, and how much more can be promised for the
    last day of each of these weeks, or for the day `on`. with_room: without it, only the chances. past: where
    it has been read.

    Raises WrongRequest for weeks or a day beyond what an outlook reaches.
    """
    days = _days(as_of, weeks, on)
    promised = promises(ledger)
    due = served_in_order(deliveries(promised, as_of, as_of + timedelta(days=days)))
    past = past or read_past(ledger, as_of)
    history, day = past.history, past.day
    shelf_days = whole(ledger.settings, "shelf_days")
    why_not = too_little(history, as_of, history_weeks(history, day))
    if why_not:
        return PromiseCheck(why_not, shelf_days=shelf_days, any_promised=bool(promised))
    ahead = past.ahead(DRAWS)
    strains = [*dict.fromkeys(each.strain.casefold() for each in due if each.strain), "the others"]
    first = as_of - timedelta(days=days_needed(shelf_days) - 1)
    records = unsold_records(ledger, first, as_of)
    lies_there = unsold(records, strains, day, shelf_days) * bool(records.left)
    picked = picked_by_day(ahead, _by_strain(ahead, strains), days, day)
    outcome = _outcome(due, Serving(lies_there, picked, ()), strains, as_of)
    return PromiseCheck(
        chances=_chance_rows(as_of, history, ahead, outcome, shelf_days),
        room=_room_rows(as_of, outcome.shelves, weeks, on) if with_room else [],
        unsold_kg=float(lies_there.sum()),
        sales_known=bool(records.left),
        shelf_days=shelf_days,
        any_promised=bool(promised),
        unknown_strains=_unknown_strains(due, history),
    )


def _unknown_strains(due: Sequence[Delivery], history: PastBatches) -> tuple[str, ...]:
    known = {strain.casefold(): strain for _, strain in history.recipes if strain}
    found = dict.fromkeys(each.strain for each in due if each.strain and each.strain.casefold() not in known)
    return tuple(
        f"No batch is of the strain {strain}, which is promised.{did_you_mean(strain, known.values(), any_case=True)}"
        for strain in found
    )


def served_in_order(due: Sequence[Delivery]) -> list[Delivery]:
    """Return what is due in the order in which it is served: by day, and of one day those that name a strain first."""
    return sorted(due, key=lambda each: (each.due_on, not each.strain))


def _days(as_of: date, weeks: int, on: date | None) -> int:
    if not 1 <= weeks <= MOST_WEEKS:
        raise WrongRequest(f"--weeks {weeks}: promises are checked for 1 to {MOST_WEEKS} weeks.")
    last = as_of + timedelta(weeks=MOST_WEEKS)
    if on is not None and not as_of <= on <= last:
        raise WrongRequest(f"--on {on}: name a day from {as_of} to {last}.")
    return max(7 * weeks, (on - as_of).days if on else 0)


def _by_strain(ahead: Ahead, strains: Sequence[str]) -> list[RunningBatches]:
    """Return the batches that run or are planned of each strain; the last: of all others."""
    recipes, wanted = ahead.drawing.lend.history.recipes, ahead.targets_wanted
    named = [recipes[batch][1].casefold() for batch in wanted.batch.tolist()]
    others = len(strains) - 1
    of = np.array([strains.index(strain) if strain in strains else others for strain in named], dtype=np.int64)
    return [wanted.where(of == strain) for strain in range(len(strains))]


def _outcome(due: list[Delivery], shelves: Serving, strains: Sequence[str], as_of: date) -> _Outcome:
    wanted = tuple(
        Due(
            (each.due_on - as_of).days,
            float(each.weight_g) / 1000,
            strains.index(each.strain.casefold()) if each.strain else None,
        )
        for each in due
    )
    shelves = Serving(shelves.stock_kg, shelves.picked_kg, wanted)
    return _Outcome(due, shelves, shelves.serve()[0])


def _chance_rows(as_of: date, history: PastBatches, ahead: Ahead, outcome: _Outcome, shelf_days: int) -> ResultRows:
    chances = met(outcome.got_kg, outcome.shelves.due).mean(axis=0)
    rows: ResultRows = []
    for at, (each, wanted) in enumerate(zip(outcome.due, outcome.shelves.due, strict=True)):
        chance, got = float(chances[at]), outcome.got_kg[:, at]
        row: ResultRow = {
            "due_on": each.due_on,
            "buyer": each.buyer or None,
            "strain": each.strain or None,
            "promised_kg": wanted.kg,
            "chance_pct": 100 * chance,
            "median_kg": float(np.median(got)),
            "low80_kg": float(np.quantile(got, 0.1)),
            "enough": chance >= WANTED_CHANCE,
        }
        like = _like(history, as_of, each.strain)
        short = wanted.kg - got
        more = None if row["enough"] or like is None else more_containers(ahead, like, short, wanted.day, shelf_days)
        rows.append({**row, **_more_cells(as_of, history, like, more)})
    return in_columns("promise_chances", rows)


def _more_cells(as_of: date, history: PastBatches, like: int | None, more: More | None) -> ResultRow:
    if more is None or like is None:
        return {"more_containers": None, "more_of": None, "inoculate_by": None}
    return {
        "more_containers": more.containers,
        "more_of": recipe_name(history.recipes[like]),
        "inoculate_by": as_of + timedelta(days=more.start_by),
    }


def _like(history: PastBatches, as_of: date, strain: str) -> int | None:
    """Return the last batch begun of this strain (blank: of any) that says its containers; None where there is none."""
    mine = (history.start <= as_of.toordinal()) & ~np.isnan(history.containers)
    if strain:
        mine &= np.array([each[1].casefold() == strain.casefold() for each in history.recipes], dtype=bool)
    found = np.flatnonzero(mine)
    return int(found[-1]) if len(found) else None


def _room_rows(as_of: date, shelves: Serving, weeks: int, on: date | None) -> ResultRows:
    days = [(on - as_of).days] if on else [7 * week for week in range(1, weeks + 1)]
    rows: ResultRows = []
    for day in days:
        kg = shelves.can_be_promised(day)
        low = [float(np.quantile(kg, 1 - chance)) for chance in CHANCES]
        promised = sum(each.kg for each in shelves.due if each.day == day)
        rows.append(
            {
                "due_on": as_of + timedelta(days=day),
                "promised_kg": promised,
                "more80_kg": low[0],
                "more95_kg": low[1],
                "median_kg": float(np.median(kg)),
            }
        )
    return in_columns("promise_room", rows)
