"""The command that corrects or removes one entry: edit."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.clock import moment, now
from pipeline.cli.farm_access import open_the_farm, refreshed
from pipeline.cli.options import FarmOption, spread
from pipeline.cli.prompts import entry_day
from pipeline.cli.show import notify, print_line
from schemas.contract import INPUTS, contract
from schemas.finding import WrongRequest

if TYPE_CHECKING:
    from pipeline.farm.folder import Farm
    from pipeline.logbook.book import Book
    from pipeline.logbook.edit import EditPlan
    from pipeline.logbook.file_rows import FileRow
    from pipeline.logbook.find_entry import WantedEntry
    from pipeline.logbook.known_rows import Value


@dataclass(frozen=True)
class MeantOptions:
    """How the entry is named, beside its id or container."""

    on: Annotated[
        str | None, typer.Option("--on", metavar="DATE", help="The day that it is of: 2026-05-31, yesterday, mon, -2d.")
    ] = None
    batch: Annotated[str | None, typer.Option("--batch", metavar="B", help="Its batch.")] = None
    table: Annotated[
        str | None, typer.Option("--table", metavar="TABLE", help="harvests, observations, fillings or batches.")
    ] = None
    file: Annotated[str | None, typer.Option("--file", metavar="FILE", help="The file, with --row.")] = None
    row: Annotated[
        int | None, typer.Option("--row", metavar="N", min=1, help="The row, as the spreadsheet and check show it.")
    ] = None


@spread
def edit(
    name: Annotated[
        str | None, typer.Argument(metavar="[ENTRY]", help="The entry's id, or the container that it is about.")
    ] = None,
    *,
    meant: MeantOptions,
    changes: Annotated[
        list[str] | None,
        typer.Option(
            "--set", metavar="COLUMN=VALUE", help="What a cell becomes, like --set weight=421; blank: weight=."
        ),
    ] = None,
    remove: Annotated[bool, typer.Option("--remove", help="Take the entry out.")] = False,
    undo: Annotated[bool, typer.Option("--undo", help="Put back what the last edit changed or removed.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Write it without asking.")] = False,
    farm: FarmOption = None,
) -> None:
    """Correct or remove one entry. Without --set and --remove it is only shown. The old row stays in kept/."""
    from pipeline.logbook.book import Book
    from pipeline.logbook.edit import plan_change, plan_removal
    from pipeline.logbook.find_entry import find_entry

    opened = open_the_farm(farm)
    if undo:
        _undo(opened)
        return
    book = Book(opened)
    book.scan()
    found = find_entry(opened, _wanted(name, meant))
    if not changes and not remove:
        _show(found, {})
        return
    if changes and remove:
        raise WrongRequest("edit: --set changes the entry, --remove takes it out. Give one of the two.")
    planned = plan_removal(found) if remove else plan_change(book, found, _values(book, found, changes or []))
    if not remove and not planned.changed:
        raise WrongRequest(f"{found.source.name}, row {found.row}: it says so already. Nothing was changed.")
    _write(opened, planned, yes)


def _wanted(name: str | None, meant: MeantOptions) -> WantedEntry:
    from pipeline.logbook.find_entry import WantedEntry, tables_meant

    if (meant.file is None) != (meant.row is None):
        raise WrongRequest("edit: --file and --row go together, like --file harvests/2026-05.csv --row 14.")
    if meant.table is not None and meant.table not in INPUTS:
        raise WrongRequest(f"--table {meant.table}: there is {', '.join(INPUTS)}.")
    if not name and not meant.batch and not meant.file:
        raise WrongRequest(
            "edit: name the entry: by its id; by container and day, like 7 --on yesterday; or by --file and --row."
        )
    day = entry_day("--on", meant.on) if meant.on is not None else None
    batch = (meant.batch or "").strip()
    tables = (meant.table,) if meant.table else tables_meant(name or "", day, batch)
    return WantedEntry((name or "").strip(), day, batch, meant.file or "", meant.row or 0, tables)


def _values(book: Book, found: FileRow, changes: list[str]) -> dict[str, Value | None]:
    """Return what the cells become, by column; None for a blank one."""
    from pipeline.logbook.batch import parse_cell
    from pipeline.logbook.edit import column_meant

    values: dict[str, Value | None] = {}
    for each in changes:
        name, mark, text = each.partition("=")
        if not mark:
            raise WrongRequest(f"--set {each}: write COLUMN=VALUE, like --set weight=421.")
        column, option = column_meant(found, name), f"--set {name}="
        if not text.strip():
            values[column] = None
        elif contract(found.source.table).field(column).type == "date":
            values[column] = entry_day(option, text)
        else:
            cell_format = book.farm.conventions.cell_format
            values[column] = parse_cell(cell_format, found.table.units, found.source.table, option, column, text)
    return values


def _show(found: FileRow, changed: dict[str, tuple[str, str]], removes: bool = False) -> None:
    """Show the row, cell by cell, and what becomes of each."""
    print_line(f"{found.source.name}, row {found.row}:")
    names = [column for column in found.table.at if found.cell(column) or column in changed]
    width = max(map(len, names), default=0)
    for column in names:
        before, after = changed.get(column, (found.cell(column), ""))
        becomes = f"  ->  {after or '(blank)'}" if column in changed else ""
        print_line(f"  {column:{width}}  {before or '(blank)'}{becomes}")
    if removes:
        print_line("  ->  taken out")


def _write(farm: Farm, planned: EditPlan, yes: bool) -> None:
    from pipeline.logbook.edit import write_edit

    found = planned.found
    _show(found, planned.changed, planned.removes)
    for each in planned.doubts:
        notify(each)
    if not yes:
        confirm_change()
    write_edit(farm, planned, now())
    done = "Taken out of" if planned.removes else "Written to"
    print_line(f"{done} {found.source.name}, row {found.row}. The row as it was is in kept/edited.jsonl.")
    print_line("Take it back: gillbook edit --undo")
    refreshed(farm)


def confirm_change() -> None:
    """Ask whether to write it. Raises WrongRequest where that is denied, or nobody can be asked."""
    if not sys.stdin.isatty():
        raise WrongRequest("Nothing was changed. If it is right, say so with --yes.")
    try:
        sure = typer.confirm("Write it so?", err=True)
    except typer.Abort:
        sure = False
        typer.echo(err=True)
    if not sure:
        raise WrongRequest("Nothing was changed.")


def _undo(farm: Farm) -> None:
    from pipeline.logbook.edit import undo_edit

    done = undo_edit(farm, moment())
    print_line(f"Taken back: {done.file}, row {done.row} is again: {done.before}")
    refreshed(farm)
