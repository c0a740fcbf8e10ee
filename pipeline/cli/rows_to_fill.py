"""Rows to fill in, written beside the records: never over a file, and never where they would be read as records."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.show import notify
from schemas.contract import BATCHES, FILLINGS, INPUTS
from schemas.finding import OutOfReach, WrongRequest
from schemas.phrases import counted

OutOption = Annotated[
    Path | None,
    typer.Option("--out", metavar="FILE", help="Write the rows to fill in: FILE-batches.csv, FILE-fillings.csv."),
]


def paths_to_fill(folder: Path, out: Path | None) -> dict[str, Path]:
    """Return the files to be written; none without `out`. Raises WrongRequest where one exists, or would be read as a
    table.
    """
    if out is None:
        return {}
    base = out.with_suffix("") if out.suffix.lower() == ".csv" else out
    found = {name: base.with_name(f"{base.name}-{name}.csv") for name in (BATCHES, FILLINGS)}
    tables = [folder / name for name in INPUTS]
    if any(each.resolve() == base.parent.resolve() for each in tables):
        raise WrongRequest(f"--out {out}: files in {base.parent.name}/ are read as your records. Name another folder.")
    for path in found.values():
        if path.exists():
            raise WrongRequest(f"--out {out}: {path} is there already and was not touched. Name another file.")
    return found


def write_to_fill(paths: Mapping[str, Path], tables: Mapping[str, Sequence[Mapping[str, str]]], json: bool) -> None:
    """Write the rows of each table, one at least; never over a file. json: say what was written apart from it."""
    from pipeline.files.write_csv import csv_lines

    for name, rows in tables.items():
        try:
            with open(paths[name], "x", encoding="utf-8", newline="") as file:
                file.writelines(csv_lines(rows, list(rows[0])))
        except FileExistsError as problem:
            raise WrongRequest(f"--out: {paths[name]} is there already and was not touched.") from problem
        except OSError as problem:
            raise OutOfReach(f"{paths[name]} cannot be written: {problem.strerror}.") from problem
        (notify if json else typer.echo)(
            f"{paths[name]}: {counted(len(rows), 'row')}. Fill in, then copy them to your {name} table."
        )
