"""What the logbook wrote last, one line an entry: `logbook.undo.jsonl`. By it entries are taken back, those that
another program saved over are named, and one that was half written when the machine stopped is settled.

It may be deleted, and then none of that can be done. A line is on disk before its entry is, so that an entry never
stands in a file without one; another line says when the entry is on disk.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from datetime import date, timedelta
from functools import lru_cache
from pathlib import Path, PurePosixPath

from pipeline.farm.folder import Farm
from pipeline.files.replace import replace_file, sync_folder
from schemas.contract import INPUTS

JOURNAL = "logbook.undo.jsonl"
# So long an entry stays at least, and so much in any case: no spreadsheet is left open longer. Our choice, no source.
DAYS_LEFT = 35
BYTES_LEFT = 50_000
# Each time the journal grew by so much, older lines are taken off: our choice, no source.
BYTES_BETWEEN = 250_000
# What is said of entries, each in a line of its own.
WORDS = {"undone", "unwritten", "undoing", "left", "written", "named"}
# So many lines are kept as read, for a server that reads the same ones with each entry: more than TAIL holds.
LINES_KEPT = 2048
# What an entry looks at of the journal, so that it stays quick: some hundred of the last entries.
TAIL = 100_000


@dataclass(frozen=True)
class JournalEntry:
    """An entry: its id, the id of the first one that was written at once with it (`call`), the command that wrote it,
    its file, the moment, and its cells as written.

    `values`: its cells in the contract's unit, days as year-month-day. `line`: what was written, with its line end.
    `offset`: the size of the file (bytes) before the call added to it; None where the file was made or replaced. `by`:
    the phone that sent it, "" for none.
    """

    entry: str
    call: str
    command: str
    file: str
    at: str
    cells: Mapping[str, str]
    table: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    line: str = ""
    offset: int | None = None
    by: str = ""


@dataclass
class Journal:
    """What the journal says: the entries that were not taken back, by id, the latest last; the calls that are known to
    be on disk; the ids of entries that are gone, as an entry's command said already; and of those that a command began
    to take back, and did not say that it did; and what entries were `before` they were put back.
    """

    entries: dict[str, JournalEntry] = field(default_factory=dict)
    written: set[str] = field(default_factory=set)
    named: set[str] = field(default_factory=set)
    undoing: set[str] = field(default_factory=set)
    before: dict[str, JournalEntry] = field(default_factory=dict)

    @property
    def acknowledged(self) -> list[JournalEntry]:
        """The entries of which it was said that they are on disk, and that nobody began to take back."""
        left = (each for each in self.entries.values() if each.entry not in self.undoing)
        return [each for each in left if each.call in self.written]

    @property
    def unfinished(self) -> list[JournalEntry]:
        """The entries of a call that began to write and did not say that it is done."""
        left = [each for each in self.entries.values() if each.line and each.call not in self.written]
        return [each for each in left if each.call == left[-1].call]


def record(farm: Farm, entries: Sequence[JournalEntry]) -> None:
    """Note what is about to be written. A journal that cannot be written stops no entry."""
    _add(farm, [asdict(each) for each in entries], sync=True)


def record_written(farm: Farm, call: str) -> None:
    """Note that the entries of this call are on disk. Where this line is lost, looking at the file says the same."""
    _add(farm, [{"written": call}], sync=False)


def record_unwritten(farm: Farm, entries: Sequence[JournalEntry]) -> None:
    """Note that these were not written after all. What was to be put back is lost as before."""
    _add(farm, [{"unwritten": each.entry} for each in entries], sync=True)


def record_undone(farm: Farm, entry: str, at: str = "") -> None:
    """Note that the entry of this id was taken back, or is meant to be gone."""
    _add(farm, [{"undone": entry, "at": at} if at else {"undone": entry}], sync=True)


def record_undoing(farm: Farm, entries: Sequence[JournalEntry]) -> None:
    """Note that these are about to be taken back."""
    if entries:
        _add(farm, [{"undoing": each.entry} for each in entries], sync=True)


def record_left(farm: Farm, entries: Sequence[JournalEntry]) -> None:
    """Note that these were not taken back after all."""
    if entries:
        _add(farm, [{"left": each.entry} for each in entries], sync=True)


def record_named(farm: Farm, entries: Sequence[JournalEntry]) -> None:
    """Note that the command of an entry said of these that they are gone; it says so once."""
    _add(farm, [{"named": each.entry} for each in entries], sync=False)


def _add(farm: Farm, lines: Sequence[Mapping[str, object]], sync: bool) -> None:
    path = farm.folder / JOURNAL
    data = b"".join(json.dumps(line, ensure_ascii=False).encode("utf-8") + b"\n" for line in lines)
    with suppress(OSError):
        with open(path, "ab+", buffering=0) as out:
            before = out.seek(0, os.SEEK_END)
            if before:
                # After a line that a power cut left half, a line of its own begins.
                out.seek(-1, os.SEEK_END)
                data = data if out.read(1) == b"\n" else b"\n" + data
            out.write(data)
            if sync:
                os.fsync(out.fileno())
        if sync and not before:
            sync_folder(farm.folder)
        if (before + len(data)) // BYTES_BETWEEN > before // BYTES_BETWEEN:
            _shorten(path)


def _shorten(path: Path) -> None:
    """Take off the first lines, up to one that is young. What undoes an entry stands behind it, and stays with it."""
    lines = path.read_bytes().splitlines(keepends=True)
    days = [_day_of(line) for line in lines]
    last = max((day for day in days if day), default=None)
    left = sum(map(len, lines))
    at = 0
    while last and at < len(lines) and left - len(lines[at]) >= BYTES_LEFT:
        day = days[at]
        if day is not None and day >= last - timedelta(days=DAYS_LEFT):
            break
        left -= len(lines[at])
        at += 1
    if at:
        replace_file(path, b"".join(lines[at:]))


def _day_of(line: bytes) -> date | None:
    with suppress(ValueError, RecursionError, KeyError, TypeError):
        return date.fromisoformat(json.loads(line)["at"][:10])
    return None


def read_journal(farm: Farm, tail: int | None = None) -> Journal:
    """Return what the journal says; of its last `tail` bytes alone, where that is given."""
    found = Journal()
    try:
        with open(farm.folder / JOURNAL, "rb") as text:
            if tail is not None:
                text.seek(max(0, text.seek(0, os.SEEK_END) - tail))
            lines = text.read().splitlines()
    except OSError:
        return found
    for line in lines:
        # A line cut short by a full disk or a power cut says nothing.
        with suppress(ValueError, RecursionError, KeyError, TypeError, AttributeError):
            _take(found, _said(line))
    return found


@lru_cache(maxsize=LINES_KEPT)
def _said(line: bytes) -> JournalEntry | Mapping[str, str]:
    """Return what a line says: an entry, or a word about one. Raises ValueError, TypeError and the like for neither."""
    raw = json.loads(line)
    return raw if raw.keys() & WORDS else _entry_of(raw)


def _take(found: Journal, raw: JournalEntry | Mapping[str, str]) -> None:
    if isinstance(raw, JournalEntry):
        # Put back, it is the latest.
        if before := found.entries.pop(raw.entry, None):
            found.before[raw.entry] = before
        found.entries[raw.entry] = raw
        found.named.discard(raw.entry)
    elif "undone" in raw:
        found.entries.pop(raw["undone"], None)
        found.undoing.discard(raw["undone"])
    elif "unwritten" in raw:
        found.entries.pop(raw["unwritten"], None)
        if before := found.before.pop(raw["unwritten"], None):
            found.entries[before.entry] = before
    elif "undoing" in raw:
        found.undoing.add(raw["undoing"])
    elif "left" in raw:
        found.undoing.discard(raw["left"])
    elif "written" in raw:
        found.written.add(raw["written"])
    elif "named" in raw:
        found.named.add(raw["named"])


def _entry_of(raw: Mapping[str, object]) -> JournalEntry:
    """Return the entry of this line. Raises ValueError or TypeError for one that gillbook did not write: what is no
    text, no table, or a file that does not lie in the farm, for entries are cut out of their files by it.
    """
    entry = JournalEntry(**raw)  # type: ignore[arg-type]
    texts = (entry.entry, entry.call, entry.command, entry.file, entry.at, entry.table, entry.line, entry.by)
    cells = (each for named in (entry.cells, entry.values) for pair in named.items() for each in pair)
    if not all(isinstance(each, str) for each in (*texts, *cells)) or not isinstance(entry.offset, int | None):
        raise TypeError(entry.entry)
    path = PurePosixPath(entry.file.replace("\\", "/"))
    if path.is_absolute() or ".." in path.parts or entry.table not in ("", *INPUTS):
        raise ValueError(entry.file)
    return entry


def taken_back(data: bytes) -> set[str]:
    """Return the ids of entries that a command took back, as these lines of the journal say."""
    found = set()
    for line in data.splitlines():
        if b'"undone"' not in line:
            continue
        with suppress(ValueError, RecursionError, TypeError):
            raw = json.loads(line)
            if isinstance(raw, dict) and "undone" in raw and "at" in raw:
                found.add(str(raw["undone"]))
    return found


def undoable(farm: Farm) -> list[JournalEntry]:
    """Return the entries of the journal that were not taken back, the latest last."""
    return list(read_journal(farm).entries.values())
