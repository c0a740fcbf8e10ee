"""The command that plans a trial: how much it takes, in which order levels are given out, and rows to fill in."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pipeline.cli.options import (
    AsOfOption,
    FarmOption,
    JsonOption,
    day,
    refreshed,
    tell,
    tell_set_aside,
    timed,
)
from pipeline.cli.options import the_farm as open_the_farm
from pipeline.cli.show import say
from schemas.finding import OutOfReach, WrongRequest

if TYPE_CHECKING:
    from pipeline.cli.show import Column
    from pipeline.trial.tables import Trial, TrialQuery

Rows = list[dict[str, Any]]


class TrialList(StrEnum):
    """Which list of a planned trial is wanted."""

    designs = "designs"
    spread = "spread"
    portions = "portions"


def trial(
    factor: Annotated[str, typer.Option("--factor", metavar="COLUMN", help="What is tried: a column, or spawn_rate.")],
    levels: Annotated[str, typer.Option("--levels", metavar="LEVELS", help="Its levels, with commas between.")],
    difference: Annotated[
        float | None,
        typer.Option(
            "--difference", metavar="POINTS", help="What is worth finding, in points of BE. Default: see farm.toml."
        ),
    ] = None,
    soaks: Annotated[
        int | None,
        typer.Option("--soaks", metavar="N", help="As many soaks a level as you can do. Default: as needed."),
    ] = None,
    containers: Annotated[
        int | None, typer.Option("--containers", metavar="N", help="Containers a batch. Default: as usual here.")
    ] = None,
    batch_costs: Annotated[
        float | None,
        typer.Option("--batch-costs", metavar="N", help="A batch is as much work as N containers: finds how many pay."),
    ] = None,
    seed: Annotated[int, typer.Option("--seed", metavar="N", help="Another number gives out the levels anew.")] = 1,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="Write the rows to fill in: FILE-batches.csv, FILE-fillings.csv."),
    ] = None,
    only: Annotated[TrialList | None, typer.Option("--list", help="Only this list. With --json: designs.")] = None,
    as_of: AsOfOption = None,
    json: JsonOption = False,
    farm: FarmOption = None,
) -> None:
    """Plan a trial: the soaks and containers it takes by your own records, and the rows to fill in."""
    from pipeline.cli.show import as_json
    from pipeline.models.view import Query
    from pipeline.models.view import opened as open_ledger
    from pipeline.trial.tables import TrialQuery
    from pipeline.trial.tables import trial as plan

    asked = TrialQuery(factor, levels, difference, containers, batch_costs, soaks, seed)
    told_on = day(as_of)
    opened = open_the_farm(farm)
    paths = _paths(opened.folder, out) if out else None
    done = refreshed(opened)
    with timed("trial"), open_ledger(opened.ledger, opened.settings) as ledger:
        found = plan(ledger.view(Query(told_on)), asked)
    if found.why_not:
        tell(f"Cannot tell. {found.why_not}")
    if json:
        as_json(_list(found, only or TrialList.designs))
    elif only and not found.why_not:
        _show(found, only)
    elif not found.why_not:
        _tell(asked, found)
    if paths:
        _write(paths, found, json)
    tell_set_aside(done)


def _list(found: Trial, which: TrialList) -> Rows:
    return {"designs": found.designs, "spread": found.spread, "portions": found.portions}[which.value]


def _columns(which: TrialList) -> list[Column]:
    from pipeline.cli.show import Column

    if which is TrialList.spread:
        return [
            Column("part", "between"),
            Column("sd_points", "SD, points\nof BE", 1),
            Column("degrees", "degrees of\nfreedom", 0),
            Column("planned_sd_points", "planned\nwith", 1),
        ]
    if which is TrialList.portions:
        return [
            Column("block", "block", 0),
            Column("soak", "soak"),
            Column("turn", "turn", 0),
            Column("level", "level"),
            Column("containers", "containers", 0),
        ]
    return [
        Column("design", "design"),
        Column("soaks", "soaks", 0),
        Column("batches", "batches", 0),
        Column("containers", "con-\ntainers", 0),
        Column("power_pct", "finds it in\n% of trials", 0),
        Column("detectable_points", "finds in 80 %:\npoints", 0),
        Column("half_width_points", "interval\n+- points", 0),
        Column("enough", "enough"),
    ]


def _show(found: Trial, which: TrialList) -> None:
    from pipeline.cli.show import as_table

    rows = _list(found, which)
    if which is TrialList.designs:
        rows = [{**row, "enough": "yes" if row["needed"] else ""} for row in rows]
    if rows:
        as_table(rows, _columns(which))
    else:
        say("No levels are given out: no design is enough. Say how many soaks you can do with --soaks N.")


def _tell(asked: TrialQuery, found: Trial) -> None:
    """Prints the plan: what it takes, what it can show, the order of the levels."""
    say(_proposal(asked, found), _what_it_shows(found), *_remarks(asked, found))
    for which in (TrialList.designs, TrialList.portions) if found.portions else (TrialList.designs,):
        typer.echo("")
        _show(found, which)


def _takes(row: dict[str, Any], levels: int) -> str:
    how = f", each split into {levels}" if row["design"] == "split" else f", {row['soaks_per_level']} of each level"
    return f"{row['soaks']} soaks{how} ({row['batches']} batches, {row['containers']} containers)"


def _proposal(asked: TrialQuery, found: Trial) -> str:
    levels = len(asked.levels.split(","))
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
        f"Proposed: {design.soaks} soaks, {'split' if design.split else 'not split'}. It finds {found.difference:g} "
        f"points in {100 * design.power:.0f} of 100 such trials and {design.detectable:.0f} points in 80 of 100; its "
        f"95 % interval will reach about {design.half_width:.0f} points to each side. Finding nothing is then no "
        "proof that there is nothing."
    )


def _remarks(asked: TrialQuery, found: Trial) -> list[str]:
    said = []
    if found.where.value == "soak":
        said.append(
            f"{asked.factor} is done to a whole soak, so soaks cannot be split. Begin the soaks of a block together, "
            "so that season and room are the same for all levels."
        )
    if any(row["assumed"] for row in found.spread):
        said.append("No soak was split often enough here to know how much its parts differ: a quarter is assumed.")
    if any(row["cut"] for row in found.spread):
        said.append("Soaks, or their parts, differed no more than chance here; what they may differ is planned with.")
    if len(asked.levels.split(",")) > 2:
        said.append("With more than two levels these figures hold for each pair of them.")
    said.append("A trial finds a lasting difference only if nothing else differs between its levels.")
    return said


def _paths(folder: Path, out: Path) -> dict[str, Path]:
    """Which files are written? Raises WrongRequest where one exists, or where gillbook would read it as a table."""
    base = out.with_suffix("") if out.suffix.lower() == ".csv" else out
    found = {name: base.with_name(f"{base.name}-{name}.csv") for name in ("batches", "fillings")}
    tables = [folder / name for name in ("batches", "fillings", "observations", "harvests")]
    if any(each.resolve() == base.parent.resolve() for each in tables):
        raise WrongRequest(f"--out {out}: files in {base.parent.name}/ are read as your records. Name another folder.")
    for path in found.values():
        if path.exists():
            raise WrongRequest(f"--out {out}: {path} is there already and was not touched. Name another file.")
    return found


def _write(paths: dict[str, Path], found: Trial, json: bool) -> None:
    """Writes the rows to fill in; never over a file. Raises WrongRequest when there are none to write."""
    if found.design is None:
        raise WrongRequest("--out: there is nothing to write, for no design is enough. Say what you can do: --soaks N.")
    from pipeline.files.write_csv import csv_lines

    for name, rows in (("batches", found.batches), ("fillings", found.fillings)):
        try:
            with open(paths[name], "x", encoding="utf-8", newline="") as file:
                file.writelines(csv_lines(rows, list(rows[0])))
        except FileExistsError as problem:
            raise WrongRequest(f"--out: {paths[name]} is there already and was not touched.") from problem
        except OSError as problem:
            raise OutOfReach(f"{paths[name]} cannot be written: {problem.strerror}.") from problem
        (tell if json else typer.echo)(
            f"{paths[name]}: {len(rows)} rows. Fill in, then copy them to your {name} table."
        )
