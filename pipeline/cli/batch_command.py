"""The commands that start a batch and fill containers from it: batch, fill."""

from __future__ import annotations

import sys
from datetime import date
from decimal import Decimal
from functools import partial
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.options import FarmOption, tell
from pipeline.cli.options import the_farm as open_the_farm
from pipeline.cli.prompts import ask_on_terminal, ask_value, entry_day, now
from pipeline.cli.show import printable
from schemas.finding import WrongRequest

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pipeline.farm.folder import Farm
    from pipeline.logbook.book import Book
    from pipeline.logbook.known_rows import Value

# Which option fills which column; other columns are given with --set.
OPTIONS = {
    "strain": "--strain",
    "substrate": "--substrate",
    "soak": "--soak",
    "treatment": "--treatment",
    "substrate_wet_kg": "--wet",
    "moisture_pct": "--moisture",
    "substrate_dry_kg": "--dry",
    "spawn_kg": "--spawn",
    "spawn_form": "--spawn-form",
    "spawn_lot": "--spawn-lot",
    "note": "--note",
}
# What is asked for on a terminal where it is not given.
ASKED = ("strain", "substrate", "substrate_wet_kg", "moisture_pct", "spawn_kg")
NEEDED = ("strain", "substrate")

InsistOption = Annotated[bool, typer.Option("--insist", help="Write it although something about it is doubtful.")]


def batch(
    names: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[BATCH]", help="Names of the batches. Default: proposed from date and letter, 260514a."
        ),
    ] = None,
    on: Annotated[
        str | None, typer.Option("--on", metavar="DATE", help="The day of inoculation. Default: today.")
    ] = None,
    batches: Annotated[
        int, typer.Option("--batches", metavar="N", min=1, max=26, help="So many batches of one soak.")
    ] = 1,
    like: Annotated[
        str | None, typer.Option("--like", metavar="BATCH", help="Take the recipe from this batch: all but its masses.")
    ] = None,
    strain: Annotated[str | None, typer.Option("--strain", metavar="TEXT", help="The strain of the spawn.")] = None,
    substrate: Annotated[str | None, typer.Option("--substrate", metavar="TEXT", help="What was soaked.")] = None,
    soak: Annotated[
        str | None, typer.Option("--soak", metavar="NAME", help="The bath, drum or steamer run it came out of.")
    ] = None,
    treatment: Annotated[
        str | None,
        typer.Option("--treatment", metavar="WORD", help="cold_lime, hot_lime, hot_water, steam, sterilised, none."),
    ] = None,
    wet: Annotated[
        str | None, typer.Option("--wet", metavar="WEIGHT", help="Drained substrate before spawning: 40, 90 lb.")
    ] = None,
    moisture: Annotated[
        str | None, typer.Option("--moisture", metavar="PCT", help="Water in it, % of its wet mass.")
    ] = None,
    dry: Annotated[str | None, typer.Option("--dry", metavar="WEIGHT", help="The substrate weighed dry.")] = None,
    spawn: Annotated[str | None, typer.Option("--spawn", metavar="WEIGHT", help="Spawn mixed in.")] = None,
    spawn_form: Annotated[
        str | None, typer.Option("--spawn-form", metavar="WORD", help="grain, sawdust, plug or liquid.")
    ] = None,
    spawn_lot: Annotated[
        str | None, typer.Option("--spawn-lot", metavar="TEXT", help="The lot on the spawn's label.")
    ] = None,
    note: Annotated[str | None, typer.Option("--note", metavar="TEXT", help="Anything else.")] = None,
    more: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="COLUMN=VALUE", help="Any other column of batches, like --set ph_start=12.4."),
    ] = None,
    insist: InsistOption = False,
    farm: FarmOption = None,
) -> None:
    """Start a batch, or several of one soak. On a terminal, what is not given is asked for."""
    from pipeline.logbook.batch import plan_batches, write_batches
    from pipeline.logbook.book import Book, enter

    book = Book(open_the_farm(farm))
    day = date.today() if on is None else entry_day("--on", on)
    typed = {
        "strain": strain, "substrate": substrate, "soak": soak, "treatment": treatment, "substrate_wet_kg": wet,
        "moisture_pct": moisture, "substrate_dry_kg": dry, "spawn_kg": spawn, "spawn_form": spawn_form,
        "spawn_lot": spawn_lot, "note": note, **_more(more),
    }  # fmt: skip
    if names and batches not in (1, len(names)):
        raise WrongRequest(f"--batches {batches}: {len(names)} names are given. Leave one of the two out.")
    given = _given(book, day, {column: text for column, text in typed.items() if text is not None}, like)
    made = enter(
        book,
        lambda moment: plan_batches(book, list(names or ()), day, given, batches, moment.date()),
        partial(write_batches, book),
        insist,
        ask_on_terminal,
        now,
    )
    for each in made.said:
        tell(each)
    soaked = f" of soak {made.rows[0]['soak']}" if "soak" in made.rows[0] else ""
    started = "batch" if len(made.names) == 1 else "batches"
    typer.echo(printable(f"Started: {started} {', '.join(made.names)}{soaked}, inoculated on {day}."))
    first, last = made.target.next_row, made.target.next_row + len(made.rows) - 1
    rows = f"row {first}" if first == last else f"rows {first} to {last}"
    typer.echo(printable(f"Written to {made.target.name}, {rows}. To take it back, delete it there."))
    typer.echo(printable(f"Next: gillbook fill --batch {made.names[0]} CONTAINER..."))


