"""The command that tells whether another flush is worth the room."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.group_screen import notify_derived, notify_reasons, print_groups, read_groups, with_limits
from pipeline.cli.money_ahead import prices_of_day, would_tell
from pipeline.cli.options import ByOption, ReadOptions, spread
from pipeline.cli.show import Column, notify
from schemas.confidence import LEVEL, percent
from schemas.result_rows import Row

if TYPE_CHECKING:
    from pipeline.models.view import Query


@spread
def another_flush(
    by: ByOption = "substrate",
    curve: Annotated[
        bool, typer.Option("--curve", help="Day by day: what a container has given so far, on average.")
    ] = False,
    *,
    read: ReadOptions,
) -> None:
    """Tell whether another flush is worth the room: a day of waiting for it against a day of a container begun anew."""
    from pipeline.growth import another_flush as growth
    from pipeline.models.flush_rule import flush_rule

    with read_groups(read, by, "growth") as view:
        rule = flush_rule(view)
        rows = growth.given_so_far(view) if curve else growth.another_flush(view, view.settings)
    if not rows and not read.json:
        picked = "Nothing" if curve else "No second flush"
        notify(f"{picked} is picked as of {view.query.as_of}: nothing tells what waiting brings.")
    elif curve:
        _show_curve(view.query, rows, read.json)
    else:
        _show_flushes(view.query, rows, read.json, prices_of_day(view.settings))
        notify_derived(rule, read.json)


def _show_curve(query: Query, rows: Sequence[Row], json: bool) -> None:
    shown = [{**row, "so_far": with_limits(row, "g_per_container", "low_g", "high_g", 0)} for row in rows]
    if print_groups(query, rows if json else shown, _curve_columns(), json):
        notify(
            f"As of {query.as_of}. Per container started, lost ones included; {percent(LEVEL)} limits from the soaks."
        )


def _show_flushes(query: Query, rows: Sequence[Row], json: bool, reckoned: str) -> None:
    priced = any(row["difference_money_per_day"] is not None for row in rows)
    shown = rows if json else [_compared(row, priced) for row in rows]
    if not print_groups(query, shown, _flush_columns(priced), json):
        return
    notify(
        f"As of {query.as_of}. {'Money' if priced else 'g'} a container-day: waiting for the flush, of containers "
        "kept for it; anew, of a new container kept to the end of the flush before. It holds for a full room: where "
        "places stand empty, waiting costs nothing."
    )
    if not priced:
        notify(f"What a new container costs is not in it: {would_tell(query.as_of)}")
    elif reckoned:
        notify(reckoned)
    open_ones = [{**row, "why": f"flush {row['flush']}: {row['why']}"} for row in rows if row["why"]]
    notify_reasons(query, open_ones, "why", "Cannot tell")


def _compared(row: Row, priced: bool) -> Row:
    """Return a row with both sides and their difference, in money where there are prices, else in g."""
    unit, decimals = ("money", 2) if priced else ("g", 1)
    name = f"difference_{unit}_per_day"
    return {
        **row,
        "waiting": row[f"wait_{unit}_per_day"],
        "anew": row[f"new_{unit}_per_day"],
        "difference": with_limits(row, name, f"{name}_low", f"{name}_high", decimals),
    }


def _flush_columns(priced: bool) -> list[Column]:
    decimals = 2 if priced else 1
    return [
        Column("flush", "flush", 0),
        Column("gave_pct", "gave\nit %", 0),
        Column("wait_days", "wait\ndays", 0),
        Column("waiting", "wait-\ning", decimals),
        Column("anew", "anew", decimals),
        Column("difference", "difference", whole=True),
        Column("answer", "answer", whole=True),
    ]


def _curve_columns() -> list[Column]:
    return [
        Column("day", "day", 0),
        Column("containers", "containers\nfollowed", 0),
        Column("soaks", "soaks", 0),
        Column("so_far", "given so far\ng a container", whole=True),
    ]
