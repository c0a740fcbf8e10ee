"""The command for entries that no file holds any more: lost."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.clock import now
from pipeline.cli.farm_access import open_the_farm
from pipeline.cli.options import FarmOption, JsonOption
from pipeline.cli.prompts import ask_on_terminal
from pipeline.cli.show import notify, print_line
from schemas.finding import WrongRequest

if TYPE_CHECKING:
    from pipeline.farm.folder import Farm


def lost(
    entries: Annotated[
        list[str] | None, typer.Argument(metavar="ENTRY", help="The ids of the entries. Default: all that are lost.")
    ] = None,
    put_back: Annotated[bool, typer.Option("--put-back", help="Write them once more, as they were.")] = False,
    meant: Annotated[
        bool, typer.Option("--meant", help="They are meant to be gone: nothing is said any more.")
    ] = False,
    insist: Annotated[bool, typer.Option("--insist", help="Put them back although something is doubtful.")] = False,
    json: JsonOption = False,
    farm: FarmOption = None,
) -> None:
    """Tell which entries gillbook wrote that are in no file any more, as after a spreadsheet saved an old copy."""
    from pipeline.logbook.lost import entry_words
    from pipeline.logbook.put_back import let_go

    if put_back and meant:
        raise WrongRequest("--put-back writes the entries once more, --meant lets them go: give one of them.")
    opened, ids = open_the_farm(farm), entries or []
    if put_back:
        _put_back(opened, ids, insist)
    elif meant:
        gone = let_go(opened, ids, now())
        for each in gone:
            print_line(f"Meant to be gone: {entry_words(opened, each)}.")
        if not gone:
            notify("No entry is lost.")
    else:
        _list(opened, ids, json)


def _put_back(farm: Farm, ids: list[str], insist: bool) -> None:
    from pipeline.logbook.book import Book
    from pipeline.logbook.lost import entries_words
    from pipeline.logbook.put_back import put_back

    done = False
    for each in put_back(Book(farm), ids, insist, ask_on_terminal, now):
        done = True
        print_line(f"Put back: {entries_words(farm, each.entries)}. Written to {each.file}, {each.rows}.")
    if not done:
        notify("No entry is lost.")


def _list(farm: Farm, ids: list[str], json: bool) -> None:
    from pipeline.cli.show import Column, print_records
    from pipeline.logbook.lost import MEANT, PUT_BACK, entry_words
    from pipeline.logbook.put_back import chosen

    records = [
        {"entry": each.entry, "what": entry_words(farm, each), "file": each.file, "entered_at": each.at}
        for each in chosen(farm, ids)
    ]
    columns = [
        Column("what", "what"),
        Column("file", "file"),
        Column("entered_at", "entered"),
        Column("entry", "entry"),
    ]
    if print_records(records, columns, json, "No entry is lost: all that gillbook wrote lately is in the files."):
        notify(f"Put them back: {PUT_BACK}. Meant to be gone: {MEANT}. Ids behind that: only these.")
