"""The command that hands the books on: a workbook, or files of an open format, with the contracts of all columns."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.farm_access import open_the_farm, read_ledger, timed
from pipeline.cli.options import AsOfOption, FarmOption, as_of_day, first_day
from pipeline.export.files import FileKind
from schemas.contract import INPUTS
from schemas.finding import OutOfReach, WrongRequest
from schemas.phrases import counted

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import polars as pl

    from pipeline.export.table import ExportTable


def export(
    to: Annotated[
        Path,
        typer.Option("--to", metavar="PATH", help="Where to: a new FILE.xlsx, or a new folder with --format."),
    ],
    kind: Annotated[
        FileKind | None,
        typer.Option("--format", help="Of the files in the folder. Default: xlsx, of a name that ends in it."),
    ] = None,
    month: Annotated[
        str | None,
        typer.Option("--month", metavar="YYYY-MM", help="Entries of this month alone, and its results."),
    ] = None,
    as_of: AsOfOption = None,
    farm: FarmOption = None,
) -> None:
    """Hand the books on: every table, of entries and of results, with what each of its columns means.

    Entries are handed on as they were read, also rows that are set aside. Nothing is written over. gillbook init --from
    reads the entries and settings of an export again. Parquet files come with what the ledger decided of each row.
    """
    today = as_of_day(as_of)
    first = first_day("--month", month) if month else None
    until = _until(first, today)
    farm_here = open_the_farm(farm)
    wanted = checked_target(to, kind, farm_here.folder)
    with read_ledger(farm_here, "export") as ledger:
        from pipeline.cli.export_tables import export_tables
        from pipeline.models.decided import decided

        tables = export_tables(ledger, until, first)
        of_ledger = decided(ledger) if wanted is FileKind.parquet else {}
    with timed("write"):
        _write(to, tables, wanted, of_ledger)
    rows = sum(len(each.rows) for each in tables)
    typer.echo(f"{to}: {counted(len(tables), 'table')}, {counted(rows, 'row')}, as of {until}.")


def _until(first: date | None, today: date) -> date:
    from pipeline.models.measures import last_day

    if first is None:
        return today
    if first > today:
        raise WrongRequest(f"--month {first:%Y-%m}: that month has not begun.")
    return min(last_day(first), today)


def checked_target(to: Path, kind: FileKind | None, farm: Path) -> FileKind:
    """Return the format that is meant. Raises WrongRequest where format and name do not go together, where something
    is there already, or where the farm would read the export as its records.
    """
    is_book = to.suffix.lower() == ".xlsx"
    kind = kind or (FileKind.xlsx if is_book else None)
    if kind is None:
        raise WrongRequest(f"--to {to}: a name that ends in .xlsx, or a folder and its --format csv, parquet or json.")
    if is_book != (kind is FileKind.xlsx):
        wanted = "a name that ends in .xlsx" if kind is FileKind.xlsx else "a folder, whose name does not end in .xlsx"
        raise WrongRequest(f"--to {to}: --format {kind.value} wants {wanted}.")
    if to.exists() or to.is_symlink():
        raise WrongRequest(f"--to {to}: is there already and was not touched. Name another, or take it away.")
    within = [to.resolve(), *to.resolve().parents]
    if any(each.parent == farm.resolve() and each.stem.casefold() in INPUTS for each in within):
        raise WrongRequest(f"--to {to}: would be read as your records. Name another place.")
    if not to.absolute().parent.is_dir():
        raise WrongRequest(f"--to {to}: {to.parent} is no folder. Make it first, or name another place.")
    return kind


def _write(to: Path, tables: Sequence[ExportTable], kind: FileKind, of_ledger: Mapping[str, pl.DataFrame]) -> None:
    from pipeline.export.decided import write_decided
    from pipeline.export.files import new_folder, write_files
    from pipeline.export.workbook import write_workbook
    from pipeline.models.decided import what_they_are

    try:
        if kind is FileKind.xlsx:
            write_workbook(to, tables)
        else:
            with new_folder(to) as folder:
                write_files(folder, tables, kind)
                if of_ledger:
                    write_decided(folder, of_ledger, what_they_are())
    except OSError as problem:
        raise OutOfReach(f"{to} cannot be written: {problem.strerror or problem}.") from problem
