"""The farm's files as they are while entries are written: read anew each time, and written to."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from decimal import Decimal
from typing import Protocol, TypeVar

from pipeline.farm.folder import Farm
from pipeline.farm.written_in import load_notes
from pipeline.files.deeds import DEEDS
from pipeline.files.dialect import MARK
from pipeline.logbook import append, journal
from pipeline.logbook.clock_back import clock_back
from pipeline.logbook.containers import Containers
from pipeline.logbook.destination import Destination, Values, header_line, row_line, texts_of
from pipeline.logbook.entry_ids import new_entry_ids
from pipeline.logbook.gone import gone_files
from pipeline.logbook.stored import WORTH_SAVING, load_summaries, save_summaries
from pipeline.logbook.summaries import Summaries, current_summaries
from pipeline.logbook.written_notes import save_notes
from schemas.finding import OutOfReach

# A file that another program keeps changing is tried so often.
TRIES = 5
CLOCK = "clock"


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
    """The farm's files as last scanned. Their summaries are saved again where that is worth it. clock_confirmed: it was
    said of a clock that stands before the newest entry that it is right.
    """

    farm: Farm
    summaries: Summaries = field(default_factory=dict)
    opened: bool = False
    clock_confirmed: bool = False

    def scan(self) -> Containers:
        """Return what the files say now."""
        if not self.opened:
            self.summaries = load_summaries(self.farm)
        self.summaries, read = current_summaries(self.farm, self.summaries)
        # What was saved is read from the store again by key, and not held in memory.
        self.opened = not (read > WORTH_SAVING and save_summaries(self.farm, self.summaries))
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
                doubts = [] if insist else [*planned.doubts, *_clock_doubts(book, now)]
                doubts = [each for each in doubts if each.kind not in confirmed]
                if not doubts:
                    with suppress(append.ChangedMeanwhile):
                        return write(planned, now)
                    break
            confirm(doubts)
            confirmed |= {each.kind for each in doubts}
            book.clock_confirmed = book.clock_confirmed or CLOCK in confirmed
    name = planned.destination.name
    raise OutOfReach(f"{name} is being changed by another program again and again. Nothing was written.")


def _clock_doubts(book: Book, now: datetime) -> list[Doubt]:
    """Return the doubt that the clock stands before the newest entry, until it is answered."""
    said = "" if book.clock_confirmed else clock_back(book.farm, now)
    return [Doubt(CLOCK, said)] if said else []


def open_doubts(destination: Destination) -> list[Doubt]:
    """Return the doubt that the file is open in a spreadsheet, if it is."""
    if not append.open_elsewhere(destination.path):
        return []
    name = destination.name
    message = f"{name} is open in a spreadsheet: when it is saved there, what is added now is lost; close it there"
    return [Doubt("open elsewhere", message)]


def file_doubts(book: Book, destination: Destination) -> list[Doubt]:
    """Return what is doubtful about the file: that a spreadsheet has it open, or that it is gone while its rows count,
    which they would not where it is made anew.
    """
    copy = gone_files(book.farm, book.summaries).get(destination.name) if destination.version is None else None
    if copy is None:
        return open_doubts(destination)
    name = destination.name
    message = (
        f"{name} is gone, and its rows still count, by the copy {copy}. Written now, it is made anew, and they count "
        "no more; put the file or that copy back in its place first. Of what was lost so, gillbook lost --put-back "
        "brings back what gillbook wrote"
    )
    return [Doubt("gone", message)]


def write_rows(
    farm: Farm,
    destination: Destination,
    command: str,
    rows: Sequence[Values],
    now: datetime,
    ids: Sequence[str] = (),
    by: str = "",
) -> None:
    """Write these rows to the file, all or none. They go into the journal first, so that they can be taken back, and
    named if they get lost. To be called while the logbook is locked. `ids`: those of rows that are put back; `by`: the
    phone that sent them.

    Raises ChangedMeanwhile when the file is not as it was when the destination was chosen; OutOfReach.
    """
    if destination.version is None or destination.shape.empty:
        _note_written(farm, destination)
    entries = [replace(each, by=by) for each in _journal_entries(farm, destination, command, rows, now, ids)]
    journal.record(farm, entries)
    try:
        _write(farm, destination, "".join(each.line for each in entries))
    except (append.ChangedMeanwhile, OutOfReach):
        journal.record_unwritten(farm, entries)
        raise
    DEEDS.step(_step(destination, [each.cells.get("entry", "") for each in entries]), destination.path)
    journal.record_written(farm, entries[0].call)


def _step(destination: Destination, ids: Sequence[str]) -> str:
    """Return what was written in a few words: file, rows, and the ids of the first and the last entry."""
    words = f"{destination.name}, {destination.rows_text(len(ids))}"
    if not ids[0]:
        return words
    return f"{words} (entry {ids[0]})" if len(ids) == 1 else f"{words} (entries {ids[0]} to {ids[-1]})"


def _journal_entries(
    farm: Farm, destination: Destination, command: str, rows: Sequence[Values], now: datetime, ids: Sequence[str]
) -> list[journal.JournalEntry]:
    """Return what the journal says of these rows. Those of a table without entry ids get one for the journal alone."""
    texts = [texts_of(farm, destination, row) for row in rows]
    lines = [row_line(destination, cells) for cells in texts]
    new = new_entry_ids(int(now.timestamp() * 1000), len(rows))
    again, ids = ids, ids or new
    ids = [cells.get("entry", one) for cells, one in zip(texts, ids, strict=True)]
    # What is put back is a call of its own.
    call = ids[0] if ids[0] not in again else new[0]
    offset = None
    if destination.version is not None and not destination.grows:
        offset = destination.version[0]
        lines[0] = ("" if destination.shape.ended else destination.shape.line_end) + lines[0]
    moment, name, table = now.isoformat(timespec="seconds"), destination.name, destination.table
    return [
        journal.JournalEntry(entry, call, command, name, moment, cells, table, plain_values(row), line, offset)
        for entry, cells, row, line in zip(ids, texts, rows, lines, strict=True)
    ]


def _note_written(farm: Farm, destination: Destination) -> None:
    """Note in what the file is written that these rows begin. An entry is written also where that cannot be."""
    notes = load_notes(farm.folder)
    known = notes.get(destination.name)
    note = farm.conventions.note_of(destination.table, destination.shape.header)
    if note != known and (destination.version is None or destination.name not in farm.conventions.written):
        with suppress(OSError):
            save_notes(farm.folder, {**notes, destination.name: note})


def plain_values(row: Values) -> dict[str, str]:
    """Return these values as texts, as the journal has them."""
    return {name: f"{each:f}" if isinstance(each, Decimal) else str(each) for name, each in row.items()}


def _write(farm: Farm, destination: Destination, lines: str) -> None:
    name = destination.name
    if destination.version is None:
        append.make(farm, name, header_line(destination) + lines)
    elif destination.grows:
        text = (header_line(destination) + lines).encode("utf-8")
        append.replace(farm, name, lambda data: _mark_of(data) + text, destination.version)
    else:
        append.append(farm, name, lines, destination.version)


def _mark_of(data: bytes) -> bytes:
    """Return the byte-order mark that the file begins with, if any."""
    return MARK if data.startswith(MARK) else b""
