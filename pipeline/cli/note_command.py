"""The command for what is seen and done: note."""

from __future__ import annotations

import re
from functools import partial
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.clock import now
from pipeline.cli.farm_access import open_the_farm
from pipeline.cli.options import FarmOption
from pipeline.cli.prompts import ask_on_terminal, picking_day
from pipeline.cli.show import notify, print_line
from pipeline.cli.weigh_command import undo_last
from schemas.finding import WrongRequest
from schemas.phrases import counted

if TYPE_CHECKING:
    from pipeline.logbook.note import ObservationPlan
    from schemas.cell_format import CellFormat


def note(
    words: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="CONTAINER EVENT",
            help="The containers (7 9 11-20), and last what was seen or done: colonised, opened, pins, suspect, "
            "contaminated (thrown out for it), emptied.",
        ),
    ] = None,
    batch: Annotated[
        str | None, typer.Option("--batch", metavar="B", help="The batch. Without a container: the whole batch.")
    ] = None,
    on: Annotated[
        str | None,
        typer.Option("--on", metavar="DATE", help="The day: 2026-05-31, yesterday, mon, -2d. Default: today."),
    ] = None,
    flush: Annotated[
        str | None,
        typer.Option(
            "--flush",
            metavar="N",
            help="The flush that pins are of, or holes are opened for. Default: worked out from the pickings.",
        ),
    ] = None,
    cause: Annotated[
        str | None,
        typer.Option(
            "--cause",
            metavar="WORD",
            help="Why it was lost: green_mould, other_mould, bacterial, dried, stalled, flies, slugs, rodents, or "
            "another word.",
        ),
    ] = None,
    count: Annotated[
        str | None,
        typer.Option("--count", metavar="N", help="With --batch alone: how many of its containers, where not all."),
    ] = None,
    text: Annotated[str | None, typer.Option("--note", metavar="TEXT", help="Anything else.")] = None,
    insist: Annotated[bool, typer.Option("--insist", help="Note it although something about it is doubtful.")] = False,
    undo: Annotated[bool, typer.Option("--undo", help="Take back what this command noted last.")] = False,
    farm: FarmOption = None,
) -> None:
    """Note what was seen or done: of containers, or of a whole batch at once. It is on disk before it answers."""
    from pipeline.logbook.book import Book, enter
    from pipeline.logbook.note import NewObservation, parse_event, plan_note, write_note
    from pipeline.logbook.parsing import parse_flush, parse_name

    opened = open_the_farm(farm)
    if undo:
        if words or batch:
            raise WrongRequest("--undo takes back what was noted last; it goes alone.")
        undo_last(opened, "note")
        return
    if not words or (len(words) == 1 and not batch):
        raise WrongRequest("note: write containers and an event, like 7 9 11-20 pins; or --batch B12 colonised.")
    book = Book(opened)
    event = parse_event(book, words[-1])
    observation = NewObservation(
        tuple(words[:-1]),
        event,
        picking_day(on),
        parse_name("--batch", batch),
        parse_flush("--flush", flush),
        _cause(cause),
        _count(count, bool(words[:-1]) or not batch),
        (text or "").strip(),
    )
    made = enter(book, partial(plan_note, book, observation), partial(write_note, book), insist, ask_on_terminal, now)
    _show(made, opened.conventions.cell_format)


def _cause(text: str | None) -> str:
    from pipeline.farm.conventions import folded_word

    # The column takes any word; those that differ in spaces and case alone are one.
    return folded_word(text) if text else ""


def _count(text: str | None, of_containers: bool) -> int | None:
    if text is None:
        return None
    if of_containers:
        raise WrongRequest("--count tells how many of a batch's containers: give it with --batch and no container.")
    if not re.match(r"0*[1-9]\d{0,3}\Z", text, re.ASCII):
        raise WrongRequest(f"--count {text}: write a whole number, from 1.")
    return int(text)


def _show(made: ObservationPlan, cell_format: CellFormat) -> None:
    from pipeline.logbook.amounts import written

    for each in made.messages:
        notify(each)
    of = made.observation
    what = " ".join(filter(None, (of.event, f"flush {of.flush}" if of.flush else "", of.cause)))
    count = f" ({of.count} of its containers)" if of.count else ""
    print_line(f"Noted: {what} on {of.day}: {', '.join(map(str, made.assignments))}{count}.")
    for assignment, grams, pickings in made.gave:
        weight = written(grams, cell_format)
        print_line(f"{assignment} gave {weight} g in {counted(pickings, 'picking')}.")
    rows = made.destination.rows_text(len(made.assignments))
    print_line(f"Written to {made.destination.name}, {rows}. Take it back: gillbook note --undo")