def _more(more: list[str] | None) -> dict[str, str]:
    """The columns given with --set. Raises WrongRequest for what names none."""
    from schemas.contract import contract
    from schemas.finding import nearest

    found = {}
    known = tuple(name for name in contract("batches").names if name not in ("batch", "inoculated_on"))
    for each in more or ():
        column, mark, text = each.partition("=")
        if not mark or column.strip() not in known:
            meant = None if column in known else nearest(column, known)
            hint = f" Did you mean {meant}?" if meant else ""
            raise WrongRequest(f"--set {each}: write COLUMN=VALUE with a column of batches.{hint}")
        found[column.strip()] = text
    return found


def _given(book: Book, day: date, typed: Mapping[str, str], like: str | None) -> dict[str, Value]:
    """What is told of the batch: as typed, as in the batch it is like, and as answered on a terminal."""
    from pipeline.logbook.batch import RECIPE, cell_value, earlier, units_of

    cell_format, units = book.farm.conventions.cell_format, units_of(book, "batches", day)
    before = earlier(book, like) if like is not None or sys.stdin.isatty() else {}
    found = {column: before[column] for column in RECIPE if like is not None and column in before}
    for column, text in typed.items():
        found[column] = cell_value(cell_format, units, "batches", OPTIONS.get(column, f"--set {column}"), column, text)
    missing = [column for column in ASKED if column not in found]
    if sys.stdin.isatty():
        found |= _answers(book.farm, units, missing, before)
    needed = [OPTIONS[column] for column in NEEDED if column not in found]
    if needed:
        raise WrongRequest(f"batch: {' and '.join(needed)} are missing. Give them, or --like an earlier batch.")
    return found


def _answers(farm: Farm, units: Mapping[str, str], columns: list[str], before: Mapping[str, Value]) -> dict[str, Value]:
    """Asks for these columns; Enter takes what the last batch had, where it is proposed, or leaves the cell blank."""
    from pipeline.logbook.batch import RECIPE
    from schemas.contract import contract

    found: dict[str, Value] = {}
    for column in columns:
        title = contract("batches").field(column).title
        proposed = str(before[column]) if column in RECIPE and column in before else ""
        answer = ask_value(farm, units, "batches", column, title, proposed)
        if answer is not None:
            found[column] = answer
    return found


