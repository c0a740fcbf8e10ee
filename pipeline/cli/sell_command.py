"""The command for what leaves the farm: sell."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.clock import now
from pipeline.cli.farm_access import open_the_farm
from pipeline.cli.options import FarmOption, spread
from pipeline.cli.prompts import ask_on_terminal, entry_day, picking_day
from pipeline.cli.show import notify, print_line
from pipeline.cli.weigh_command import undo_last
from schemas.finding import WrongRequest

if TYPE_CHECKING:
    from pipeline.farm.folder import Farm
    from pipeline.logbook.book import Book
    from pipeline.logbook.sell import NewRow, RowPlan

WeightArgument = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="WEIGHT",
        help="How much: 2500, 2.5 kg, 1lb 2oz. A weight without a unit is in the unit of the file's own column, g "
        "unless farm.toml tells another.",
    ),
]
ToOption = Annotated[str | None, typer.Option("--to", metavar="NAME", help="The buyer, in your words.")]
NoteOption = Annotated[str | None, typer.Option("--note", metavar="TEXT", help="Anything else.")]


@dataclass(frozen=True)
class SaleOptions:
    """What is typed of a sale beside its weight."""

    to: ToOption = None
    price: Annotated[str | None, typer.Option("--price", metavar="MONEY", help="What a kg brought.")] = None
    amount: Annotated[str | None, typer.Option("--amount", metavar="MONEY", help="What all of it brought.")] = None
    kind: Annotated[
        str | None,
        typer.Option("--kind", metavar="WORD", help="sold, given, own_kitchen, discarded, returned. Default: sold."),
    ] = None
    strain: Annotated[str | None, typer.Option("--strain", metavar="S", help="The strain.")] = None
    batch: Annotated[str | None, typer.Option("--batch", metavar="B", help="The batch, where the pack says it.")] = None
    picked: Annotated[
        str | None, typer.Option("--picked", metavar="DATE", help="The day of picking, where the pack says it.")
    ] = None
    on: Annotated[
        str | None,
        typer.Option("--on", metavar="DATE", help="The day: 2026-05-31, yesterday, mon, -2d. Default: today."),
    ] = None
    note: NoteOption = None


@spread
def sell(
    words: WeightArgument = None,
    *,
    sale: SaleOptions,
    insist: Annotated[bool, typer.Option("--insist", help="Log it although something about it is doubtful.")] = False,
    undo: Annotated[bool, typer.Option("--undo", help="Take back what this command logged last.")] = False,
    farm: FarmOption = None,
) -> None:
    """Log what left: sold, given away, eaten, discarded, come back. Without a price prices.csv or farm.toml says it."""
    from pipeline.logbook.book import Book
    from pipeline.logbook.sell import parse_row
    from schemas.contract import SALES

    opened = open_the_farm(farm)
    if undo:
        take_back_row(opened, "sell", words)
        return
    days = {"sold_on": picking_day(sale.on)}
    if sale.picked is not None:
        days["picked_on"] = entry_day("--picked", sale.picked)
    typed = {
        "weight_g": ("weight", weight_typed("sell", words)),
        "buyer": ("--to", sale.to),
        "price_per_kg": ("--price", sale.price),
        **{name: (f"--{name}", getattr(sale, name)) for name in ("strain", "amount", "kind", "batch", "note")},
    }
    book = Book(opened)
    log_row(book, parse_row(book, SALES, days, typed), insist)


def weight_typed(command: str, words: list[str] | None) -> str:
    """Return the weight as typed. Raises WrongRequest where there is none."""
    if not words:
        raise WrongRequest(f"{command}: the weight is missing. Write it like gillbook {command} 2.5kg --to NAME.")
    return " ".join(words)


def take_back_row(farm: Farm, command: str, words: list[str] | None) -> None:
    """Take back what this command logged last. Raises WrongRequest where anything else is typed."""
    if words:
        raise WrongRequest("--undo takes back what was logged last; it goes alone.")
    undo_last(farm, command)


def log_row(book: Book, row: NewRow, insist: bool) -> None:
    """Log this row of sales or promises, and tell what was written and where."""
    from pipeline.logbook.book import enter
    from pipeline.logbook.sell import plan_row, write_row

    made = enter(book, partial(plan_row, book, row), partial(write_row, book), insist, ask_on_terminal, now)
    _show(book.farm, made)


def _show(farm: Farm, made: RowPlan) -> None:
    from pipeline.logbook.row_words import shown_row
    from pipeline.logbook.sell import COMMANDS

    for each in made.messages:
        notify(each)
    command = COMMANDS[made.row.table]
    print_line(f"Logged: {shown_row(made.row.cells, farm.conventions.cell_format)}.")
    print_line(
        f"Written to {made.destination.name}, row {made.destination.next_row} (entry {made.entry}). "
        f"Take it back: gillbook {command} --undo"
    )
