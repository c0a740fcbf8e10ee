"""The command at the scale: weigh. One entry, a session, or taking the last entry back.

It starts with every entry, so nothing is imported here that it can do without.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.clock import moment, now
from pipeline.cli.farm_access import RUN, open_the_farm
from pipeline.cli.options import FarmOption, spread
from pipeline.cli.prompts import ask_on_terminal, picking_day
from pipeline.cli.show import notify, print_line
from schemas.finding import WrongRequest

if TYPE_CHECKING:
    from pipeline.farm.folder import Farm
    from pipeline.logbook.undo import TakenBack
    from pipeline.logbook.weigh import Logged

WordsArgument = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="CONTAINER WEIGHT",
        help="The container and what was picked from it: 7 412, 7 412g, 7 0.41 kg, 7 14.5oz, 7 1lb 2oz. "
        "A weight without a unit is in the unit of the file's own column, g unless farm.toml tells another. "
        "Nothing: a session, one line an entry.",
    ),
]
InsistOption = Annotated[bool, typer.Option("--insist", help="Log it although something about it is doubtful.")]


@dataclass(frozen=True)
class EntryOptions:
    """What is typed of a picking beside container and weight; a session takes the day, the tare and the picker."""

    batch: Annotated[
        str | None,
        typer.Option(
            "--batch", metavar="B", help="The batch. Without a container: weighed together for the whole batch."
        ),
    ] = None
    flush: Annotated[
        str | None,
        typer.Option(
            "--flush", metavar="N", help="The flush, from 1. Default: worked out from what was picked before."
        ),
    ] = None
    stage: Annotated[
        str | None,
        typer.Option(
            "--stage", metavar="STAGE", help="The largest caps: curled, turned_down, flat, turned_up; or c t f u."
        ),
    ] = None
    culled: Annotated[
        str | None, typer.Option("--culled", metavar="WEIGHT", help="Trim and culls, part of the weight.")
    ] = None
    tare: Annotated[
        str | None,
        typer.Option("--tare", metavar="WEIGHT", help="The tub on the scale, which is taken off the weight."),
    ] = None
    on: Annotated[
        str | None,
        typer.Option(
            "--on", metavar="DATE", help="The day of picking: 2026-05-31, yesterday, mon, -2d. Default: today."
        ),
    ] = None
    picker: Annotated[str | None, typer.Option("--picker", metavar="NAME", help="Who picked.")] = None
    note: Annotated[str | None, typer.Option("--note", metavar="TEXT", help="Anything else.")] = None


@spread
def weigh(
    words: WordsArgument = None,
    *,
    entry: EntryOptions,
    insist: InsistOption = False,
    undo: Annotated[bool, typer.Option("--undo", help="Take back the last entry that this command wrote.")] = False,
    farm: FarmOption = None,
) -> None:
    """Log what was picked: one entry, or a session with one line an entry. Each is on disk before it answers."""
    opened = open_the_farm(farm)
    if undo:
        if words or entry.batch:
            raise WrongRequest("--undo takes back the last entry; it goes alone.")
        undo_last(opened, "weigh")
        return
    if not words and not entry.batch:
        from pipeline.cli.weigh_session import session

        session(opened, entry.on, entry.tare, entry.picker, insist)
        return
    day = picking_day(entry.on)
    from pipeline.logbook.book import Book
    from pipeline.logbook.parsing import PickingOptions, parse_picking
    from pipeline.logbook.weigh import enter

    book = Book(opened)
    of_cells = (entry.batch, entry.flush, entry.stage, entry.culled, entry.tare, entry.picker, entry.note)
    picking = parse_picking(book, words or [], day, PickingOptions(*of_cells))
    show(opened, enter(book, picking, insist, ask_on_terminal, now))


def show(farm: Farm, logged: Logged) -> None:
    """Tell what was written and where, what the place gave so far, and how to take it back."""
    from pipeline.logbook.text import entry_text, so_far

    for each in (*logged.plan.messages, *logged.missing):
        notify(each)
    print_line(f"Logged: {entry_text(farm, logged.plan)}.")
    print_line(f"Written to {logged.file}, row {logged.row} (entry {logged.entry}).")
    print_line(f"{so_far(farm, logged.plan)} Take it back: gillbook weigh --undo")


def undo_last(farm: Farm, command: str) -> None:
    """Take back what this command wrote last, and tell it. Where an --undo that was ended early did so just before, it
    is not done twice.
    """
    from pipeline.logbook.undo import take_back

    if RUN.taken_back == command:
        notify(f"That is done. To take back the entry before it too, say it once more: gillbook {command} --undo")
        return
    show_taken_back(take_back(farm, command, moment()))


def show_taken_back(done: Sequence[TakenBack]) -> None:
    """Tell what stands in no file any more."""
    from pipeline.logbook.text import cells_text

    for each in done:
        when = each.at[:16].replace("T", " ")
        print_line(f"Taken back: {cells_text(each.cells, each.units)}, entered at {when}.")
        print_line(f"It stood in {each.file}, row {each.row}.")
