"""The command for the round through the rooms: today."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import typer

from pipeline.cli.farm_access import open_the_farm, read_ledger
from pipeline.cli.options import ReadOptions, spread
from pipeline.cli.show import notify

if TYPE_CHECKING:
    from pipeline.models.today import TodayAction
    from pipeline.planning.promise_tables import PromiseCheck

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
    from pipeline.planning.promised_soon import promised_soon

    until = read.day
    with read_ledger(open_the_farm(read.farm), "today") as ledger:
        rows = actions(ledger.view(Query(until)))
        promised = None if read.json else promised_soon(ledger, until)
    if read.json:
        print_json([vars(each) for each in rows])
    elif not rows:
        notify(f"Nothing is to be done as of {until}.")
    else:
        notify(f"As of {until}, in the order of the shelves.")
        for action, heading in HEADINGS.items():
            _section(heading, [each for each in rows if each.action == action])
    if promised:
        _show_promised(promised.check)


def _show_promised(promised: PromiseCheck) -> None:
    from pipeline.cli.promise_check_command import show_chances

    typer.echo("\nPromised for the next seven days:")
    show_chances(promised)


def _section(heading: str, actions: Sequence[TodayAction]) -> None:
    from pipeline.cli.cell_texts import printable
    from pipeline.cli.show import Column, print_line, print_sentences, print_table, screen_width

    if not actions:
        return
    typer.echo(f"\n{heading} ({len(actions)}):")
    if actions[0].action == "fill":
        print_sentences(", ".join(str(each.container) for each in actions))
        return
    shown = [
        {"where": _where(each), "called": each.container or "(whole batch)", "batch": each.batch, "why": _why(each)}
        for each in actions
    ]
    columns = [Column("called", "container"), Column("batch", "batch"), Column("why", "why", whole=True)]
    if any(row["where"] for row in shown):
        columns.insert(0, Column("where", "where"))
    print_table(shown, columns)
    lines = [f"  {printable(each.command)}" for each in actions if each.command]
    for line in lines:
        # Wrapped, it could not be typed.
        if len(line) <= screen_width():
            typer.echo(line)
        else:
            print_line("  (its line is too long for the screen: --json has it)", hanging=" ")


def _where(each: TodayAction) -> str:
    return " ".join(part for part in (each.room, each.position) if part)


def _why(each: TodayAction) -> str:
    ago = {0: "today", 1: "yesterday"}.get(each.days or 0, f"{each.days} days ago")
    usual = "" if each.usual_days is None else f", usual {each.usual_days:g}"
    return {
        "pins": f"flush {each.flush}: pins {ago}",
        "flush due": f"flush {each.flush}: last picked {ago}{usual}",
        "colonised": f"colonised {ago}",
        "suspect": f"suspect {ago}",
        "young pins": f"flush {each.flush}: pins {ago}",
        "not colonised": f"inoculated {ago}, not colonised{usual}",
        "no pins": f"opened {ago}, no pins{usual}",
        "silent": f"no entry since {each.since}",
        "lapsed": f"last heard {each.since}; treated as ended",
    }[each.reason]
