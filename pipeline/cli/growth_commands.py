"""The commands that tell growth over time: flushes, pins."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pipeline.cli.measure_commands import show_rows
from pipeline.cli.options import (
    AsOfOption,
    ByOption,
    FarmOption,
    JsonOption,
    day,
    refreshed,
    tell,
    tell_set_aside,
    timed,
)
from pipeline.cli.options import the_farm as open_the_farm

if TYPE_CHECKING:
    from pipeline.cli.show import Column
    from pipeline.models.view import Query, Rows

Row = dict[str, Any]


def ask(
    farm_dir: Path | None,
    as_of: str | None,
    by: str,
    asked_for: Callable[[Mapping[str, Any]], list[Callable[..., Rows]]],
    through: int | None = None,
) -> tuple[Query, list[Rows]]:
    """Brings the ledger up to date and puts the question to the measures; they are named late, for they load numpy.
    `asked_for` is given the farm's settings.
    """
    from pipeline.models.groups import grouping
    from pipeline.models.view import Query, opened

    query = Query(day(as_of), grouping(by), through)
    farm = open_the_farm(farm_dir)
    done = refreshed(farm)
    with timed("growth"), opened(farm.ledger, farm.settings) as ledger:
        view = ledger.view(query)
        found = [measure(view) for measure in asked_for(farm.settings)]
    tell_set_aside(done)
    return query, found


def called(query: Query, row: Row) -> str:
    """What is a row's group called, in a sentence?"""
    return " ".join(row[name] or "(blank)" for name in query.by) or "the farm"


def between(row: Row, name: str, low: str, high: str, decimals: int) -> str | None:
    """How is a number with its limits shown? Like "24 (22-26)", "-3 (-5 to 1)"; None where the number is missing."""
    if row[name] is None:
        return None
    # Rounded first: -0.3 without decimals is 0 and not -0.
    told, *ends = (
        "?" if row[each] is None else f"{round(row[each], decimals) + 0.0:.{decimals}f}" for each in (name, low, high)
    )
    if ends == ["?", "?"]:
        return told
    to = " to " if ends[0].startswith("-") else "-"
    return f"{told} ({ends[0]}{to}{ends[1]})"


def flushes(
    by: ByOption = "batch",
    per_flush: Annotated[
        bool, typer.Option("--per-flush", help="One number per group instead: by how much each flush gives less.")
    ] = False,
    as_of: AsOfOption = None,
    json: JsonOption = False,
    farm: FarmOption = None,
) -> None:
    """Tell what each flush gave and how it declines against the first, with limits from the soaks."""
    from pipeline.cli.show import Column

    query, (rows, declines) = ask(farm, as_of, by, _flush_measures)
    if per_flush:
        _show_declines(query, declines, json)
        return
    columns = [
        Column("flush", "flush", 0),
        Column("units_known", "known", 0),
        Column("units_not_yet", "not\nyet", 0),
        Column("fresh_g", "fresh\nkg", 2, 0.001),
        Column("share_pct", "share\n%", 1),
        Column("started", "of flush 1,\nper container", whole=True),
        Column("decline_gave", "where\nit came", 2),
    ]
    if not json:
        limits = ("decline_started", "decline_started_low", "decline_started_high")
        rows = [{**row, "started": between(row, *limits, 2) if row["flush"] > 1 else None} for row in rows]
    if not show_rows(query, rows, columns, json):
        return
    tell(
        f"As of {query.as_of}. known: told through the flush; share: of closed or lapsed units. of flush 1, per "
        "container started, with 95 % limits from the soaks; where it came: in the containers that gave it."
    )
    for row in [row for row in declines if row["decline_per_flush_pct"] is not None][:4]:
        shown = between(row, *PER_FLUSH, 0)
        tell(f"{called(query, row)}: each flush gives {shown} % less than the one before.")
    _tell_why(query, rows, "decline_started")


PER_FLUSH = ("decline_per_flush_pct", "decline_per_flush_low_pct", "decline_per_flush_high_pct")


def _flush_measures(_: Mapping[str, Any]) -> list[Callable[..., Rows]]:
    from pipeline.growth import flushes as growth

    return [growth.flushes, growth.declines]


def _show_declines(query: Query, rows: Rows, json: bool) -> None:
    from pipeline.cli.show import Column

    columns = [
        Column("soaks", "soaks", 0),
        Column("flushes_used", "flushes\nafter 1", 0),
        Column(PER_FLUSH[0], "less per\nflush %", 1),
        Column(PER_FLUSH[1], "95 %\nfrom", 1),
        Column(PER_FLUSH[2], "95 %\nto", 1),
    ]
    if show_rows(query, rows, columns, json):
        tell(f"As of {query.as_of}. Per container started, one share from flush to flush; limits from the soaks.")
        _tell_why(query, rows, PER_FLUSH[0])


def _tell_why(query: Query, rows: Rows, column: str) -> None:
    """Says why a decline is missing, and why its limits are."""
    tell_reasons(query, [row for row in rows if row[column] is None], "why_no_decline", "No decline")
    tell_reasons(query, [row for row in rows if row[column] is not None], "why_no_decline", "No limits")


def pins(
    by: ByOption = "substrate",
    curve: Annotated[bool, typer.Option("--curve", help="Day by day: the share with pins by each day.")] = False,
    as_of: AsOfOption = None,
    json: JsonOption = False,
    farm: FarmOption = None,
) -> None:
    """Tell by which day pins show: lost containers compete, waiting ones count as long as they were followed."""
    query, (rows,) = ask(farm, as_of, by, _curve_measures if curve else _pins_measures)
    shown = show_rows(query, [*rows] if json else _with_limits(rows, curve), _pins_columns(curve), json)
    if not shown:
        return
    tell(
        f"As of {query.as_of}. Of all containers started; in brackets 95 % limits, from the soaks. "
        "half by: the day by which half of them had pins."
    )
    if curve:
        return
    unnoted = sum(row["units_unnoted"] for row in rows)
    if unnoted:
        tell(f"{unnoted} units were picked from without a note of pins: the noted ones of their batch stand for them.")
    tell_reasons(query, rows, "why_no_interval", "No limits")


def _pins_measures(_: Mapping[str, Any]) -> list[Callable[..., Rows]]:
    from pipeline.growth.pins import pins as measure

    return [measure]


def _curve_measures(_: Mapping[str, Any]) -> list[Callable[..., Rows]]:
    from pipeline.growth.pins import pins_curve

    return [pins_curve]


def _with_limits(rows: Rows, curve: bool) -> Rows:
    if curve:
        return [{**row, "pins": between(row, "pinned_pct", "low_pct", "high_pct", 0)} for row in rows]
    told = []
    for row in rows:
        record = {**row, "half": between(row, "median_days", "median_low_days", "median_high_days", 0)}
        for at in (21, 28):
            name = f"pinned_by_{at}"
            record[name] = between(row, f"{name}_pct", f"{name}_low_pct", f"{name}_high_pct", 0)
        told.append(record)
    return told


def _pins_columns(curve: bool) -> list[Column]:
    from pipeline.cli.show import Column

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


def tell_reasons(query: Query, rows: Rows, column: str, what: str, most: int = 3) -> None:
    """Says why figures are missing: each reason once, with the groups that it holds for."""
    reasons: dict[str, dict[str, None]] = {}
    for row in rows:
        if row[column]:
            reasons.setdefault(row[column], {})[called(query, row)] = None
    for reason, groups in reasons.items():
        named = list(groups)
        more = f" and {len(named) - most} more" if len(named) > most else ""
        tell(f"{what} for {', '.join(named[:most])}{more}: {reason}.")
