"""The command that plans backwards, from what is wanted every week to what is begun when: plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.farm_access import open_the_farm, read_ledger
from pipeline.cli.options import ReadOptions, date_of, spread
from pipeline.cli.rows_to_fill import OutOption, paths_to_fill, write_to_fill
from pipeline.cli.show import Column, notify, print_json, print_sentences, print_table
from schemas.contract import BATCHES, FILLINGS
from schemas.finding import WrongRequest
from schemas.phrases import counted, listed
from schemas.result_rows import Row, number_of, whole_of

if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path

    from pipeline.planning.tables import Plan, PlanQuery

NAMED = 5  # containers that a sentence names


class PlanList(StrEnum):
    """Which list of a plan is wanted."""

    starts = "starts"
    weeks = "weeks"
    containers = "containers"


class Every(StrEnum):
    """How often something is wanted."""

    week = "week"
    two_weeks = "two-weeks"

    @property
    def days(self) -> int:
        """The length of one time in days."""
        return 7 if self is Every.week else 14


# The columns of each list on the screen.
COLUMNS = {
    PlanList.starts: (
        Column("batch", "batch"),
        Column("order_by", "order\nspawn by", whole=True),
        Column("spawn_kg", "spawn\nkg", 1),
        Column("spawn_bags", "bags", 0),
        Column("soak_on", "soak on", whole=True),
        Column("inoculate_on", "inoculate", whole=True),
        Column("containers", "con-\ntainers", 0),
        Column("containers_free", "free\nthen", 0),
    ),
    PlanList.weeks: (
        Column("first_day", "from", whole=True),
        Column("running_kg", "runs\nkg", 1),
        Column("plan_kg", "plan\nkg", 1),
        Column("median_kg", "median\nkg", 1),
        Column("band80", "80 % band\nkg", whole=True),
        Column("chance", "at least\nthat much", whole=True),
    ),
    PlanList.containers: (
        Column("batch", "batch"),
        Column("inoculate_on", "inoculate", whole=True),
        Column("container", "container"),
        Column("holds", "holds"),
        Column("free_from", "free from", whole=True),
        Column("in_time", "in time"),
    ),
}


@dataclass(frozen=True)
class PlanOptions:
    """What is wanted, how often, from when, and of what."""

    kg: Annotated[float, typer.Option("--kg", metavar="KG", help="How many kg are wanted each time.")]
    every: Annotated[Every, typer.Option("--every", help="How often: every week, or every two-weeks.")] = Every.week
    start: Annotated[
        str | None,
        typer.Option(
            "--from", metavar="DATE", help="The first day. Default: as soon as batches begun now can give it."
        ),
    ] = None
    weeks: Annotated[int, typer.Option("--weeks", metavar="N", help="For how many weeks.")] = 8
    recipe: Annotated[
        str | None,
        typer.Option("--recipe", metavar="NAME", help="Strain, substrate or both: grey on straw. Default: the last."),
    ] = None

    def query(self) -> PlanQuery:
        """Return what is wanted. Raises WrongRequest for weeks that make no whole number of times."""
        from pipeline.planning.tables import PlanQuery

        times, rest = divmod(self.weeks * 7, self.every.days)
        if rest:
            raise WrongRequest(f"--weeks {self.weeks}: with --every {self.every} name an even number.")
        start = None if self.start is None else date_of("--from", self.start, ahead=True)
        return PlanQuery(self.kg, self.every.days, start, times, self.recipe)


@spread
def plan(
    *,
    wanted: PlanOptions,
    out: OutOption = None,
    only: Annotated[PlanList | None, typer.Option("--list", help="Only this list. With --json: starts.")] = None,
    read: ReadOptions,
) -> None:
    """Plan backwards: what to begin, order and have free by when, so that so many kg can be picked every week."""
    from pipeline.planning.tables import plan as measure

    as_of = read.day
    query = wanted.query()
    farm = open_the_farm(read.farm)
    paths = paths_to_fill(farm.folder, out)
    with read_ledger(farm, "plan") as ledger:
        found = measure(ledger, as_of, query)
        if found.why_not:
            notify(f"Cannot tell. {found.why_not}")
        if read.json:
            print_json(_list(found, only or PlanList.starts))
        elif only and not found.why_not:
            _show(found, only)
        elif not found.why_not:
            _show_plan(query, found)
            _notify_basis(as_of, found)
        if paths:
            _write(paths, found, read.json)


def _list(found: Plan, which: PlanList) -> Sequence[Row]:
    return {"starts": found.starts, "weeks": found.weeks, "containers": found.containers}[which.value]


def _show(found: Plan, which: PlanList) -> None:
    rows = [_in_words(row) for row in _list(found, which)]
    if rows:
        print_table(rows, COLUMNS[which])
    elif which is PlanList.starts or found.containers_known:
        print_sentences("Nothing has to be begun.")
    else:
        print_sentences("No containers are named in fillings.csv: which are free is not known.")


def _in_words(row: Row) -> Row:
    if "low80_kg" in row:
        band = f"{row['low80_kg']:.1f}-{row['high80_kg']:.1f}"
        late = " (too soon)" if row["too_soon"] and not row["enough"] else ""
        return {**row, "band80": band, "chance": f"{row['chance_pct']:.0f} %{late}"}
    if "free_in_time" in row:
        return {**row, "in_time": "yes" if row["free_in_time"] else "no"}
    return {**row, "order_by": f"{row['order_by']}{' !' if row['order_late'] else ''}"}


def _show_plan(query: PlanQuery, found: Plan) -> None:
    print_sentences(_headline(query, found))
    lists = (PlanList.starts, PlanList.weeks) if found.starts else (PlanList.weeks,)
    for which in lists:
        typer.echo("")
        _show(found, which)
    remarks = [*_short_weeks(query, found), *_orders(found), *_collisions(found)]
    if remarks:
        typer.echo("")
        print_sentences(*remarks)


def _headline(query: PlanQuery, found: Plan) -> str:
    first, last = found.weeks[0], found.weeks[-1]
    every = "every week" if query.length == 7 else "every two weeks"
    wanted = f"{query.kg:g} kg {every} from {first['first_day']} to {last['last_day']}"
    if not found.starts:
        if all(row["enough"] for row in found.weeks):
            return f"{wanted}: nothing has to be begun for it."
        late = all(row["too_soon"] or row["enough"] for row in found.weeks)
        return f"{wanted}: {'all begins too late for it' if late else 'nothing that is begun gives so much'}."
    containers = sum(whole_of(row, "containers") for row in found.starts)
    batches = counted(len(found.starts), "batch", "batches")
    return (
        f"{wanted}: begin {batches} of {found.recipe}, {counted(containers, 'container')} in all. Here a batch gives "
        f"most from {found.age_days} days after inoculation on; each week is served by up to three batches."
    )


def _short_weeks(query: PlanQuery, found: Plan) -> list[str]:
    """Return what is said of weeks that do not reach their chance: they are too soon, or too much is wanted."""
    from pipeline.planning.starts import MOST_CONTAINERS

    short = [row for row in found.weeks if not row["enough"]]
    soon = [row for row in short if row["too_soon"]]
    said = []
    if soon:
        said.append(
            f"Too soon for a plan: {counted(len(soon), 'time')} from {soon[0]['first_day']} on. A batch that is begun "
            f"now gives most from {found.first_served} on."
        )
    if len(short) > len(soon):
        best = max(number_of(row, "chance_pct") for row in short if not row["too_soon"])
        said.append(
            f"{query.kg:g} kg cannot be had in 80 of 100 weeks with up to {MOST_CONTAINERS:,} containers a batch: in "
            f"{best:.0f} at best. Name fewer kg; where whole batches fail often, smaller ones, two a week, would help."
        )
    return said


def _orders(found: Plan) -> list[str]:
    one, late = found.one, [str(row["batch"]) for row in found.starts if row["order_late"]]
    said = []
    if found.starts and one and one.spawn_kg is None:
        said.append("How much spawn it takes is not known: no batch of the recipe has its spawn_kg and its containers.")
    elif late:
        said.append(f"! The day to order spawn by is past for {listed(late)}: it has to be there, or come sooner.")
    if found.starts and one and not one.soak_days_known:
        said.append("No batch of the recipe says how long it was soaked or heated: a day is taken.")
    return said


def _collisions(found: Plan) -> list[str]:
    """Return where containers are not free, or are not there."""
    if found.starts and not found.containers_known:
        return ["No containers are named in fillings.csv: which are free then is not known."]
    said = []
    for row in found.starts:
        late = [each for each in found.containers if each["batch"] == row["batch"] and not each["free_in_time"]]
        parts = [f"not free by then: {_named(late)}"] if late else []
        if lacking := whole_of(row, "containers_lacking"):
            parts.append(f"{lacking} more than the farm has")
        if parts:
            said.append(
                f"{row['batch']} on {row['inoculate_on']} needs {row['containers']} containers: {'; '.join(parts)}."
            )
    return said


def _named(late: Sequence[Row]) -> str:
    shown = [f"{row['container']} ({row['holds']}, until about {row['free_from']})" for row in late[:NAMED]]
    more = len(late) - len(shown)
    return listed([*shown, f"{more} more"] if more else shown)


def _notify_basis(as_of: date, found: Plan) -> None:
    """Say what the plan rests on."""
    other = " Another recipe: --recipe." if found.recipes > 1 else ""
    notify(
        f"As of {as_of}. The days, decline and losses are those of your past batches (level: {found.borrowed_from}); "
        f"each week is to give that much in 80 of 100.{other}"
    )


def _write(paths: dict[str, Path], found: Plan, json: bool) -> None:
    if not found.starts:
        raise WrongRequest("--out: there is nothing to write, for nothing is to be begun.")
    write_to_fill(paths, {BATCHES: found.batches, FILLINGS: found.fillings}, json)
