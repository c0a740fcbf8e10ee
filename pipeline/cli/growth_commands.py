"""The commands that tell growth over time: flushes, pins."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.group_screen import (
    TOGETHER,
    group_name,
    notify_derived,
    notify_reasons,
    print_groups,
    read_groups,
    with_limits,
)
from pipeline.cli.options import ByOption, ReadOptions, spread
from pipeline.cli.show import Column, notify
from schemas.confidence import LEVEL, percent
from schemas.phrases import counted
from schemas.result_rows import ResultRows, Row, whole_of

if TYPE_CHECKING:
    from pipeline.models.view import Query

STARTED = ("decline_started", "decline_started_low", "decline_started_high")
PER_FLUSH = ("decline_per_flush_pct", "decline_per_flush_low_pct", "decline_per_flush_high_pct")
# So many groups get a sentence under the table: our choice, no source.
MOST_DECLINES = 4


@spread
def flushes(
    by: ByOption = "batch",
    per_flush: Annotated[
        bool, typer.Option("--per-flush", help="One number per group instead: by how much each flush gives less.")
    ] = False,
    *,
    read: ReadOptions,
) -> None:
    """Tell what each flush gave and how it declines against the first, with limits from the soaks."""
    from pipeline.growth import flushes as growth
    from pipeline.models.flush_rule import flush_rule

    with read_groups(read, by, "growth") as view:
        (rows, declines), rule = growth.flushes_and_declines(view), flush_rule(view)
    if per_flush:
        _show_declines(view.query, [*declines], read.json)
    else:
        _show_flushes(view.query, rows, declines, read.json)
    notify_derived(rule, read.json)


def _show_flushes(query: Query, rows: ResultRows, declines: Iterator[Row], json: bool) -> None:
    columns = [
        Column("flush", "flush", 0),
        Column("units_known", "known", 0),
        Column("units_not_yet", "not\nyet", 0),
        Column("fresh_g", "fresh\nkg", 2, 0.001),
        Column("fresh_g_per_container", "kg per\ncontainer", 2, 0.001),
        Column("share_pct", "share\n%", 1),
        Column("started", "of flush 1,\nper container", whole=True),
        Column("decline_gave", "where\nit came", 2),
    ]
    for row in () if json else rows:
        row["started"] = with_limits(row, *STARTED, 2) if row["flush"] != 1 else None
    if not print_groups(query, rows, columns, json):
        return
    notify(
        f"As of {query.as_of}. known: containers of which the flush is over; share: of closed or lapsed ones. of "
        f"flush 1, per container started, with {percent(LEVEL)} limits from the soaks; where it came: in the "
        f"containers that gave it. {TOGETHER}"
    )
    for decline in islice((row for row in declines if row[PER_FLUSH[0]] is not None), MOST_DECLINES):
        shown = with_limits(decline, *PER_FLUSH, 0)
        notify(f"{group_name(query, decline)}: each flush gives {shown} % less than the one before.")
    _notify_why(query, rows, STARTED[0])


def _show_declines(query: Query, rows: Sequence[Row], json: bool) -> None:
    columns = [
        Column("soaks", "soaks", 0),
        Column("flushes_used", "flushes\nafter 1", 0),
        Column(PER_FLUSH[0], "less per\nflush %", 1),
        Column(PER_FLUSH[1], f"{percent(LEVEL)}\nfrom", 1),
        Column(PER_FLUSH[2], f"{percent(LEVEL)}\nto", 1),
    ]
    if print_groups(query, rows, columns, json):
        notify(f"As of {query.as_of}. Per container started, one share from flush to flush; limits from the soaks.")
        _notify_why(query, rows, PER_FLUSH[0])


def _notify_why(query: Query, rows: Sequence[Row], column: str) -> None:
    """Say why a decline is missing, and why its limits are."""
    notify_reasons(query, [row for row in rows if row[column] is None], "why_no_decline", "No decline")
    notify_reasons(query, [row for row in rows if row[column] is not None], "why_no_decline", "No limits")


@spread
def pins(
    by: ByOption = "substrate",
    curve: Annotated[bool, typer.Option("--curve", help="Day by day: the share with pins by each day.")] = False,
    *,
    read: ReadOptions,
) -> None:
    """Tell by which day pins show: lost containers compete, waiting ones count as long as they were followed."""
    from pipeline.growth import pins as growth

    with read_groups(read, by, "growth") as view:
        rows = growth.pins_curve(view) if curve else growth.pins(view)
    shown = rows if read.json else [_on_screen(row, curve) for row in rows]
    if not print_groups(view.query, shown, _pins_columns(curve), read.json):
        return
    notify(
        f"As of {view.query.as_of}. Of all containers started; in brackets {percent(LEVEL)} limits, from the soaks. "
        f"half by: the day by which half of them had pins. {TOGETHER}"
    )
    if curve:
        return
    unnoted = sum(whole_of(row, "units_unnoted") for row in rows)
    if unnoted:
        were = counted(unnoted, "container was", "containers were")
        notify(f"{were} picked from without a note of pins: the noted ones of their batch stand for them.")
    notify_reasons(view.query, rows, "why_no_interval", "No limits")


def _on_screen(row: Row, curve: bool) -> Row:
    """Return a row with its numbers and limits as texts."""
    if curve:
        return {**row, "pins": with_limits(row, "pinned_pct", "low_pct", "high_pct", 0)}
    by_day = {
        f"pinned_by_{day}": with_limits(
            row, f"pinned_by_{day}_pct", f"pinned_by_{day}_low_pct", f"pinned_by_{day}_high_pct", 0
        )
        for day in (21, 28)
    }
    return {**row, "half": with_limits(row, "median_days", "median_low_days", "median_high_days", 0), **by_day}


def _pins_columns(curve: bool) -> list[Column]:
    if curve:
        return [
            Column("day", "day", 0),
            Column("at_risk", "waiting", 0),
            Column("soaks", "soaks", 0),
            Column("pins", "with pins %", whole=True),
            Column("lost_pct", "lost %", 0),
        ]
    return [
        Column("soaks", "soaks", 0),
        Column("pinned", "pins", 0),
        Column("lost", "lost", 0),
        Column("waiting", "wait-\ning", 0),
        Column("half", "half by\nday", whole=True),
        Column("pinned_by_21", "by day\n21 %", whole=True),
        Column("pinned_by_28", "by day\n28 %", whole=True),
    ]
