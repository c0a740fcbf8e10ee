"""The commands that start a batch and fill containers from it: batch, fill."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from functools import partial
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.cell_texts import printable
from pipeline.cli.clock import now, today
from pipeline.cli.column_options import option_of, with_column_options
from pipeline.cli.farm_access import RUN, open_the_farm
from pipeline.cli.options import FarmOption
from pipeline.cli.prompts import ask_on_terminal, ask_value, entry_day
from pipeline.cli.show import notify, print_line
from schemas.contract import BATCHES, FILLINGS, contract
from schemas.finding import WrongRequest
from schemas.phrases import did_you_mean

if TYPE_CHECKING:
    from pipeline.farm.folder import Farm
    from pipeline.logbook.batch import BatchPlan
    from pipeline.logbook.book import Book
    from pipeline.logbook.known_rows import Value

InsistOption = Annotated[bool, typer.Option("--insist", help="Write it although something about it is doubtful.")]


@with_column_options(BATCHES)
def batch(
    names: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[BATCH]", help="Names of the batches. Default: proposed from date and letter, 260514a."
        ),
    ] = None,
    on: Annotated[
        str | None,
        typer.Option(
            "--on", metavar="DATE", help="The day of inoculation: 2026-05-31, yesterday, mon, -2d. Default: today."
        ),
    ] = None,
    batches: Annotated[
        int, typer.Option("--batches", metavar="N", min=1, max=26, help="So many batches of one soak.")
    ] = 1,
    like: Annotated[
        str | None, typer.Option("--like", metavar="BATCH", help="Take the recipe from this batch: all but its masses.")
    ] = None,
    more: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="COLUMN=VALUE", help="Any other column of batches, like --set ph_start=12.4."),
    ] = None,
    insist: InsistOption = False,
    farm: FarmOption = None,
    **columns: str | None,
) -> None:
    """Start a batch, or several of one soak. On a terminal, what is not given is asked for."""
    from pipeline.logbook.batch import plan_batches, write_batches
    from pipeline.logbook.book import Book, enter

    book = Book(open_the_farm(farm))
    day = today() if on is None else entry_day("--on", on)
    typed = {column: text for column, text in columns.items() if text is not None} | _more(more)
    if names and batches not in (1, len(names)):
        raise WrongRequest(f"--batches {batches}: {len(names)} names are given. Leave one of the two out.")
    given = _given(book, day, typed, like)
    made = enter(
        book,
        lambda moment: plan_batches(book, list(names or ()), day, given, batches, moment),
        partial(write_batches, book),
        insist,
        ask_on_terminal,
        now,
    )
    _show_started(made, day)


def _show_started(made: BatchPlan, day: date) -> None:
    for each in made.messages:
        notify(each)
    soaked = f" of soak {made.rows[0]['soak']}" if "soak" in made.rows[0] else ""
    started = "batch" if len(made.names) == 1 else "batches"
    print_line(f"Started: {started} {', '.join(made.names)}{soaked}, inoculated on {day}.")
    rows = made.destination.rows_text(len(made.rows))
    print_line(f"Written to {made.destination.name}, {rows}. To take it back, delete it there.")
    print_line(f"Next: gillbook fill --batch {made.names[0]} CONTAINER...")


def _more(more: list[str] | None) -> dict[str, str]:
    """Return the columns given with --set. Raises WrongRequest for what names none."""
    from pipeline.logbook.batch import KEYS

    found = {}
    known = tuple(name for name in contract(BATCHES).names if name not in KEYS)
    for each in more or ():
        column, mark, text = each.partition("=")
        if not mark or column.strip() not in known:
            hint = "" if column in known else did_you_mean(column, known)
            raise WrongRequest(f"--set {each}: write COLUMN=VALUE with a column of batches.{hint}")
        found[column.strip()] = text
    return found


def _given(book: Book, day: date, typed: Mapping[str, str], like: str | None) -> dict[str, Value]:
    """Return what is known of the batch: as typed, as in the batch it is like, and as answered on a terminal."""
    from pipeline.logbook.batch import earlier_batch, file_units, parse_cell, recipe

    cell_format, units = book.farm.conventions.cell_format, file_units(book, BATCHES, day)
    before = earlier_batch(book, like) if like is not None or sys.stdin.isatty() else {}
    found = {column: before[column] for column in recipe() if like is not None and column in before}
    for column, text in typed.items():
        found[column] = parse_cell(cell_format, units, BATCHES, option_of(BATCHES, column), column, text)
    fields = contract(BATCHES).fields
    if sys.stdin.isatty():
        missing = [each.name for each in fields if each.prompted and each.name not in found]
        found |= _answers(book.farm, units, missing, before)
    needed = [each.option for each in fields if each.option and each.required and each.name not in found]
    if needed:
        raise WrongRequest(f"batch: {' and '.join(needed)} are missing. Give them, or --like an earlier batch.")
    return found


def _answers(farm: Farm, units: Mapping[str, str], columns: list[str], before: Mapping[str, Value]) -> dict[str, Value]:
    """Ask for these columns; Enter takes what the last batch had, where it is proposed, or leaves the cell blank."""
    from pipeline.logbook.batch import recipe

    found: dict[str, Value] = {}
    for column in columns:
        title = contract(BATCHES).field(column).title
        proposed = str(before[column]) if column in recipe() and column in before else ""
        try:
            answer = ask_value(farm, units, BATCHES, column, title, proposed)
        except typer.Abort:
            _show_typed([["batch", *sys.argv[2:], *_as_options(farm, BATCHES, found)]])
            raise
        if answer is not None:
            found[column] = answer
    return found


def _as_options(farm: Farm, table: str, found: Mapping[str, Value]) -> list[str]:
    """Return these cells as one types them behind a command, each with its unit."""
    from pipeline.logbook.amounts import MOST, written

    words: list[str] = []
    for column, value in found.items():
        unit = contract(table).field(column).unit or ""
        number = written(value, farm.conventions.cell_format) if isinstance(value, Decimal) else str(value)
        text = f"{number}{unit if unit in MOST else ''}"
        option = option_of(table, column).split()
        words += [option[0], text] if len(option) == 1 else [option[0], f"{column}={text}"]
    return words


def _show_typed(commands: Sequence[Sequence[str]]) -> None:
    """Show how what was typed until the questions were broken off can be entered: nothing of it is lost."""
    from pipeline.farm.ready_command import typed

    typer.echo(err=True)
    notify("Stopped, and nothing was written. What you typed is entered by:")
    for words in commands:
        line = typed(["gillbook", *words])
        typer.echo(printable(line or " ".join(["gillbook", *words])), err=True)


@with_column_options(FILLINGS)
def fill(
    containers: Annotated[
        list[str] | None, typer.Argument(metavar="CONTAINER", help="The containers: 7 9 11-20, B01-B12.")
    ] = None,
    batch: Annotated[str | None, typer.Option("--batch", metavar="B", help="The batch they are filled from.")] = None,
    insist: InsistOption = False,
    farm: FarmOption = None,
    **columns: str | None,
) -> None:
    """Fill containers from a batch. Kind, volume and holes are copied from each container's last filling.

    On a terminal, the weight of each is asked for where --kg does not give it.
    """
    from pipeline.logbook.batch import file_units, parse_cell
    from pipeline.logbook.book import Book, enter
    from pipeline.logbook.fill import plan_filling, write_filling

    if not containers or batch is None or not batch.strip():
        raise WrongRequest("fill: write the batch and the containers, like fill --batch B12 7 9 11-20.")
    book = Book(open_the_farm(farm))
    units, cell_format = file_units(book, FILLINGS, today()), book.farm.conventions.cell_format
    given = {
        column: parse_cell(cell_format, units, FILLINGS, option_of(FILLINGS, column), column, text)
        for column, text in columns.items()
        if text is not None
    }
    first = plan_filling(book, batch, containers, given, {})
    each = _ask_each(book.farm, units, first.rows, given) if sys.stdin.isatty() else {}
    made = enter(
        book,
        lambda _: plan_filling(book, batch, containers, given, each),
        partial(write_filling, book),
        insist,
        ask_on_terminal,
        now,
    )
    for message in made.messages:
        notify(message)
    for line in made.report:
        print_line(line)


def _ask_each(
    farm: Farm, units: Mapping[str, str], rows: Sequence[Mapping[str, Value]], given: Mapping[str, Value]
) -> dict[str, dict[str, Value]]:
    """Ask for the weight of each container where none is given, and for its volume where none is known. Where that is
    broken off, what was answered is shown as commands that enter it.
    """
    found: dict[str, dict[str, Value]] = {}
    try:
        _answers_of_each(farm, units, rows, found)
    except typer.Abort:
        farm_words = ["--farm", str(RUN.given)] if RUN.given else []
        start = [["fill", name, "--batch", str(rows[0]["batch"])] for name in found]
        ends = [_as_options(farm, FILLINGS, {**given, **each}) for each in found.values()]
        _show_typed([[*words, *end, *farm_words] for words, end in zip(start, ends, strict=True)])
        raise
    return found


def _answers_of_each(
    farm: Farm, units: Mapping[str, str], rows: Sequence[Mapping[str, Value]], found: dict[str, dict[str, Value]]
) -> None:
    """Put the answers into `found`, by container and column."""
    from pipeline.logbook.amounts import in_unit, written

    volume = ""
    for row in rows:
        container = str(row["container"])
        if "volume_l" not in row:
            answer = ask_value(farm, units, FILLINGS, "volume_l", f"{container}: volume", volume)
            if isinstance(answer, Decimal):
                found[container] = {"volume_l": answer}
                # Most buckets are alike, so the next one is asked with this answer.
                volume = written(in_unit(answer, units.get("volume_l", "L"), "L"), farm.conventions.cell_format)
        if "fill_kg" not in row and "substrate_dry_kg" not in row:
            answer = ask_value(farm, units, FILLINGS, "fill_kg", f"{container}: mix packed in", "")
            if answer is not None:
                found.setdefault(container, {})["fill_kg"] = answer
