"""The farm's files as they are while entries are written: looked at anew each time, and written to."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Protocol, TypeVar

from pipeline.farm.folder import Farm
from pipeline.files.dialect import MARK
from pipeline.logbook import append, journal
from pipeline.logbook.places import Places
from pipeline.logbook.summaries import WORTH_KEEPING, Summaries, keep, recall, up_to_date
from pipeline.logbook.targets import Target, Values, header_line, row_line, texts_of
from schemas.finding import OutOfReach

# A file that another program keeps changing is tried so often.
TRIES = 5


@dataclass(frozen=True)
class Doubt:
    """Something that makes one ask before writing: `kind` is a word for it, `said` the question's sentence."""

    kind: str
    said: str


def told(doubts: Sequence[Doubt]) -> str:
    """What is doubtful, as sentences? Small at the beginning, for something stands before it."""
    found = ""
    for each in doubts:
        ended = found.endswith("?")
        found += f" {each.said[0].upper()}{each.said[1:]}" if ended else f"{'; ' if found else ''}{each.said}"
    return found if found.endswith("?") else f"{found}."


@dataclass
class Book:
    """The farm's files as last looked at. What is kept of them is written down again where that is worth it."""

    farm: Farm
    summaries: Summaries = field(default_factory=dict)
    opened: bool = False

    def look(self) -> Places:
        """What do the files say now?"""
        if not self.opened:
            self.summaries = recall(self.farm)
        self.summaries, again = up_to_date(self.farm, self.summaries)
        if again > WORTH_KEEPING:
            keep(self.farm, self.summaries)
        self.opened = True
        return Places(self.farm, self.summaries)


class Planned(Protocol):
    """What is ready to be written, with what is doubtful about it."""

    @property
    def doubts(self) -> Sequence[Doubt]:
        """What makes one ask first?"""

    @property
    def target(self) -> Target:
        """Where is it written?"""


P = TypeVar("P", bound=Planned)
R = TypeVar("R")
Ask = Callable[[Any, Sequence[Doubt]], None]
Clock = Callable[[], datetime]


def enter(
    book: Book,
    plan: Callable[[datetime], P],
    write: Callable[[P, datetime], R],
    insist: bool,
    ask: Ask,
    clock: Clock,
) -> R:
    """Plans and writes while nobody else writes entries. `ask` is told the doubts, and raises where one is not waved
    aside; others may write meanwhile, so that everything is looked at again afterwards.

    Raises OutOfReach, and what `plan` and `ask` raise. Nothing is then written.
    """
    waved: set[str] = set()
    for _ in range(TRIES):
        while True:
            now = clock()
            with append.logbook_locked(book.farm, now.isoformat(timespec="seconds")):
                planned = plan(now)
                doubts = [each for each in planned.doubts if each.kind not in waved]
                if insist or not doubts:
                    with suppress(append.ChangedMeanwhile):
                        return write(planned, now)
                    break
            ask(planned, doubts)
            waved |= {each.kind for each in doubts}
    raise OutOfReach(f"{planned.target.name} is being changed by another program again and again. Nothing was written.")


def open_doubts(target: Target) -> list[Doubt]:
    """Is the file open in a spreadsheet?"""
    if not append.open_elsewhere(target.path):
        return []
    said = f"{target.name} is open in a spreadsheet: when it is saved there, what is added now is lost; close it there"
    return [Doubt("open elsewhere", said)]


def look_for_last(farm: Farm, target: Target) -> list[str]:
    """Are the last entries still in the file? One sentence for those that are not: another program may have saved what
    it had read before them.
    """
    try:
        data = target.path.read_bytes()
    except OSError:
        data = b""
    lost = journal.astray(farm, target.name, data)
    if not lost:
        return []
    shown = "; ".join(f"{_place_of(each['cells'])} {each['cells'].get('fresh_weight_g', '')}" for each in lost[:5])
    many = "1 entry is" if len(lost) == 1 else f"{len(lost)} entries are"
    more = f" and {len(lost) - 5} more" if len(lost) > 5 else ""
    return [
        f"{many} not in {target.name} any more: {shown}{more}. Did another program save over them? Then enter them "
        "again; if they were deleted, all is well."
    ]


def _place_of(cells: Mapping[str, str]) -> str:
    return f"{cells['picked_on']} {cells.get('container') or cells.get('batch', '')}" if "picked_on" in cells else ""


def write_rows(farm: Farm, target: Target, command: str, rows: Sequence[Values], now: datetime) -> None:
    """Writes these rows to the file, all or none. Those with an entry id are noted first, so that they can be taken
    back. To be called while the logbook is locked.

    Raises ChangedMeanwhile when the file is not as it was when the target was told; OutOfReach.
    """
    texts = [texts_of(farm, target, told) for told in rows]
    told = {"command": command, "file": target.name, "at": now.isoformat(timespec="seconds")}
    entries = [cells for cells in texts if "entry" in cells]
    for cells in entries:
        journal.note(farm, {"entry": cells["entry"], "call": entries[0]["entry"], **told, "cells": cells})
    lines = "".join(row_line(target, cells) for cells in texts)
    if target.mark is None:
        append.make(target.path, target.name, header_line(target) + lines)
    elif target.grows:
        text = header_line(target) + lines
        append.replace(target.path, target.name, lambda data: _mark_of(data) + text.encode("utf-8"), target.mark)
    else:
        before = "" if target.shape["ended"] else target.shape["line_end"]
        append.append(target.path, target.name, before + lines, target.mark)


def _mark_of(data: bytes) -> bytes:
    """The byte-order mark that the file begins with, if any."""
    return MARK if data.startswith(MARK) else b""
