"""The command that plans a trial: how much it takes, in which order levels are given out, and rows to fill in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.farm_access import open_the_farm, read_ledger
from pipeline.cli.money_ahead import containers_of, cost_of_containers
from pipeline.cli.options import ReadOptions, spread
from pipeline.cli.rows_to_fill import OutOption, paths_to_fill, write_to_fill
from pipeline.cli.show import Column, notify, print_json, print_sentences, print_table
from schemas.confidence import LEVEL, percent
from schemas.contract import BATCHES, FILLINGS
from schemas.finding import WrongRequest
from schemas.result_rows import Row

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.models.view import LedgerView
    from pipeline.trial.tables import Trial, TrialQuery
    from schemas.result_rows import ResultRows


class TrialList(StrEnum):
    """Which list of a planned trial is wanted."""

    designs = "designs"
    spread = "spread"
    portions = "portions"


# The columns of each list on the screen.
COLUMNS = {
    TrialList.spread: (
        Column("part", "between"),
        Column("sd_points", "SD, points\nof BE", 1),
        Column("degrees", "degrees of\nfreedom", 0),
        Column("planned_sd_points", "planned\nwith", 1),
    ),
    TrialList.portions: (
        Column("block", "block", 0),
        Column("soak", "soak"),
        Column("turn", "turn", 0),
        Column("level", "level"),
        Column("containers", "containers", 0),
    ),
    TrialList.designs: (
        Column("design", "design"),
        Column("soaks", "soaks", 0),
        Column("batches", "batches", 0),
        Column("containers", "con-\ntainers", 0),
        Column("power_pct", "finds it in\n% of trials", 0),
        Column("power_worth_pct", "and worth\nit in %", 0),
        Column("detectable_points", "finds in 80 %:\npoints", 0),
        Column("half_width_points", "interval\n+- points", 0),
        Column("enough", "enough"),
    ),
}


@dataclass(frozen=True)
class TrialOptions:
    """What is tried, and what can be done for it."""

    factor: Annotated[str, typer.Option("--factor", metavar="COLUMN", help="What is tried: a column, or spawn_rate.")]
    levels: Annotated[str, typer.Option("--levels", metavar="LEVELS", help="Its levels, with commas between.")]
    difference: Annotated[
        float | None,
        typer.Option(
            "--difference", metavar="POINTS", help="What is worth finding, in points of BE. Default: see farm.toml."
        ),
    ] = None
    soaks: Annotated[
        int | None,
        typer.Option("--soaks", metavar="N", help="As many soaks a level as you can do. Default: as needed."),
    ] = None
    containers: Annotated[
        int | None, typer.Option("--containers", metavar="N", help="Containers a batch. Default: as usual here.")
    ] = None
    batch_costs: Annotated[
        float | None,
        typer.Option("--batch-costs", metavar="N", help="A batch is as much work as N containers: finds how many pay."),
    ] = None
    seed: Annotated[int, typer.Option("--seed", metavar="N", help="Another number gives out the levels anew.")] = 1


@spread
def trial(
    *,
    tried: TrialOptions,
    out: OutOption = None,
    only: Annotated[TrialList | None, typer.Option("--list", help="Only this list. With --json: designs.")] = None,
    read: ReadOptions,
) -> None:
    """Plan a trial: the soaks and containers it takes by your own records, and the rows to fill in."""
    from pipeline.models.view import Query
    from pipeline.trial.tables import TrialQuery
    from pipeline.trial.tables import trial as plan

    query = TrialQuery(**vars(tried))
    as_of = read.day
    farm = open_the_farm(read.farm)
    paths = paths_to_fill(farm.folder, out)
    with read_ledger(farm, "trial") as ledger:
        found = plan(ledger.view(Query(as_of)), query)
        if found.why_not:
            notify(f"Cannot tell. {found.why_not}")
        if read.json:
            print_json(_list(found, only or TrialList.designs))
        elif only and not found.why_not:
            _show(found, only)
        elif not found.why_not:
            _show_plan(query, found)
            _notify_cost(ledger.view(Query(as_of)), found)
            notify(f"By the records as of {as_of}.")
        if paths:
            _write(paths, found, read.json)


def _notify_cost(view: LedgerView, found: Trial) -> None:
    """Say what the proposed trial costs, where prices are known."""
    if found.design is not None:
        takes = containers_of(found.designs, found.design.split, found.design.soaks)
        cost = cost_of_containers(view, takes)
        if cost:
            notify(cost)


def _list(found: Trial, which: TrialList) -> ResultRows:
    return {"designs": found.designs, "spread": found.spread, "portions": found.portions}[which.value]


def _show(found: Trial, which: TrialList) -> None:
    rows: Sequence[Row] = _list(found, which)
    if which is TrialList.designs:
        rows = [{**row, "enough": "yes" if row["needed"] else ""} for row in rows]
    if rows:
        print_table(rows, COLUMNS[which])
    else:
        print_sentences("No levels are given out: no design is enough. Say how many soaks you can do with --soaks N.")


def _show_plan(query: TrialQuery, found: Trial) -> None:
    """Print the plan: what it takes, what it can show, the order of the levels."""
    print_sentences(_proposal(query, found), _what_it_shows(found), *_remarks(query, found))
    for which in (TrialList.designs, TrialList.portions) if found.portions else (TrialList.designs,):
        typer.echo("")
        _show(found, which)


def _takes(row: Row, levels: int) -> str:
    how = f", each split into {levels}" if row["design"] == "split" else f", {row['soaks_per_level']} of each level"
    return f"{row['soaks']} soaks{how} ({row['batches']} batches, {row['containers']} containers)"


def _proposal(query: TrialQuery, found: Trial) -> str:
    levels = len(query.levels.split(","))
    needed = {row["design"]: row for row in found.designs if row["needed"]}
    goal = f"To find a true difference of {found.difference:g} points of BE in 8 of 10 such trials it takes "
    if "split" in needed:
        other = needed.get("between")
        unsplit = _takes(other, levels) if other else "more than 30 soaks of each level"
        return f"{goal}{_takes(needed['split'], levels)}. With soaks that are not split: {unsplit}."
    if "between" in needed:
        return f"{goal}{_takes(needed['between'], levels)}."
    more = found.enough_containers
    hint = f" {more} containers of each level in each of 8 soaks would be enough." if more else ""
    return (
        f"Even 30 soaks of each level, with {found.batch_size} containers a batch, do not find "
        f"{found.difference:g} points.{hint}"
    )


def _what_it_shows(found: Trial) -> str:
    design = found.design
    if design is None:
        return "Say how many soaks you can do with --soaks N, how many containers a batch with --containers N."
    return (
        f"Proposed: {design.soaks} soaks, {'split' if design.split else 'not split'}. Of a true {found.difference:g} "
        f"points it says which gives more in {100 * design.power:.0f} of 100 such trials, and that it is worth it in "
        f"{100 * design.power_worth:.0f}; {design.detectable:.0f} points it finds in 80 of 100; its "
        f"{percent(LEVEL)} interval will reach about {design.half_width:.0f} points to each side. Finding nothing is "
        "then no proof that there is nothing."
    )


def _remarks(query: TrialQuery, found: Trial) -> list[str]:
    remarks = []
    if found.where.value == "soak":
        levels = len(query.levels.split(","))
        block = "Pairs" if levels == 2 else f"Blocks of {levels}"
        remarks.append(
            f"{query.factor} is done to a whole soak: one bath is never split, so the levels alternate. {block} of "
            "soaks, one of each level, are begun in the same week (a block), so that season and room are the same."
        )
    if any(row["assumed"] for row in found.spread):
        remarks.append("No soak was split often enough here to know how much its parts differ: a quarter is assumed.")
    if any(row["cut"] for row in found.spread):
        remarks.append(
            "Soaks, or their parts, differed no more than chance here; what they may differ is planned with."
        )
    if len(query.levels.split(",")) > 2:
        remarks.append("With more than two levels these figures hold for each pair of them.")
    remarks.append("A trial finds a lasting difference only if nothing else differs between its levels.")
    return remarks


def _write(paths: Mapping[str, Path], found: Trial, json: bool) -> None:
    """Write the rows to fill in. Raises WrongRequest when there are none to write."""
    if found.design is None:
        raise WrongRequest("--out: there is nothing to write, for no design is enough. Say what you can do: --soaks N.")
    write_to_fill(paths, {BATCHES: found.batches, FILLINGS: found.fillings}, json)
