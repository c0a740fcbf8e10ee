"""The result tables of a plan, from the ledger: which batches to begin when, what the weeks will give, and which
containers it takes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from pipeline.farm.settings import Settings, whole
from pipeline.models.plan_records import container_uses, preparation
from pipeline.models.trial_batches import batch_names
from pipeline.models.view import Query
from pipeline.outlook.ahead import Ahead, look_ahead
from pipeline.outlook.backtest import HIGH80, LOW80, MEDIAN, history_weeks
from pipeline.outlook.history import WEEKS_BACK, PastBatches, read_history
from pipeline.outlook.tables import too_little
from pipeline.planning.containers import Allotment, Available, Start, allotted
from pipeline.planning.foresight import (
    TOGETHER,
    SpansAhead,
    best_age,
    container_size,
    days_filled,
    deliveries,
    latest_alike,
    most_spans,
    start_days,
)
from pipeline.planning.recipes import PerContainer, per_container, recipe_name, recipe_of
from pipeline.planning.rows import plan_rows
from pipeline.planning.starts import WANTED_CHANCE, Foreseen, containers_needed
from pipeline.trial.rows import Cells, free_prefix
from schemas.finding import WrongRequest
from schemas.result_rows import ResultRow, ResultRows, in_columns

if TYPE_CHECKING:
    from pipeline.models.view import Ledger

MOST_KG = 100_000.0


@dataclass(frozen=True)
class PlanQuery:
    """What is wanted: so many kg in every span of `length` days, `count` of them from a day on (None: as soon as
    batches begun now can give it); recipe: its strain, substrate or both (None: that of the last batch).
    """

    kg: float
    length: int = 7
    from_day: date | None = None
    count: int = 8
    recipe: str | None = None


@dataclass(frozen=True)
class Plan:
    """The tables `plan_starts`, `plan_weeks` and `plan_containers` as their contracts say; batches, fillings: rows to
    fill in. why_not: why nothing can be planned (None: it can). recipe: its name; recipes: of the farm; age_days: how
    long before its first span a batch is begun; one: what a container takes; first_served: the first day of a span
    that is not too soon; borrowed_from: whose level the recipe has.
    """

    why_not: str | None = None
    starts: ResultRows = field(default_factory=list)
    weeks: ResultRows = field(default_factory=list)
    containers: ResultRows = field(default_factory=list)
    batches: list[Cells] = field(default_factory=list)
    fillings: list[Cells] = field(default_factory=list)
    recipe: str = ""
    recipes: int = 0
    age_days: int = 0
    one: PerContainer | None = None
    first_served: date | None = None
    borrowed_from: str = ""
    containers_known: bool = False


@dataclass(frozen=True)
class _Basis:
    """What a plan is made from: the past, the outlook, a batch of the recipe, what a container takes and holds."""

    history: PastBatches
    as_of: date
    ahead: Ahead
    like: int
    size: float
    one: PerContainer
    age: int

    @property
    def earliest(self) -> int:
        """Return in how many days a batch can be begun at the earliest: its substrate is begun with today."""
        return max(1, self.one.soak_days)


def plan(ledger: Ledger, as_of: date, query: PlanQuery) -> Plan:
    """Return the batches to begin after `as_of`, so that every span gives what is wanted with a chance of 80 %.

    Raises WrongRequest for amounts and days that cannot be, and for a recipe that is none of the farm's.
    """
    _check(as_of, query)
    history, day = read_history(ledger, as_of), as_of.toordinal()
    why_not = too_little(history, as_of, history_weeks(history, day))
    if why_not:
        return Plan(why_not)
    like = recipe_of(history, day, query.recipe)
    latest = latest_alike(history, day, int(history.alike[like]))
    if not len(latest):
        return Plan(_no_containers(history, like))
    ahead = look_ahead(history, day)
    prepared = preparation(ledger, as_of - timedelta(weeks=WEEKS_BACK))
    size = container_size(history, latest, ahead.likeness.fill_power)
    age = best_age(ahead.drawing.lend, query.length)
    basis = _Basis(history, as_of, ahead, like, size, per_container(history, latest, prepared), age)
    return _planned(ledger, basis, query)


def _planned(ledger: Ledger, basis: _Basis, query: PlanQuery) -> Plan:
    spans = _spans(basis, query)
    days, served_by = start_days(spans, basis.age, basis.earliest)
    found = containers_needed(deliveries(basis.ahead, basis.like, basis.size, spans, days), served_by, query.kg)
    view = ledger.view(Query(basis.as_of))
    begun = [(day, number) for day, number in zip(days, found.containers.tolist(), strict=True) if number]
    prefix = free_prefix(batch_names(view), "P")
    starts = [Start(f"{prefix}{at}", day, number) for at, (day, number) in enumerate(begun, 1)]
    filled = days_filled(basis.ahead.drawing.lend) + whole(ledger.settings, "empty_days")
    there = [
        Available(_free_in(each.inoculated_on, each.ended_on, basis.as_of, filled), at, each.container, each.batch)
        for at, each in enumerate(container_uses(view))
    ]
    taken = allotted(there, [*_planned_already(basis), *starts], filled) if there else {}
    rows = _start_rows(basis, starts, taken, ledger.settings)
    recipe = basis.history.recipes[basis.like]
    batches, fillings = plan_rows(rows, recipe, taken)
    begun_by_now = basis.history.start <= basis.as_of.toordinal()
    return Plan(
        starts=rows,
        weeks=_week_rows(basis, query, spans, found, [bool(each) for each in served_by]),
        containers=_container_rows(basis.as_of, starts, taken),
        batches=batches,
        fillings=fillings,
        recipe=recipe_name(recipe),
        recipes=len({int(each) for each in basis.history.alike[begun_by_now]}),
        age_days=basis.age,
        one=basis.one,
        first_served=basis.as_of + timedelta(days=basis.earliest + basis.age),
        borrowed_from=basis.ahead.drawing.lend.source(basis.like),
        containers_known=bool(there),
    )


def _check(as_of: date, query: PlanQuery) -> None:
    if not 0 < query.kg <= MOST_KG:
        raise WrongRequest(f"--kg {query.kg:g}: name more than 0 kg, and no more than {MOST_KG:,.0f}.")
    if query.count < 1:
        raise WrongRequest(f"--weeks {query.count}: name a number from 1 on.")
    if query.from_day and query.from_day <= as_of:
        raise WrongRequest(f"--from {query.from_day}: that day is past. Name one from {as_of + timedelta(days=1)} on.")
    if query.from_day:
        _check_reach(as_of, (query.from_day - as_of).days, query)


def _spans(basis: _Basis, query: PlanQuery) -> SpansAhead:
    """Return the spans that are asked for. Raises WrongRequest where they reach further than an outlook does."""
    soonest = basis.earliest + basis.age + (TOGETHER - 1) * query.length
    first = (query.from_day - basis.as_of).days if query.from_day else soonest
    _check_reach(basis.as_of, first, query)
    return SpansAhead(first, query.length, query.count)


def _check_reach(as_of: date, first: int, query: PlanQuery) -> None:
    most = most_spans(first, query.length)
    if query.count > most:
        weeks, last = most * query.length // 7, as_of + timedelta(days=first - 1 + most * query.length)
        which = f"{weeks} weeks, up to {last}," if most else "nothing"
        raise WrongRequest(
            f"--weeks {query.count * query.length // 7}: from {as_of + timedelta(days=first)} on, {which} can be "
            "foreseen: an outlook reaches 26 weeks. Name fewer, or an earlier day."
        )


def _no_containers(history: PastBatches, like: int) -> str:
    return (
        f"No batch of {recipe_name(history.recipes[like])} says how many containers it filled, so what one of them "
        "gives is not known. Fill in containers_filled in batches.csv, or a row for each container in fillings.csv."
    )


def _free_in(inoculated_on: date, ended_on: date | None, as_of: date, filled: int) -> int:
    """Return in how many days a container is free: none where it is, else once it was filled as long as usual."""
    if ended_on is not None:
        return 0
    return max(1, (inoculated_on - as_of).days + filled)


def _planned_already(basis: _Basis) -> list[Start]:
    """Return the batches of days to come that are in the records already: they take containers too."""
    history, day = basis.history, basis.as_of.toordinal()
    return [
        Start(name, start - day, int(containers))
        for name, start, containers in zip(
            history.names, history.start.tolist(), history.containers.tolist(), strict=True
        )
        if start > day and not np.isnan(containers)
    ]


def _start_rows(
    basis: _Basis, starts: Sequence[Start], taken: Mapping[str, Allotment], settings: Settings
) -> ResultRows:
    return in_columns("plan_starts", [_start_row(basis, each, taken.get(each.batch), settings) for each in starts])


def _start_row(basis: _Basis, start: Start, taken: Allotment | None, settings: Settings) -> ResultRow:
    one, on = basis.one, basis.as_of + timedelta(days=start.day)
    order_by = on - timedelta(days=whole(settings, "spawn_lead_days"))
    spawn = None if one.spawn_kg is None else one.spawn_kg * start.containers
    bag = settings["spawn_bag_kg"]
    return {
        "batch": start.batch,
        "recipe": recipe_name(basis.history.recipes[basis.like]),
        "order_by": order_by,
        "order_late": order_by < basis.as_of,
        "spawn_kg": spawn,
        "spawn_bags": ceil(spawn / float(bag)) if spawn is not None and isinstance(bag, int | float) else None,
        "soak_on": on - timedelta(days=one.soak_days),
        "inoculate_on": on,
        "containers": start.containers,
        "substrate_dry_kg": None if one.dry_kg is None else one.dry_kg * start.containers,
        "serves_from": on + timedelta(days=basis.age),
        "containers_free": len(taken.free) if taken else None,
        "containers_late": len(taken.late) if taken else None,
        "containers_lacking": taken.lacking if taken else None,
    }


def _week_rows(
    basis: _Basis, query: PlanQuery, spans: SpansAhead, found: Foreseen, served: Sequence[bool]
) -> ResultRows:
    rows: ResultRows = []
    for at in range(spans.count):
        first = basis.as_of + timedelta(days=spans.first + at * spans.length)
        rows.append(
            {
                "first_day": first,
                "last_day": first + timedelta(days=spans.length - 1),
                "wanted_kg": query.kg,
                "running_kg": float(found.base_kg[at]),
                "plan_kg": float(found.plan_kg[at]),
                "median_kg": float(found.bands_kg[at, MEDIAN]),
                "low80_kg": float(found.bands_kg[at, LOW80]),
                "high80_kg": float(found.bands_kg[at, HIGH80]),
                "chance_pct": 100 * float(found.chances[at]),
                "enough": bool(found.chances[at] >= WANTED_CHANCE),
                "too_soon": not served[at],
            }
        )
    return in_columns("plan_weeks", rows)


def _container_rows(as_of: date, starts: Sequence[Start], taken: Mapping[str, Allotment]) -> ResultRows:
    rows: ResultRows = []
    for start in starts:
        mine = taken.get(start.batch, Allotment((), (), 0))
        for each in (*mine.free, *mine.late):
            rows.append(
                {
                    "batch": start.batch,
                    "inoculate_on": as_of + timedelta(days=start.day),
                    "container": each.container,
                    "holds": each.batch,
                    "free_from": as_of + timedelta(days=each.free_in),
                    "free_in_time": each.free_in <= start.day,
                }
            )
    return in_columns("plan_containers", rows)
