"""The command that tells whether another flush is worth the room."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pipeline.cli.growth_commands import ask, between, tell_reasons
from pipeline.cli.measure_commands import show_rows
from pipeline.cli.options import AsOfOption, ByOption, FarmOption, JsonOption, tell

if TYPE_CHECKING:
    from pipeline.cli.show import Column
    from pipeline.models.view import Rows


def another_flush(
    by: ByOption = "substrate",
    curve: Annotated[
        bool, typer.Option("--curve", help="Day by day: what a container has given so far, on average.")
    ] = False,
    as_of: AsOfOption = None,
    json: JsonOption = False,
    farm: FarmOption = None,
) -> None:
    """Tell whether another flush is worth the room: a day of waiting for it against a day of a container begun anew."""

    def measures(settings: Mapping[str, Any]) -> list[Callable[..., Rows]]:
        from pipeline.growth import another_flush as growth

        if curve:
            return [growth.given_so_far]
        return [lambda view: growth.another_flush(view, settings)]

    question, (rows,) = ask(farm, as_of, by, measures)
    if not rows and not json:
        picked = "Nothing" if curve else "No second flush"
        tell(f"{picked} is picked as of {question.as_of}: nothing tells what waiting brings.")
        return
    if curve:
        shown = [{**row, "so_far": between(row, "g_per_container", "low_g", "high_g", 0)} for row in rows]
        if show_rows(question, rows if json else shown, _curve_columns(), json):
            tell(f"As of {question.as_of}. Per container started, lost ones included; 95 % limits from the soaks.")
        return
    priced = any(row["difference_money_per_day"] is not None for row in rows)
    if not show_rows(question, rows if json else _compared(rows, priced), _flush_columns(priced), json):
        return
    tell(
        f"As of {question.as_of}. {'Money' if priced else 'g'} a container-day: waiting for the flush, of containers "
        "kept for it; anew, of a new container kept to the end of the flush before. It holds for a full room: where "
        "places stand empty, waiting costs nothing."
    )
    if not priced:
        tell("What a new container costs is not in it: price_per_kg and spawn_cost_per_kg in farm.toml would tell.")
    told = [{**row, "why": f"flush {row['flush']}: {row['why']}" if row["why"] else None} for row in rows]
    tell_reasons(question, told, "why", "Cannot tell")


def _compared(rows: Rows, priced: bool) -> Rows:
    unit, decimals = ("money", 2) if priced else ("g", 1)
    told = []
    for row in rows:
        name = f"difference_{unit}_per_day"
        told.append(
            {
                **row,
                "waiting": row[f"wait_{unit}_per_day"],
                "anew": row[f"new_{unit}_per_day"],
                "difference": between(row, name, f"{name}_low", f"{name}_high", decimals),
            }
        )
    return told


def _flush_columns(priced: bool) -> list[Column]:
    from pipeline.cli.show import Column

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
    from pipeline.cli.show import Column

    return [
        Column("day", "day", 0),
        Column("containers", "containers\nfollowed", 0),
        Column("soaks", "soaks", 0),
        Column("so_far", "given so far\ng a container", whole=True),
    ]
