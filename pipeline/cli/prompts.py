"""What the commands that write ask on a terminal, and the days and moments that they write down."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

import typer

from pipeline.cli.clock import today
from pipeline.cli.options import date_of
from pipeline.cli.show import notify
from pipeline.cli.streams import refuse_no_text
from schemas.finding import WrongRequest

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.farm.folder import Farm
    from pipeline.logbook.book import Doubt
    from pipeline.logbook.known_rows import Value


def picking_day(on: str | None, option: str = "--on") -> date:
    """Return the day that is meant, today when none is given.

    Raises WrongRequest for a text that is no day, and for a day in the future.
    """
    if on is None:
        return today()
    day = entry_day(option, on)
    if day > today():
        raise WrongRequest(
            f"{option} {on}: that day lies in the future; today is {today()} by this computer's clock. "
            "Write today or a day before it, or set the clock."
        )
    return day


def entry_day(option: str, typed: str) -> date:
    """Return the day that is typed. Raises WrongRequest for a text that is no day, and for one before all records."""
    from pipeline.logbook.cells import EARLIEST

    day = date_of(option, typed)
    if day < EARLIEST:
        raise WrongRequest(f"{option} {typed}: no record goes back so far. Check the year.")
    return day


def ask_on_terminal(doubts: Sequence[Doubt]) -> None:
    """Ask whether to enter it all the same. Raises WrongRequest where that is denied, or nobody can be asked."""
    from pipeline.cli.cell_texts import printable
    from pipeline.logbook.book import doubts_text

    text = doubts_text(doubts)
    if not sys.stdin.isatty():
        raise WrongRequest(f"Nothing was written: {text} If it is right, say so with --insist.")
    try:
        sure = typer.confirm(printable(f"{text[0].upper()}{text[1:]} Enter it all the same?"), err=True)
    except typer.Abort:
        sure = False
        typer.echo(err=True)
    if not sure:
        raise WrongRequest("Nothing was written.")


def ask_value(farm: Farm, units: Mapping[str, str], table: str, column: str, title: str, proposed: str) -> Value | None:
    """Ask on the terminal until the answer says something for this column; None for an empty one."""
    from pipeline.cli.cell_texts import printable
    from pipeline.logbook.batch import parse_cell
    from schemas.contract import contract

    each = contract(table).field(column)
    unit = f", {units.get(column, each.unit)}" if each.unit else ""
    shown = f" [{proposed}]" if proposed else ""
    while True:
        text = str(
            typer.prompt(printable(f"{title}{unit}{shown}"), default=proposed, show_default=False, err=True)
        ).strip()
        if not text:
            return None
        try:
            refuse_no_text(f"{title} ", text)
            return parse_cell(farm.conventions.cell_format, units, table, title, column, text)
        except WrongRequest as problem:
            notify(str(problem))
