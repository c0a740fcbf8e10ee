"""The commands that load a farm: demo, refresh."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.farm_access import open_the_farm, refreshed
from pipeline.cli.options import FarmOption, JsonOption
from pipeline.cli.show import notify
from schemas.finding import OutOfReach
from schemas.result_rows import Row, text_of

if TYPE_CHECKING:
    from pipeline.farm.folder import Farm
    from pipeline.ledger.refresh import Refreshed

# So many names of files stand in one sentence: our choice, no source.
SHOWN_FILES = 3
NewFolder = Annotated[Path, typer.Argument(metavar="DIR", help="The folder to make.")]


def demo(folder: NewFolder) -> None:
    """Write and load the invented demo farm. Shows what was loaded and set aside, and biological efficiency.

    Ends with its last month's report and what pays.
    """
    from pipeline.cli.measure_commands import yields
    from pipeline.cli.money_command import money
    from pipeline.cli.report_command import report
    from pipeline.demo.books import write_books
    from pipeline.demo.write import LAST_DAY, write_demo
    from pipeline.farm.template import refuse_full_folder

    refuse_full_folder(folder)
    try:
        write_demo(folder)
        write_books(folder)
    except OSError as problem:
        reason = problem.strerror or problem
        raise OutOfReach(
            f"The demo farm could not be written ({reason}). What is in {folder} is not whole: delete it, make room or "
            "name another folder, and try again."
        ) from problem
    typer.echo(f"The demo farm, invented, is in {folder}. It stands at {LAST_DAY}.\n")
    refresh(farm=folder)
    typer.echo(f"\nBiological efficiency by recipe (gillbook yields --by substrate,treatment --as-of {LAST_DAY}):\n")
    yields(by="substrate,treatment", as_of=LAST_DAY.isoformat(), farm=folder)
    typer.echo(f"\nThe report of {LAST_DAY:%Y-%m} (gillbook report --month {LAST_DAY:%Y-%m}); open it in a browser:")
    report(month=f"{LAST_DAY:%Y-%m}", farm=folder)
    typer.echo(f"\nWhat pays, at invented prices (gillbook money --by substrate,treatment --as-of {LAST_DAY}):\n")
    money(by="substrate,treatment", as_of=LAST_DAY.isoformat(), farm=folder)


def refresh(farm: FarmOption = None, json: JsonOption = False) -> None:
    """Load what changed in the files. Tells what became of the rows of each file."""
    from pipeline.cli.show import Column, print_json, print_table

    opened = open_the_farm(farm)
    done = refreshed(opened, strict=True)
    assert done is not None, "a strict refresh refreshes or raises"
    for message in _separators(opened, done):
        notify(message)
    if json:
        print_json(done.counts)
        return
    columns = [Column("file", "file")]
    columns += [Column(key, key.replace("_", " "), 0) for key in ("rows_in", "loaded", "set_aside", "waiting", "blank")]
    names = [text_of(count, "file") for count in done.counts]
    print_table([{**count, "file": _called(count, names)} for count in done.counts], columns)
    notify("rows in = loaded + set aside + waiting + blank, in every file.")
    for message in done.edits:
        notify(message)
    if done.levels:
        levels = ", ".join(f"{number} {level.replace('_', ' ')}" for level, number in sorted(done.levels.items()))
        notify(f"Findings: {levels}. gillbook check tells which.")


def _separators(farm: Farm, done: Refreshed) -> list[str]:
    """Return which of the files just read are separated by something else than commas: said once, until they change;
    gillbook check says it always.
    """
    from pipeline.models.measures import separators
    from pipeline.models.view import opened

    # It is a notice: without any the ledger need not be opened once more.
    if not done.changed or not done.levels.get("notice"):
        return []
    with opened(farm.ledger, farm.settings) as ledger:
        found = {word: [name for name in files if name in done.changed] for word, files in separators(ledger).items()}
    return [
        f"{word.capitalize()} stand between the columns of {_some(files)}." for word, files in found.items() if files
    ]


def _some(files: Sequence[str]) -> str:
    more = len(files) - SHOWN_FILES
    return ", ".join(files[:SHOWN_FILES]) + (f" and {more} more" if more > 0 else "")


def _called(count: Row, names: Sequence[str]) -> str:
    """Return what this file is called beside the others. One that holds several tables stands once for each."""
    file = text_of(count, "file")
    return f"{file} ({count['table_name']})" if names.count(file) > 1 else file
