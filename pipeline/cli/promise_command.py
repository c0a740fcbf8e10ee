"""The command for what is promised to buyers: promise."""

from __future__ import annotations

from typing import Annotated

import typer

from pipeline.cli.farm_access import open_the_farm
from pipeline.cli.options import FarmOption, date_of
from pipeline.cli.sell_command import NoteOption, ToOption, WeightArgument, log_row, take_back_row, weight_typed
from schemas.finding import WrongRequest


def promise(
    words: WeightArgument = None,
    to: ToOption = None,
    due: Annotated[
        str | None,
        typer.Option("--due", metavar="DATE", help="The day: 2026-05-31, tomorrow, fri (the next one), +7d."),
    ] = None,
    every: Annotated[
        str | None, typer.Option("--every", metavar="WORD", help="week or two_weeks, where it repeats.")
    ] = None,
    until: Annotated[
        str | None,
        typer.Option("--until", metavar="DATE", help="The last day, where it repeats. Default: until further notice."),
    ] = None,
    strain: Annotated[str | None, typer.Option("--strain", metavar="S", help="The strain. Default: any.")] = None,
    note: NoteOption = None,
    insist: Annotated[bool, typer.Option("--insist", help="Log it although something about it is doubtful.")] = False,
    undo: Annotated[bool, typer.Option("--undo", help="Take back what this command logged last.")] = False,
    farm: FarmOption = None,
) -> None:
    """Log what is promised to a buyer for a day, once or again and again."""
    from pipeline.logbook.book import Book
    from pipeline.logbook.sell import parse_row
    from schemas.contract import PROMISES

    opened = open_the_farm(farm)
    if undo:
        take_back_row(opened, "promise", words)
        return
    weight = weight_typed("promise", words)
    if due is None:
        raise WrongRequest("promise: the day is missing. Write it like gillbook promise 2.5kg --to NAME --due fri.")
    days = {"due_on": date_of("--due", due, ahead=True)}
    if until is not None:
        days["until_on"] = date_of("--until", until, ahead=True)
    typed = {
        "weight_g": ("weight", weight),
        "buyer": ("--to", to),
        "strain": ("--strain", strain),
        "repeats": ("--every", every),
        "note": ("--note", note),
    }
    book = Book(opened)
    log_row(book, parse_row(book, PROMISES, days, typed), insist)
