"""The command that says whether promises can be met, and how much more can be promised: promise check."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.farm_access import open_the_farm, read_ledger
from pipeline.cli.options import ReadOptions, date_of, spread
from pipeline.cli.show import Column, notify, print_json, print_sentences, print_table
from schemas.phrases import counted
from schemas.promise_words import advice, chance_words
from schemas.result_rows import Row, number_of

if TYPE_CHECKING:
    from datetime import date

    from pipeline.planning.promise_tables import PromiseCheck

CHANCES = (
    Column("due_on", "due on", whole=True),
    Column("to", "to"),
    Column("strain", "strain"),
    Column("promised_kg", "kg", 2),
    Column("chance", "chance", whole=True),
    Column("median_kg", "as likely\nas not kg", 2),
)
ROOM = (
    Column("due_on", "for", whole=True),
    Column("promised_kg", "promised\nkg", 2),
    Column("more80_kg", "more, in 4\nof 5 kg", 2),
    Column("more95_kg", "more, in 19\nof 20 kg", 2),
)


class PromiseList(StrEnum):
    """Which list of a check of promises is wanted."""

    promises = "promises"
    room = "room"


@spread
def promise_check(
    weeks: Annotated[int, typer.Option("--weeks", metavar="N", help="How many weeks ahead, from 1 to 26.")] = 8,
    *,
    on: Annotated[
        str | None,
        typer.Option("--on", metavar="DATE", help="How much more for this day: 2026-06-05, fri. Default: weekly."),
    ] = None,
    only: Annotated[
        PromiseList | None,
        typer.Option("--list", help="promises, or room: what can still be promised. With --json: promises."),
    ] = None,
    read: ReadOptions,
) -> None:
    """Tell the chance of meeting each promise, what helps where it is small, and how much more can be promised."""
    from pipeline.planning.promise_tables import check_promises

    as_of = read.day
    day = None if on is None else date_of("--on", on, ahead=True)
    with read_ledger(open_the_farm(read.farm), "promise check") as ledger:
        with_room = only is PromiseList.room or (only is None and not read.json)
        found = check_promises(ledger, as_of, weeks, day, with_room)
    if found.why_not:
        notify(f"Cannot tell. {found.why_not}")
    if read.json:
        print_json(found.room if only is PromiseList.room else found.chances)
    elif not found.why_not:
        if only is not PromiseList.room:
            show_chances(found)
        if only is not PromiseList.promises:
            _show_room(found, blank=only is None)
        _notify_basis(as_of, found)


def show_chances(found: PromiseCheck) -> None:
    """Print the promises with their chances, and what helps where they are small."""
    if found.why_not:
        print_sentences(f"Whether it can be met cannot be told. {found.why_not}")
    elif not found.chances:
        print_sentences(
            "Nothing is promised for these weeks."
            if found.any_promised
            else "Nothing is promised: promises.csv has no row that counts."
        )
    else:
        columns = [each for each in CHANCES if each.key != "strain" or any(row["strain"] for row in found.chances)]
        print_table([_in_words(row) for row in found.chances], columns)
        print_sentences(*(_advice(row) for row in found.chances if not row["enough"]), *found.unknown_strains)


def _in_words(row: Row) -> Row:
    return {**row, "to": row["buyer"] or "(nobody named)", "chance": chance_words(row)}


def _advice(row: Row) -> str:
    to = f", {row['buyer']}" if row["buyer"] else ""
    return f"{row['due_on']}{to}, {number_of(row, 'promised_kg'):.2f} kg: {advice(row)}"


def _show_room(found: PromiseCheck, blank: bool) -> None:
    if blank:
        typer.echo("")
    print_sentences("Can still be promised, each day by itself, so that nothing promised for later gets less:")
    print_table(found.room, ROOM)


def _notify_basis(as_of: date, found: PromiseCheck) -> None:
    """Say what lies there, and how it is counted."""
    stock = (
        f"{found.unsold_kg:.2f} kg lie there unsold"
        if found.sales_known
        else "no sale of these weeks is logged, so nothing that was picked up to now counts"
    )
    notify(
        f"As of {as_of}: {stock}. Promises are served in the order of their days, the oldest first that can be sold "
        f"({counted(found.shelf_days, 'day')} after picking: shelf_days); what is picked on the day itself counts."
    )
