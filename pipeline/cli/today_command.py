"""The command for the round through the rooms: today."""

from __future__ import annotations

from collections.abc import Sequence

import typer

from pipeline.cli.farm_access import open_the_farm, read_ledger
from pipeline.cli.options import ReadOptions, spread
from pipeline.cli.show import Record, notify

HEADINGS = {
    "pick": "Pick",
    "open": "Open",
    "look": "Look at",
    "end": "Silent for long: still running?",
    "fill": "Free to be filled",
}


@spread
def today(*, read: ReadOptions) -> None:
    """Tell what is to be done: what to pick, to open, to look at, what fell silent, which containers are free."""
    from pipeline.cli.show import print_json
    from pipeline.models.today import today as actions
    from pipeline.models.view import Query

    until = read.day
    with read_ledger(open_the_farm(read.farm), "today") as ledger:
        rows = actions(ledger.view(Query(until)))
    if read.json:
        print_json(rows)
    elif not rows:
        notify(f"Nothing is to be done as of {until}.")
    else:
        notify(f"As of {until}, in the order of the shelves.")
        for action, heading in HEADINGS.items():
            _section(heading, [row for row in rows if row["action"] == action])


def _section(heading: str, rows: Sequence[Record]) -> None:
    from pipeline.cli.show import WIDTH, Column, print_sentences, print_table, printable

    if not rows:
        return
    typer.echo(f"\n{heading} ({len(rows)}):")
    if rows[0]["action"] == "fill":
        print_sentences(", ".join(str(row["container"]) for row in rows))
        return
    shown = [
        {**row, "where": _where(row), "called": row["container"] or "(whole batch)", "why": _why(row)} for row in rows
    ]
    columns = [Column("called", "container"), Column("batch", "batch"), Column("why", "why", whole=True)]
    if any(row["where"] for row in shown):
        columns.insert(0, Column("where", "where"))
    print_table(shown, columns)
    lines = [f"  {printable(row['command'])}" for row in rows if row["command"]]
    for line in lines:
        # Wrapped, it could not be typed.
        typer.echo(line if len(line) <= WIDTH else "  (its line is too long for the screen: --json has it)")


def _where(row: Record) -> str:
    return " ".join(part for part in (row["room"], row["position"]) if part)


def _why(row: Record) -> str:
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
