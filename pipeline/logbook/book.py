"""The farm's files as they are while entries are written: read anew each time, and written to."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol, TypeVar

from pipeline.farm.folder import Farm
from pipeline.files.dialect import MARK
from pipeline.logbook import append, journal
from pipeline.logbook.containers import Containers
from pipeline.logbook.destination import Destination, Values, header_line, row_line, texts_of
from pipeline.logbook.summaries import WORTH_SAVING, Summaries, current_summaries, load_summaries, save_summaries
from schemas.finding import OutOfReach
from schemas.phrases import counted

# A file that another program keeps changing is tried so often.
TRIES = 5
# So many entries that are missing are named one by one.
NAMED = 5


@dataclass(frozen=True)
class Doubt:
    """Something to be confirmed before writing: `kind` is a word for it, `message` the sentence of the question."""

    kind: str
    message: str


def doubts_text(doubts: Sequence[Doubt]) -> str:
    """Return the doubts as sentences, small at the beginning, for something stands before them."""
    found = ""
    for each in doubts:
        ended = found.endswith("?")
        sentence = f" {each.message[0].upper()}{each.message[1:]}" if ended else each.message
        found += sentence if ended or not found else f"; {sentence}"
    return found if found.endswith("?") else f"{found}."


@dataclass
class Book:
    """The farm's files as last scanned. Their summaries are saved again where that is worth it."""

    farm: Farm
    summaries: Summaries = field(default_factory=dict)
    opened: bool = False

    def scan(self) -> Containers:
        """Return what the files say now."""
        if not self.opened:
            self.summaries = load_summaries(self.farm)
        self.summaries, read = current_summaries(self.farm, self.summaries)
        if read > WORTH_SAVING:
            save_summaries(self.farm, self.summaries)
        self.opened = True
        return Containers(self.farm, self.summaries)


class EntryPlan(Protocol):
    """What is ready to be written, with what is doubtful about it."""

    @property
    def doubts(self) -> Sequence[Doubt]:
        """What is to be confirmed first."""

    @property
    def destination(self) -> Destination:
        """The file that it is written to."""


P = TypeVar("P", bound=EntryPlan)
R = TypeVar("R")
Confirm = Callable[[Sequence[Doubt]], None]
Clock = Callable[[], datetime]


def enter(
    book: Book,
    plan: Callable[[datetime], P],
    write: Callable[[P, datetime], R],
    insist: bool,
    confirm: Confirm,
    clock: Clock,
) -> R:
    """Plan and write while nobody else writes entries. `confirm` gets the doubts, and raises where one is not waved
    aside; others may write meanwhile, so that everything is scanned again afterwards.

    Raises OutOfReach, and what `plan` and `confirm` raise. Nothing is then written.
    """
    confirmed: set[str] = set()
    for _ in range(TRIES):
        while True:
            now = clock()
            with append.logbook_locked(book.farm, now.isoformat(timespec="seconds")):
                planned = plan(now)
                doubts = [each for each in planned.doubts if each.kind not in confirmed]
                if insist or not doubts:
                    with suppress(append.ChangedMeanwhile):
                        return write(planned, now)
                    break
            confirm(doubts)
            confirmed |= {each.kind for each in doubts}
    name = planned.destination.name
    raise OutOfReach(f"{name} is being changed by another program again and again. Nothing was written.")


def open_doubts(destination: Destination) -> list[Doubt]:
    """Return the doubt that the file is open in a spreadsheet, if it is."""
    if not append.open_elsewhere(destination.path):
        return []
    name = destination.name
    message = f"{name} is open in a spreadsheet: when it is saved there, what is added now is lost; close it there"
    return [Doubt("open elsewhere", message)]


def missing_entries(farm: Farm, destination: Destination) -> list[str]:
    """Return one sentence where last entries are not in the file any more: another program may have saved what it had
    read before them.
    """
    try:
        data = destination.path.read_bytes()
    except OSError:
        data = b""
    missing = journal.take_missing(farm, destination.name, data)
    if not missing:
        return []
    shown = "; ".join(f"{_place_of(each.cells)} {each.cells.get('fresh_weight_g', '')}" for each in missing[:NAMED])
    more = f" and {len(missing) - NAMED} more" if len(missing) > NAMED else ""
    many = f"{counted(len(missing), 'entry', 'entries')} {'is' if len(missing) == 1 else 'are'}"
    return [
        f"{many} not in {destination.name} any more: {shown}{more}. Did another program save over them? Then enter "
        "them again; if they were deleted, all is well."
    ]


def _place_of(cells: Mapping[str, str]) -> str:
    return f"{cells['picked_on']} {cells.get('container') or cells.get('batch', '')}" if "picked_on" in cells else ""


def write_rows(farm: Farm, destination: Destination, command: str, rows: Sequence[Values], now: datetime) -> None:
    """Write these rows to the file, all or none. Those with an entry id go into the journal first, so that they can be
    taken back. To be called while the logbook is locked.

    Raises ChangedMeanwhile when the file is not as it was when the destination was chosen; OutOfReach.
    """
    texts = [texts_of(farm, destination, row) for row in rows]
    entries = [cells for cells in texts if "entry" in cells]
    moment = now.isoformat(timespec="seconds")
    for cells in entries:
        entry = journal.JournalEntry(cells["entry"], entries[0]["entry"], command, destination.name, moment, cells)
        journal.record(farm, entry)
    lines = "".join(row_line(destination, cells) for cells in texts)
    path, name = destination.path, destination.name
    if destination.version is None:
        append.make(path, name, header_line(destination) + lines)
    elif destination.grows:
        text = (header_line(destination) + lines).encode("utf-8")
        append.replace(path, name, lambda data: _mark_of(data) + text, destination.version)
    else:
        before = "" if destination.shape.ended else destination.shape.line_end
        append.append(path, name, before + lines, destination.version)


def _mark_of(data: bytes) -> bytes:
    """Return the byte-order mark that the file begins with, if any."""
    return MARK if data.startswith(MARK) else b""
