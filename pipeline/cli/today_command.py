"""The command for the round through the rooms: today."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import typer

from pipeline.cli.options import AsOfOption, FarmOption, JsonOption, day, refreshed, tell, tell_set_aside
from pipeline.cli.options import the_farm as open_the_farm

Row = Mapping[str, Any]
HEADINGS = {
    "pick": "Pick",
    "open": "Open",
    "look": "Look at",
    "end": "Silent for long: still running?",
    "fill": "Free to be filled",
}


def today(as_of: AsOfOption = None, json: JsonOption = False, farm: FarmOption = None) -> None:
    """Tell what is to be done: what to pick, to open, to look at, what fell silent, which containers are free."""
    from pipeline.cli.show import as_json
    from pipeline.models.today import today as actions
    from pipeline.models.view import Query, opened

    until = day(as_of)
    farm_here = open_the_farm(farm)
    done = refreshed(farm_here)
    with opened(farm_here.ledger, farm_here.settings) as ledger:
        rows = actions(ledger.view(Query(until)))
    tell_set_aside(done)
    if json:
        as_json(rows)
    elif not rows:
        tell(f"Nothing is to be done as of {until}.")
    else:
        tell(f"As of {until}, in the order of the shelves.")
        for action, heading in HEADINGS.items():
            _section(heading, [row for row in rows if row["action"] == action])


def _section(heading: str, rows: Sequence[Row]) -> None:
    from pipeline.cli.show import WIDTH, Column, as_table, printable, say

    if not rows:
        return
    typer.echo(f"\n{heading} ({len(rows)}):")
    if rows[0]["action"] == "fill":
        say(", ".join(str(row["container"]) for row in rows))
        return
    shown = [
        {**row, "where": _where(row), "unit": row["container"] or "(whole batch)", "why": _why(row)} for row in rows
    ]
    columns = [Column("unit", "container"), Column("batch", "batch"), Column("why", "why", whole=True)]
    if any(row["where"] for row in shown):
        columns.insert(0, Column("where", "where"))
    as_table(shown, columns)
    lines = [f"  {printable(row['command'])}" for row in rows if row["command"]]
    for line in lines:
        # Wrapped, it could not be typed.
        typer.echo(line if len(line) <= WIDTH else "  (its line is too long for the screen: --json has it)")


def _where(row: Row) -> str:
    return " ".join(part for part in (row["room"], row["position"]) if part)


def _why(row: Row) -> str:
    days = row["days"]
    ago = {0: "today", 1: "yesterday"}.get(days, f"{days} days ago")
    usual = "" if row["usual_days"] is None else f", usual {row['usual_days']:g}"
    return {
        "pins": f"flush {row['flush']}: pins {ago}",
        "flush due": f"flush {row['flush']}: last picked {ago}{usual}",
        "colonised": f"colonised {ago}",
        "suspect": f"suspect {ago}",
        "young pins": f"flush {row['flush']}: pins {ago}",
        "not colonised": f"inoculated {ago}, not colonised{usual}",
        "no pins": f"opened {ago}, no pins{usual}",
        "silent": f"no entry since {row['since']}",
        "lapsed": f"last heard {row['since']}; treated as ended",
    }[row["reason"]]