def fill(
    containers: Annotated[
        list[str] | None, typer.Argument(metavar="CONTAINER", help="The containers: 7 9 11-20, B01-B12.")
    ] = None,
    batch: Annotated[str | None, typer.Option("--batch", metavar="B", help="The batch they are filled from.")] = None,
    kg: Annotated[
        str | None, typer.Option("--kg", metavar="WEIGHT", help="Mix packed into each, spawn included: 6.5, 14 lb.")
    ] = None,
    dry: Annotated[
        str | None, typer.Option("--dry", metavar="WEIGHT", help="Dry substrate of each, if weighed.")
    ] = None,
    volume: Annotated[
        str | None, typer.Option("--volume", metavar="VOLUME", help="Of each: 20, 5 gal. Default: as last time.")
    ] = None,
    kind: Annotated[
        str | None, typer.Option("--kind", metavar="WORD", help="Bucket, bag ... Default: as last time.")
    ] = None,
    holes: Annotated[
        str | None, typer.Option("--holes", metavar="N", help="Open holes. Default: as last time.")
    ] = None,
    taped: Annotated[
        str | None, typer.Option("--taped", metavar="N", help="Holes kept closed for later. Default: as last time.")
    ] = None,
    room: Annotated[str | None, typer.Option("--room", metavar="TEXT", help="Where they stand.")] = None,
    note: Annotated[str | None, typer.Option("--note", metavar="TEXT", help="Anything else.")] = None,
    insist: InsistOption = False,
    farm: FarmOption = None,
) -> None:
    """Fill containers from a batch. Kind, volume and holes are copied from each container's last filling.

    On a terminal, the weight of each is asked for where --kg does not tell it.
    """
    from pipeline.logbook.batch import cell_value, units_of
    from pipeline.logbook.book import Book, enter
    from pipeline.logbook.fill import plan_filling, write_filling

    if not containers or not batch:
        raise WrongRequest("fill: write the batch and the containers, like fill --batch B12 7 9 11-20.")
    book = Book(open_the_farm(farm))
    units, cell_format = units_of(book, "fillings", date.today()), book.farm.conventions.cell_format
    typed = {
        "fill_kg": ("--kg", kg), "substrate_dry_kg": ("--dry", dry), "volume_l": ("--volume", volume),
        "kind": ("--kind", kind), "holes_open": ("--holes", holes), "holes_taped": ("--taped", taped),
        "room": ("--room", room), "note": ("--note", note),
    }  # fmt: skip
    given = {
        column: cell_value(cell_format, units, "fillings", option, column, text)
        for column, (option, text) in typed.items()
        if text is not None
    }
    first = plan_filling(book, batch, containers, given, {})
    each = _ask_each(book.farm, units, first.rows) if sys.stdin.isatty() else {}
    made = enter(
        book,
        lambda _: plan_filling(book, batch, containers, given, each),
        partial(write_filling, book),
        insist,
        ask_on_terminal,
        now,
    )
    for said in made.said:
        tell(said)
    for line in made.told:
        typer.echo(printable(line))


def _ask_each(farm: Farm, units: Mapping[str, str], rows: Sequence[Mapping[str, Value]]) -> dict[str, dict[str, Value]]:
    """Asks for the weight of each container where none is given, and for its volume where none is known."""
    from pipeline.logbook.amounts import in_unit, written

    found: dict[str, dict[str, Value]] = {}
    volume = ""
    for row in rows:
        container = str(row["container"])
        if "volume_l" not in row:
            answer = ask_value(farm, units, "fillings", "volume_l", f"{container}: volume", volume)
            if isinstance(answer, Decimal):
                found[container] = {"volume_l": answer}
                # Most buckets are alike, so the next one is asked with this answer.
                volume = written(in_unit(answer, units.get("volume_l", "L"), "L"), farm.conventions.cell_format)
        if "fill_kg" not in row and "substrate_dry_kg" not in row:
            answer = ask_value(farm, units, "fillings", "fill_kg", f"{container}: mix packed in", "")
            if answer is not None:
                found.setdefault(container, {})["fill_kg"] = answer
    return found
