"""The commands about the farm folder: init, demo, refresh, check."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.options import AsOfOption, FarmOption, JsonOption, day, refreshed, tell
from pipeline.cli.options import the_farm as open_the_farm

if TYPE_CHECKING:
    from pipeline.farm import Farm
    from schemas.finding import Finding

NewFolder = Annotated[Path, typer.Argument(metavar="DIR", help="The folder to make.")]

HEADINGS = {
    "set_aside": "Set aside: these rows stay in their files and are in no figure.",
    "waiting": "Waiting: these rows follow once the row that they wait for is mended.",
    "dropped": "Cells not used: the row counts, the cell is taken as empty.",
    "warning": "Doubtful: counted as they stand.",
    "notice": "Good to know.",
}
SHOWN_OF_A_KIND = 3


def init(
    folder: NewFolder,
    full: Annotated[bool, typer.Option("--full", help="All columns, not only the usual ones.")] = False,
) -> None:
    """Make a farm folder. In it: empty tables with their headers, a commented farm.toml and a how-to."""
    from pipeline.new_farm import write_new_farm

    written = write_new_farm(folder, full)
    typer.echo(f"{folder} is ready: {', '.join(written)}.")
    typer.echo(f"Next: fill in batches.csv, then gillbook yields --farm {folder}")


def demo(folder: NewFolder) -> None:
    """Write and load the invented demo farm. Shows what was loaded and set aside, and biological efficiency."""
    from pipeline.cli.measure_commands import yields
    from pipeline.demo.write import LAST_DAY, write_demo
    from pipeline.new_farm import refuse_full_folder

    refuse_full_folder(folder)
    write_demo(folder)
    typer.echo(f"The demo farm, invented, is in {folder}. It stands at {LAST_DAY}.\n")
    refresh(farm=folder)
    typer.echo(f"\nBiological efficiency by recipe (gillbook yields --by substrate,treatment --as-of {LAST_DAY}):\n")
    yields(by="substrate,treatment", as_of=LAST_DAY.isoformat(), farm=folder)


def refresh(farm: FarmOption = None, json: JsonOption = False) -> None:
    """Load what changed in the files. Tells what became of the rows of each file."""
    from pipeline.cli.show import Column, as_json, as_table

    done = refreshed(open_the_farm(farm), strict=True)
    assert done is not None, "a strict refresh refreshes or raises"
    if json:
        as_json(done.counts)
        return
    columns = [Column("file", "file")]
    columns += [Column(key, key.replace("_", " "), 0) for key in ("rows_in", "loaded", "set_aside", "waiting", "blank")]
    as_table(done.counts, columns)
    tell("rows in = loaded + set aside + waiting + blank, in every file.")
    if done.levels:
        told = ", ".join(f"{number} {level.replace('_', ' ')}" for level, number in sorted(done.levels.items()))
        tell(f"Findings: {told}. gillbook check tells which.")


def check(as_of: AsOfOption = None, json: JsonOption = False, farm: FarmOption = None) -> None:
    """Tell what is wrong in the rows, and how to mend it. Writes all of it to out/set_aside.csv and out/findings.csv.

    Exit code 1 if rows are set aside.
    """
    from pipeline.cli.show import as_json
    from pipeline.ledger.told import read_findings
    from pipeline.measures import runner

    opened = open_the_farm(farm)
    until = day(as_of)
    refreshed(opened)
    with runner.open_ledger(opened.ledger) as con:
        found = [*opened.findings, *read_findings(con, until)]
        runner.prepare(con, opened.settings, runner.Question(until))
        found += runner.lapsed(con)
        missing = runner.missing_cells(con)
    _write_lists(opened, found)
    if json:
        as_json([each.record() for each in found])
    else:
        _print_findings(found)
        if missing:
            typer.echo("What would give dry mass, and so BE, to more units:")
            for cell in missing:
                typer.echo(f"  {cell['file']}, row {cell['row']}, {cell['column_name']}: {cell['units']} units")
    if any(each.level in ("set_aside", "waiting") for each in found):
        raise typer.Exit(1)


def _print_findings(found: Sequence[Finding]) -> None:
    from pipeline.cli.show import printable

    if not found:
        typer.echo("Nothing found. Every row is loaded.")
    for level, heading in HEADINGS.items():
        of_level = [each for each in found if each.level == level]
        if not of_level:
            continue
        typer.echo(f"{heading} ({len(of_level)})")
        kinds = sorted(of_level, key=lambda each: (each.table, each.column, each.rule))
        groups = [list(group) for _, group in groupby(kinds, key=lambda each: (each.table, each.column, each.rule))]
        for group in sorted(groups, key=lambda group: -max(each.waiting for each in group)):
            for each in sorted(group, key=lambda each: (-each.waiting, each.file, each.row))[:SHOWN_OF_A_KIND]:
                typer.echo(f"  {printable(each.sentence())}")
            if len(group) > SHOWN_OF_A_KIND:
                typer.echo(f"  ... and {len(group) - SHOWN_OF_A_KIND} more of this kind")
        typer.echo("")


def _write_lists(farm: Farm, found: Sequence[Finding]) -> None:
    """Writes out/set_aside.csv (rows set aside or waiting) and out/findings.csv (all)."""
    from pipeline.write_csv import write_csv
    from schemas.finding import OutOfReach

    aside = [each.record() for each in found if each.level in ("set_aside", "waiting")]
    try:
        farm.out.mkdir(exist_ok=True)
        write_csv(farm.out / "set_aside.csv", aside)
        write_csv(farm.out / "findings.csv", [each.record() for each in found])
    except OSError as problem:
        raise OutOfReach(f"out/set_aside.csv cannot be written: {problem.strerror}.") from problem
    if aside:
        tell("The whole list is in out/set_aside.csv.")


COMMANDS = (init, demo, refresh, check)
