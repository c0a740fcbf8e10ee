"""How every command reaches the farm: its folder is opened, its ledger brought up to date and read."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.cli.clock import moment, now
from pipeline.cli.show import notify
from pipeline.cli.streams import refuse_no_text
from schemas.finding import WrongRequest
from schemas.phrases import counted, listed
from schemas.result_rows import whole_of
from schemas.steps import STEPS

if TYPE_CHECKING:
    from pipeline.farm.folder import Farm
    from pipeline.ledger.read_only import LedgerToRead
    from pipeline.ledger.refresh import Refreshed
    from pipeline.models.view import Ledger, LedgerView, Query


@dataclass
class RunSettings:
    """What holds for the whole run: whether steps are shown, --farm as given, the farm folder once it is found; the day
    that figures are of, where it comes from the clock; the command whose --undo was ended early, but had taken its
    entries back (`taken_back`); and what gives views where no farm's ledger does (`view_of`).
    """

    verbose: bool = False
    given: Path | None = None
    folder: Path | None = None
    today: date | None = None
    taken_back: str = ""
    view_of: Callable[[Query], LedgerView] | None = None


RUN = RunSettings()
# So many containers are named in a sentence.
SHOWN_CONTAINERS = 3
# What is shown while a step takes long.
SHOWN = {"refresh": "Bringing the ledger up to date", "audit": "Auditing the ledger", "page": "Drawing the page"}


def farm_folder(given: Path | None) -> Path:
    """Return the folder of the farm that is meant. Raises WrongRequest where there is none."""
    from pipeline.farm.folder import find_folder

    from_environment = os.environ.get("GILLBOOK_FARM") if given is None else None
    try:
        found = find_folder(Path(from_environment) if from_environment else given, Path.cwd())
        return Path(refuse_no_text("", str(found), "Give that folder another name."))
    except WrongRequest as problem:
        if not from_environment:
            raise
        # Nobody typed that folder just now, so say where it comes from.
        raise WrongRequest(f"GILLBOOK_FARM: {problem}") from problem


def open_the_farm(given: Path | None) -> Farm:
    """Open the farm that is meant, and say what is odd about its farm.toml. Raises WrongRequest where there is none."""
    from pipeline.farm.folder import open_farm
    from pipeline.logbook.unfinished import settle

    RUN.folder = farm_folder(given)
    farm = open_farm(RUN.folder)
    for each in farm.findings:
        notify(each.sentence())
    settled = settle(farm, moment())
    RUN.taken_back = settled.taken_back
    for message in settled.messages:
        notify(message)
    return farm


@contextmanager
def timed(step: str) -> Iterator[None]:
    """Show that this step is under way, where it takes long; and say, with --verbose, how long it took."""
    started = time.perf_counter()
    with STEPS.during(SHOWN.get(step, f"{step}: working it out")):
        yield
    if RUN.verbose:
        notify(f"  {step}: {time.perf_counter() - started:.3f} s")


def _step(message: str) -> None:
    STEPS.at(f"Bringing the ledger up to date: {message}")
    if RUN.verbose:
        notify(f"  {message}")


def refreshed(farm: Farm, strict: bool = False) -> Refreshed | None:
    """Bring the ledger up to date. A command that reads goes on with the ledger as it was while another process
    refreshes it (None), unless `strict`. Raises ReadOnlyFolder, and what a refresh raises.
    """
    from pipeline.ledger.lock import Locked
    from pipeline.ledger.manifest import load_manifest
    from pipeline.ledger.refresh import refresh

    try:
        with timed("refresh"):
            done = refresh(farm, moment(), _step)
    except Locked as problem:
        if strict or not farm.ledger.exists():
            raise
        notify(f"{problem} These figures are from before it began.")
        manifest = load_manifest(farm.ledger)
        for message in manifest.messages if manifest else ():
            notify(message)
        return None
    for message in (*done.messages, *_of_lost_entries(farm), *_of_the_clock(farm)):
        notify(message)
    return done


def _of_lost_entries(farm: Farm) -> list[str]:
    """Return what is said of entries that no file holds any more, until that is answered."""
    from pipeline.logbook.lost import lost_entries, lost_message

    lost = lost_entries(farm)
    return [lost_message(farm, lost)] if lost else []


def _of_the_clock(farm: Farm) -> list[str]:
    """Return what is said where the clock stands before the newest entry."""
    from pipeline.logbook.clock_back import clock_back

    said = clock_back(farm, now())
    return [f"{said[0].upper()}{said[1:]} If not, set it."] if said else []


@contextmanager
def current_ledger(farm: Farm) -> Iterator[LedgerToRead]:
    """Give the farm's ledger, brought up to date; of a folder that cannot be written, what answers in its place."""
    from pipeline.ledger.lock import ReadOnlyFolder
    from pipeline.ledger.read_only import LedgerToRead, ledger_without_writing

    current: LedgerToRead | None = None
    with suppress(ReadOnlyFolder):
        current = LedgerToRead(farm.ledger, [], refreshed(farm))
    if current is not None:
        yield current
        return
    with ledger_without_writing(farm, moment(), _step) as found:
        for message in (*found.messages, *_of_lost_entries(farm), *_of_the_clock(farm)):
            notify(message)
        yield found


@contextmanager
def read_ledger(farm: Farm, step: str, note_rejected: bool = True, note_newest_day: bool = True) -> Iterator[Ledger]:
    """Give the farm's ledger, brought up to date, for one step of reading; then say how much is set aside.

    note_newest_day: False where figures are of a day that the ledger tells, which then is given to notify_newest_day.
    """
    from pipeline.models.view import opened

    with current_ledger(farm) as current, timed(step), opened(current.path, farm.settings) as ledger:
        if note_newest_day:
            notify_newest_day(ledger)
        yield ledger
        if note_rejected:
            _notify_filled_twice(ledger)
    if note_rejected:
        notify_rejected(current.done)


def notify_newest_day(ledger: Ledger, as_of: date | None = None) -> None:
    """Say where rows lie after the day that the clock has, or long before it: figures as of that day lack the ones, and
    take what ran at the other for ended. as_of: the day that figures are of, where it is another than the clock's.
    """
    from pipeline.models.newest_day import newest_day

    if RUN.today is not None:
        said = newest_day(ledger, RUN.today, as_of or RUN.today).sentence(RUN.today)
        if said:
            notify(said)


def _notify_filled_twice(ledger: Ledger) -> None:
    """Say which containers have two fillings on one day, of which all but one are in figures as ended that day."""
    from pipeline.models.measures import filled_twice

    found = filled_twice(ledger)
    if found:
        more = [f"{len(found) - SHOWN_CONTAINERS} more"] if len(found) > SHOWN_CONTAINERS else []
        named = listed([*found[:SHOWN_CONTAINERS], *more])
        were, last = ("was", "its last filling") if len(found) == 1 else ("were", "the last filling of each")
        notify(
            f"{named} {were} filled twice on one day: {last} counts, others count as ended then with nothing picked. "
            "gillbook check asks which it is."
        )


def notify_rejected(done: Refreshed | None) -> None:
    """Say how many rows are set aside or wait, for commands that are about something else."""
    if done is None:
        return
    rejected = sum(whole_of(count, "set_aside") for count in done.counts)
    waiting = sum(whole_of(count, "waiting") for count in done.counts)
    parts = []
    if rejected:
        parts.append(counted(rejected, "row is set aside", "rows are set aside"))
    if waiting:
        parts.append(f"{counted(waiting, 'row waits', 'rows wait')} for another to be mended")
    if parts:
        notify(f"{' and '.join(parts)}: in no figure. gillbook check tells which.")
