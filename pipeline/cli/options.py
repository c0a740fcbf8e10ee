"""What the commands have in common: their options, opening the farm, and bringing the ledger up to date first."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.show import printable, short
from schemas.finding import WrongRequest

if TYPE_CHECKING:
    from pipeline.farm.folder import Farm
    from pipeline.ledger.refresh import Refreshed

FarmOption = Annotated[
    Path | None,
    typer.Option(
        "--farm", metavar="DIR", help="The farm folder. Default: GILLBOOK_FARM, or the folder you are in or above it."
    ),
]
AsOfOption = Annotated[
    str | None,
    typer.Option("--as-of", metavar="DATE", help="Tell it as of this day, like 2026-05-31. Default: today."),
]
JsonOption = Annotated[bool, typer.Option("--json", help="One JSON array: unrounded numbers, null for missing.")]
ByOption = Annotated[
    str,
    typer.Option(
        "--by", metavar="COLUMNS", help="Columns to group by, with commas between: any of batches or fillings; or all."
    ),
]


@dataclass
class Settings:
    """What the whole run knows: whether to tell steps, and the farm folder once it is found."""

    verbose: bool = False
    folder: Path | None = None


SETTINGS = Settings()


def tell(message: str) -> None:
    """Tells the grower something that is no result, on stderr."""
    typer.echo("\n".join(printable(short(line)) for line in message.split("\n")), err=True)


def day(given: str | None) -> date:
    """Which day is meant? Today when none is given. Raises WrongRequest for a text that is no date."""
    return date.today() if given is None else date_of("--as-of", given)


def date_of(option: str, given: str) -> date:
    """Which day does this option's text name? Raises WrongRequest for a text that is no date."""
    try:
        found = date.fromisoformat(given)
    except ValueError:
        found = None
    # The library also takes 20260531 and 2026-W22-7, which nobody writes on purpose.
    if found is None or found.isoformat() != given:
        raise WrongRequest(f"{option} {given}: that is not a date. Write year-month-day, like 2026-05-31.")
    return found


def the_farm(given: Path | None) -> Farm:
    """Opens the farm that is meant, and tells what is odd about its farm.toml."""
    from pipeline.farm.folder import find_folder, open_farm

    from_environment = os.environ.get("GILLBOOK_FARM") if given is None else None
    try:
        folder = find_folder(Path(from_environment) if from_environment else given, Path.cwd())
    except WrongRequest as problem:
        if not from_environment:
            raise
        # Nobody typed that folder just now, so say where it comes from.
        raise WrongRequest(f"GILLBOOK_FARM: {problem}") from problem
    SETTINGS.folder = folder
    farm = open_farm(folder)
    for each in farm.findings:
        tell(each.sentence())
    return farm


@contextmanager
def timed(step: str) -> Iterator[None]:
    """Tells, with --verbose, how long a step took."""
    started = time.perf_counter()
    yield
    if SETTINGS.verbose:
        tell(f"  {step}: {time.perf_counter() - started:.3f} s")


def refreshed(farm: Farm, strict: bool = False) -> Refreshed | None:
    """Brings the ledger up to date. A command that reads goes on with the ledger as it was while another process
    refreshes it (None), unless `strict`.
    """
    from pipeline.ledger.lock import Locked
    from pipeline.ledger.manifest import load_manifest
    from pipeline.ledger.refresh import refresh

    def step(message: str) -> None:
        if SETTINGS.verbose:
            tell(f"  {message}")

    try:
        with timed("refresh"):
            done = refresh(farm, datetime.now().astimezone().isoformat(timespec="seconds"), step)
    except Locked as problem:
        if strict or not farm.ledger.exists():
            raise
        tell(f"{problem} These figures are from before it began.")
        manifest = load_manifest(farm.ledger)
        for message in manifest.messages if manifest else ():
            tell(message)
        return None
    for message in done.said:
        tell(message)
    return done


def tell_set_aside(done: Refreshed | None) -> None:
    """Tells of rows set aside, on stderr, for commands that are about something else."""
    if done is None:
        return
    aside = sum(count["set_aside"] for count in done.counts)
    waiting = sum(count["waiting"] for count in done.counts)
    said = []
    if aside:
        said.append("1 row is set aside" if aside == 1 else f"{aside} rows are set aside")
    if waiting:
        said.append("1 row waits" if waiting == 1 else f"{waiting} rows wait")
        said[-1] += " for another to be mended"
    if said:
        tell(f"{' and '.join(said)}: in no figure. gillbook check tells which.")
