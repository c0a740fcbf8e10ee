"""What the pages reach the farm by: reading and writing run off the event loop, each of them one at a time."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from pipeline.files.deeds import DEEDS

if TYPE_CHECKING:
    from pipeline.farm.folder import Farm
    from pipeline.models.view import Ledger
    from reports.month import Month
    from reports.screens.pictures import Picture
    from reports.sheets.shelves import Shelves
    from schemas.finding import Finding

T = TypeVar("T")


@dataclass(frozen=True)
class Answer:
    """What a command answers: its sentences, its tables (headings, rows of texts), what it says beside them, and its
    pictures.
    """

    paragraphs: Sequence[str] = ()
    tables: Sequence[tuple[Sequence[str], Sequence[Sequence[str]]]] = ()
    notes: Sequence[str] = ()
    pictures: Sequence[Picture] = ()


@dataclass(frozen=True)
class Commands:
    """What the pages have from the commands: the clock, reading the ledger brought up to date, gathering a month,
    the findings and the shelves, and what a command answers to words; `hearing` gives the messages that it would print.
    """

    clock: Callable[[], datetime]
    read_ledger: Callable[[Farm, str], AbstractContextManager[Ledger]]
    gather: Callable[[Ledger, Farm, date, date], Month]
    findings: Callable[[Farm, date], Sequence[Finding]]
    shelves: Callable[[Farm, Ledger, date], Shelves]
    answer: Callable[[Sequence[str]], Answer]
    hearing: Callable[[], AbstractContextManager[list[str]]]
    crashed: Callable[[Exception], str]


@dataclass(frozen=True)
class Done:
    """What was written last at the desk: its sentences, and which command and entry an undo takes back."""

    sentences: tuple[str, ...]
    command: str = ""
    entry: str = ""


@dataclass
class Desk:
    """The farm that is open, and what was done last, which the next page shows once."""

    folder: Path
    commands: Commands
    done: Done | None = None
    reader: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(1, "reads"))
    asker: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(2, "asks"))
    writer: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(1, "writes"))

    def farm_name(self) -> str:
        """The farm's name; blank where it has none."""
        from pipeline.farm.folder import open_farm
        from pipeline.farm.settings import text

        return text(open_farm(self.folder).settings, "name") or ""

    def today(self) -> date:
        """The present day."""
        return self.commands.clock().date()

    async def reading(self, read: Callable[[], T]) -> tuple[T, list[str]]:
        """Return what this reads, and what a command would say beside it."""

        def heard() -> tuple[T, list[str]]:
            with self.commands.hearing() as notes:
                return read(), notes

        return await asyncio.get_running_loop().run_in_executor(self.reader, heard)

    async def apart(self, ask: Callable[[], T]) -> T:
        """Return what this asks another process: no page that reads the ledger waits for it."""
        return await asyncio.get_running_loop().run_in_executor(self.asker, ask)

    async def writing(self, write: Callable[[Farm], T]) -> T:
        """Return what this writes to the farm, of which what was left half written is settled first."""

        def settled() -> T:
            DEEDS.clear()
            return write(open_settled(self.folder, self.commands.clock()))

        return await asyncio.get_running_loop().run_in_executor(self.writer, settled)

    def take_done(self) -> Done | None:
        """Return what was done last, once."""
        done, self.done = self.done, None
        return done


def open_settled(folder: Path, now: datetime) -> Farm:
    """Open the farm, and take out what an ended program left half written."""
    from pipeline.farm.folder import open_farm
    from pipeline.logbook.unfinished import settle

    farm = open_farm(folder)
    settle(farm, now.isoformat(timespec="seconds"))
    return farm
