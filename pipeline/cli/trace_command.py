"""The command for the day a spawn lot goes bad or a buyer rings: trace."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pipeline.cli.options import (
    AsOfOption,
    FarmOption,
    JsonOption,
    date_of,
    day,
    refreshed,
    tell_set_aside,
    timed,
)
from pipeline.cli.options import the_farm as open_the_farm
from pipeline.cli.show import say

if TYPE_CHECKING:
    from datetime import date

    from pipeline.cli.show import Column
    from pipeline.trace.trace import TraceQuery

Row = dict[str, Any]
Rows = list[Row]


class TraceList(StrEnum):
    """Which list of a trace is wanted alone."""

    batches = "batches"
    containers = "containers"
    pickings = "pickings"
    losses = "losses"
    set_aside = "set-aside"


# The result table of each list.
TABLE_OF = {each.value: f"trace_{each.value}" for each in TraceList} | {"set-aside": "trace_rejected"}
# Lists longer than this are cut in the plain telling; --list tells the whole.
MOST_ROWS = 20

LotOption = Annotated[str | None, typer.Option("--spawn-lot", metavar="LOT", help="All that this spawn lot went into.")]
SoakOption = Annotated[str | None, typer.Option("--soak", metavar="SOAK", help="All that came out of this soak.")]
BatchOption = Annotated[str | None, typer.Option("--batch", metavar="BATCH", help="This batch.")]
ContainerOption = Annotated[
    str | None, typer.Option("--container", metavar="CONTAINER", help="All fillings of this container.")
]
PickedOption = Annotated[
    str | None, typer.Option("--picked", metavar="DATE", help="All that was picked from on this day.")
]
ListOption = Annotated[TraceList | None, typer.Option("--list", help="Only this list. With --json: containers.")]


def trace(
    spawn_lot: LotOption = None,
    soak: SoakOption = None,
    batch: BatchOption = None,
    container: ContainerOption = None,
    picked: PickedOption = None,
    only: ListOption = None,
    as_of: AsOfOption = None,
    json: JsonOption = False,
    farm: FarmOption = None,
) -> None:
    """Tell where it came from and what came from it: for the day a spawn lot goes bad, or a buyer rings."""
    from pipeline.cli.show import as_json
    from pipeline.models.view import Query
    from pipeline.models.view import opened as open_ledger
    from pipeline.trace import trace as tracing

    asked = tracing.TraceQuery(spawn_lot, soak, batch, container, date_of("--picked", picked) if picked else None)
    told_on = day(as_of)
    opened = open_the_farm(farm)
    done = refreshed(opened)
    with timed("trace"), open_ledger(opened.ledger, opened.settings) as ledger:
        tables = tracing.trace(ledger.view(Query(told_on)), asked)
    if json:
        as_json(tables[TABLE_OF[(only or TraceList.containers).value]])
    elif only:
        _show(only.value, tables)
    else:
        _tell(asked, told_on, tables)
    tell_set_aside(done)


def _columns(name: str) -> list[Column]:
    from pipeline.cli.show import Column

    lists = {
        "batches": [
            Column("relation", "relation"),
            Column("batch", "batch"),
            Column("soak", "soak"),
            Column("spawn_lot", "spawn lot"),
            Column("inoculated_on", "inoculated", whole=True),
            Column("containers", "con-\ntainers", 0),
            Column("running", "run-\nning", 0),
            Column("lost", "lost", 0),
            Column("fresh_g", "kg", 2, 0.001),
        ],
        "containers": [
            Column("batch", "batch"),
            Column("container", "container"),
            Column("place", "room, place"),
            Column("state", "state"),
            Column("closed_on", "since", whole=True),
            Column("cause", "cause"),
            Column("fresh_g", "kg", 2, 0.001),
            Column("last_picked", "last picked", whole=True),
        ],
        "pickings": [
            Column("picked_on", "picked", whole=True),
            Column("batch", "batch"),
            Column("container", "container"),
            Column("fresh_g", "g", 0),
            Column("flush", "flush", 0),
            Column("picker", "picker"),
            Column("file", "file"),
            Column("row", "row", 0),
        ],
        "losses": [
            Column("called", "of"),
            Column("containers", "con-\ntainers", 0),
            Column("not_yet", "not\nyet", 0),
            Column("lost", "lost", 0),
            Column("lost_pct", "lost\n%", 1),
            Column("soaks", "soaks", 0),
            Column("soaks_with_loss", "with a\nloss", 0),
            Column("limits", "95 % limits\nof soaks, %", whole=True),
        ],
        "set-aside": [
            Column("file", "file"),
            Column("row", "row", 0),
            Column("level", "level"),
            Column("rule", "rule"),
            Column("batch", "batch"),
            Column("container", "container"),
            Column("day", "day", whole=True),
            Column("fresh_g", "g", 0),
        ],
    }
    return lists[name]


WHO = {"traced": "what is traced", "near": "those inoculated within 28 days of it", "rest": "all the rest"}


def _shown(name: str, rows: Rows) -> Rows:
    """The rows of a list with the texts that only the plain telling has."""
    if name == "containers":
        return [{**row, "place": ", ".join(filter(None, (row["room"], row["position"])))} for row in rows]
    if name == "losses":
        limits = (f"{r['low_pct']:.0f}-{r['high_pct']:.0f}" if r["low_pct"] is not None else None for r in rows)
        return [{**row, "called": WHO[row["who"]], "limits": told} for row, told in zip(rows, limits, strict=True)]
    return rows


def _show(name: str, tables: dict[str, Rows], most: int | None = None) -> None:
    """Prints one list, whole or its first rows."""
    from pipeline.cli.show import as_table

    rows = _shown(name, tables[TABLE_OF[name]])
    # A column of which every cell is empty tells nothing.
    columns = [each for each in _columns(name) if any(row[each.key] not in ("", None) for row in rows)]
    if not rows:
        typer.echo("None.")
        return
    as_table(rows[:most], columns)
    if most and len(rows) > most:
        typer.echo(f"... and {len(rows) - most} more: --list {name}")


def _called(asked: TraceQuery) -> str:
    words = [f"{name.replace('_', ' ')} {value}" for name, value in asked.names.items()]
    words += [f"picked on {asked.picked}"] if asked.picked else []
    told = ", ".join(words)
    return told[:1].upper() + told[1:]


def _tell(asked: TraceQuery, told_on: date, tables: dict[str, Rows]) -> None:
    """Prints the whole trace: sentences first, then where it came from, and what came from it."""
    say(
        _what(asked, told_on, tables),
        _picked(asked, tables["trace_pickings"]) if tables["trace_containers"] else "",
        _lost(tables["trace_losses"]),
        _rejected(tables["trace_rejected"]),
    )
    for name in ("batches", "containers", *(["pickings"] if asked.picked else [])):
        if tables[TABLE_OF[name]]:
            typer.echo("")
            _show(name, tables, MOST_ROWS)
    if tables["trace_pickings"] and not asked.picked:
        typer.echo("\nEvery picking: --list pickings")


def _counted(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


def _what(asked: TraceQuery, told_on: date, tables: dict[str, Rows]) -> str:
    traced = [row for row in tables["trace_batches"] if row["relation"] == "traced"]
    others = len(tables["trace_batches"]) - len(traced)
    containers = tables["trace_containers"]
    if not containers:
        return f"{_called(asked)}, as of {told_on}: only rows that are set aside or waiting."
    running = sum(row["state"] == "running" for row in containers) or "none"
    told = (
        f"{_called(asked)}, as of {told_on}: {_counted(len(traced), 'batch', 'batches')}, "
        f"{_counted(len(containers), 'container', 'containers')}, {running} of them still running."
    )
    if others:
        told += f" {_counted(others, 'other batch shares', 'other batches share')} a soak or a spawn lot with them."
    return told


def _picked(asked: TraceQuery, pickings: Rows) -> str:
    if not pickings:
        return "Nothing was picked of it."
    told = f"Picked of it: {_weighed(pickings)}."
    of_day = [row for row in pickings if row["asked"]]
    if asked.picked and of_day:
        told = f"Picked on that day: {_weighed(of_day)}. From the same containers in all: {_weighed(pickings)}."
    together = sum(row["container"] == "" for row in pickings)
    if together:
        told += f" {together} of these weighed together for a batch: they may be of its other containers too."
    return told


def _weighed(pickings: Sequence[Row]) -> str:
    days = [row["picked_on"] for row in pickings]
    span = f"on {min(days)}" if min(days) == max(days) else f"from {min(days)} to {max(days)}"
    kilograms = sum(row["fresh_g"] for row in pickings) / 1000
    return f"{_counted(len(pickings), 'picking', 'pickings')}, {kilograms:.2f} kg, {span}"


def _lost(losses: Rows) -> str:
    of = {row["who"]: row for row in losses}
    mine = of["traced"]
    if mine["containers"] == 0:
        return ""
    if mine["lost_pct"] is None:
        return "Whether any of it is lost is not told yet: all of it still runs without a picking."
    told = f"Lost without a picking: {_share(mine)}, in {mine['soaks_with_loss']} of {mine['soaks']} soaks."
    others = [f"of {WHO[who]} {_share(of[who])}" for who in ("near", "rest") if of[who]["lost_pct"] is not None]
    if others:
        told += f" For comparison, {'; '.join(others)}."
    if mine["lost"] and mine["soaks"] < 3:
        told += " From fewer than three soaks it cannot be told whether this is more than chance, or the soak's doing."
    return told


def _share(row: Row) -> str:
    return f"{row['lost']} of {row['containers'] - row['not_yet']} ({row['lost_pct']:.0f} %)"


def _rejected(rows: Rows) -> str:
    if not rows:
        return ""
    pickings = [row for row in rows if row["table_name"] == "harvests" and row["rule"] != "repeated"]
    kilograms = sum(row["fresh_g"] or 0 for row in pickings) / 1000
    first = rows[0]
    more = f" and {len(rows) - 1} more (--list set-aside)" if len(rows) > 1 else ""
    weight = f", with {kilograms:.2f} kg picked" if kilograms else ""
    return (
        f"Set aside or waiting, and in none of these figures: {_counted(len(rows), 'row', 'rows')}{weight}: "
        f"{first['file']}, row {first['row']}{more}. gillbook check tells how to mend them."
    )
