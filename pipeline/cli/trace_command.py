"""The command for the day a spawn lot goes bad or a buyer rings: trace."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.farm_access import open_the_farm, read_ledger
from pipeline.cli.options import ReadOptions, date_of, spread
from pipeline.cli.show import Column, print_json, print_line, print_sentences, print_table
from schemas.confidence import LEVEL, percent
from schemas.contract import HARVESTS
from schemas.phrases import counted
from schemas.result_rows import Row, day_of, number_if_known, number_of, text_of, whole_of

if TYPE_CHECKING:
    from datetime import date

    from pipeline.models.trace_tables import TraceQuery


class TraceList(StrEnum):
    """Which list of a trace is wanted alone."""

    batches = "batches"
    containers = "containers"
    pickings = "pickings"
    losses = "losses"
    set_aside = "set-aside"


Tables = Mapping[str, Sequence[Row]]

# The result table of each list.
TABLE_OF = {each: f"trace_{each.value}" for each in TraceList} | {TraceList.set_aside: "trace_rejected"}
# Lists longer than this are cut beside the sentences; --list shows the whole.
MOST_ROWS = 20
# The columns of each list on the screen.
COLUMNS = {
    TraceList.batches: (
        Column("relation", "relation"),
        Column("batch", "batch"),
        Column("soak", "soak"),
        Column("spawn_lot", "spawn lot"),
        Column("inoculated_on", "inoculated", whole=True),
        Column("containers", "con-\ntainers", 0),
        Column("running", "run-\nning", 0),
        Column("lost", "lost", 0),
        Column("fresh_g", "kg", 2, 0.001),
    ),
    TraceList.containers: (
        Column("batch", "batch"),
        Column("container", "container"),
        Column("place", "room, place"),
        Column("state", "state"),
        Column("closed_on", "since", whole=True),
        Column("cause", "cause"),
        Column("fresh_g", "kg", 2, 0.001),
        Column("last_picked", "last picked", whole=True),
    ),
    TraceList.pickings: (
        Column("picked_on", "picked", whole=True),
        Column("batch", "batch"),
        Column("container", "container"),
        Column("fresh_g", "g", 0),
        Column("flush", "flush", 0),
        Column("picker", "picker"),
        Column("file", "file"),
        Column("row", "row", 0),
    ),
    TraceList.losses: (
        Column("called", "of"),
        Column("containers", "con-\ntainers", 0),
        Column("not_yet", "not\nyet", 0),
        Column("lost", "lost", 0),
        Column("lost_pct", "lost\n%", 1),
        Column("soaks", "soaks", 0),
        Column("soaks_with_loss", "with a\nloss", 0),
        Column("limits", f"{percent(LEVEL)} limits\nof soaks, %", whole=True),
    ),
    TraceList.set_aside: (
        Column("file", "file"),
        Column("row", "row", 0),
        Column("level", "level"),
        Column("rule", "rule"),
        Column("batch", "batch"),
        Column("container", "container"),
        Column("day", "day", whole=True),
        Column("fresh_g", "g", 0),
    ),
}


@dataclass(frozen=True)
class TraceOptions:
    """What is traced: what is named must all hold."""

    spawn_lot: Annotated[
        str | None, typer.Option("--spawn-lot", metavar="LOT", help="All that this spawn lot went into.")
    ] = None
    soak: Annotated[str | None, typer.Option("--soak", metavar="SOAK", help="All that came out of this soak.")] = None
    batch: Annotated[str | None, typer.Option("--batch", metavar="BATCH", help="This batch.")] = None
    container: Annotated[
        str | None, typer.Option("--container", metavar="CONTAINER", help="All fillings of this container.")
    ] = None
    picked: Annotated[
        str | None, typer.Option("--picked", metavar="DATE", help="All that was picked from on this day.")
    ] = None

    def query(self) -> TraceQuery:
        """Return what is traced. Raises WrongRequest for a --picked that is no date."""
        from pipeline.models.trace_tables import TraceQuery

        picked = date_of("--picked", self.picked) if self.picked else None
        return TraceQuery(self.spawn_lot, self.soak, self.batch, self.container, picked)


@spread
def trace(
    *,
    traced: TraceOptions,
    only: Annotated[TraceList | None, typer.Option("--list", help="Only this list. With --json: containers.")] = None,
    read: ReadOptions,
) -> None:
    """Tell where it came from and what came from it: for the day a spawn lot goes bad, or a buyer rings."""
    from pipeline.models.view import Query
    from pipeline.trace import trace as tracing

    query, as_of = traced.query(), read.day
    with read_ledger(open_the_farm(read.farm), "trace") as ledger:
        tables = tracing.trace(ledger.view(Query(as_of)), query)
    if read.json:
        print_json(tables[TABLE_OF[only or TraceList.containers]])
    elif only:
        _show(only, tables)
    else:
        _show_all(query, as_of, tables)


WHO = {"traced": "what is traced", "near": "those inoculated within 28 days of it", "rest": "all the rest"}


def _shown(which: TraceList, rows: Sequence[Row]) -> Sequence[Row]:
    """Return the rows of a list with the texts that only the screen has."""
    if which is TraceList.containers:
        return [
            {**row, "place": ", ".join(filter(None, (text_of(row, "room"), text_of(row, "position"))))} for row in rows
        ]
    if which is TraceList.losses:
        limits = (f"{r['low_pct']:.0f}-{r['high_pct']:.0f}" if r["low_pct"] is not None else None for r in rows)
        return [
            {**row, "called": WHO[text_of(row, "who")], "limits": text} for row, text in zip(rows, limits, strict=True)
        ]
    return rows


def _show(which: TraceList, tables: Tables, most: int | None = None) -> None:
    """Print one list, whole or its first rows."""
    rows = _shown(which, tables[TABLE_OF[which]])
    # A column of which every cell is empty shows nothing.
    columns = [each for each in COLUMNS[which] if any(row[each.key] not in ("", None) for row in rows)]
    if not rows:
        print_line("None.")
        return
    print_table(rows[:most], columns)
    if most and len(rows) > most:
        print_line(f"... and {len(rows) - most} more: --list {which.value}")


def _called(query: TraceQuery) -> str:
    words = [f"{name.replace('_', ' ')} {value}" for name, value in query.names.items()]
    words += [f"picked on {query.picked}"] if query.picked else []
    text = ", ".join(words)
    return text[:1].upper() + text[1:]


def _show_all(query: TraceQuery, as_of: date, tables: Tables) -> None:
    """Print the whole trace: sentences first, then where it came from, and what came from it."""
    print_sentences(
        _what(query, as_of, tables),
        _picked(query, tables["trace_pickings"]) if tables["trace_containers"] else "",
        _lost(tables["trace_losses"]),
        _rejected(tables["trace_rejected"]),
    )
    lists = [TraceList.batches, TraceList.containers, *([TraceList.pickings] if query.picked else [])]
    for which in lists:
        if tables[TABLE_OF[which]]:
            typer.echo("")
            _show(which, tables, MOST_ROWS)
    if tables["trace_pickings"] and not query.picked:
        typer.echo("\nEvery picking: --list pickings")


def _what(query: TraceQuery, as_of: date, tables: Tables) -> str:
    traced = [row for row in tables["trace_batches"] if row["relation"] == "traced"]
    others = len(tables["trace_batches"]) - len(traced)
    containers = tables["trace_containers"]
    if not containers:
        return f"{_called(query)}, as of {as_of}: only rows that are set aside or waiting."
    running = sum(row["state"] == "running" for row in containers) or "none"
    text = (
        f"{_called(query)}, as of {as_of}: {counted(len(traced), 'batch', 'batches')}, "
        f"{counted(len(containers), 'container')}, {running} of them still running."
    )
    if others:
        text += f" {counted(others, 'other batch shares', 'other batches share')} a soak or a spawn lot with them."
    return text


def _picked(query: TraceQuery, pickings: Sequence[Row]) -> str:
    if not pickings:
        return "Nothing was picked of it."
    text = f"Picked of it: {_weighed(pickings)}."
    of_day = [row for row in pickings if row["asked"]]
    if query.picked and of_day:
        text = f"Picked on that day: {_weighed(of_day)}. From the same containers in all: {_weighed(pickings)}."
    together = sum(row["container"] == "" for row in pickings)
    if together:
        text += f" {together} of these weighed together for a batch: they may be of its other containers too."
    return text


def _weighed(pickings: Sequence[Row]) -> str:
    days = [day_of(row, "picked_on") for row in pickings]
    span = f"on {min(days)}" if min(days) == max(days) else f"from {min(days)} to {max(days)}"
    kilograms = sum(number_of(row, "fresh_g") for row in pickings) / 1000
    return f"{counted(len(pickings), 'picking')}, {kilograms:.2f} kg, {span}"


def _lost(losses: Sequence[Row]) -> str:
    of = {row["who"]: row for row in losses}
    mine = of["traced"]
    if mine["containers"] == 0:
        return ""
    if mine["lost_pct"] is None:
        return "Whether any of it is lost is not known yet: all of it still runs without a picking."
    text = f"Lost without a picking: {_share(mine)}, in {mine['soaks_with_loss']} of {mine['soaks']} soaks."
    others = [f"of {WHO[who]} {_share(of[who])}" for who in ("near", "rest") if of[who]["lost_pct"] is not None]
    if others:
        text += f" For comparison, {'; '.join(others)}."
    if mine["lost"] and number_of(mine, "soaks") < 3:
        text += " From fewer than three soaks it cannot be known whether this is more than chance, or the soak's doing."
    return text


def _share(row: Row) -> str:
    return f"{row['lost']} of {whole_of(row, 'containers') - whole_of(row, 'not_yet')} ({row['lost_pct']:.0f} %)"


def _rejected(rows: Sequence[Row]) -> str:
    if not rows:
        return ""
    pickings = [row for row in rows if row["table_name"] == HARVESTS and row["rule"] != "repeated"]
    kilograms = sum(number_if_known(row, "fresh_g") or 0 for row in pickings) / 1000
    first = rows[0]
    more = f" and {len(rows) - 1} more (--list set-aside)" if len(rows) > 1 else ""
    weight = f", with {kilograms:.2f} kg picked" if kilograms else ""
    return (
        f"Set aside or waiting, and in none of these figures: {counted(len(rows), 'row')}{weight}: "
        f"{first['file']}, row {first['row']}{more}. gillbook check tells how to mend them."
    )
