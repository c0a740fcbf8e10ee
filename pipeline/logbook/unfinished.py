"""Settling an entry that was being written when its command was ended or the machine stopped: whole, or not at all."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pipeline.farm.folder import Farm
from pipeline.ledger.lock import locked
from pipeline.logbook import append, journal
from pipeline.logbook.entry_ids import ids_in
from pipeline.logbook.journal import TAIL, Journal, JournalEntry
from schemas.finding import OutOfReach


@dataclass(frozen=True)
class Settled:
    """What became of a command that was ended early: `messages` for the grower; `taken_back`: the command whose entries
    it had taken back before it was ended.
    """

    messages: tuple[str, ...] = ()
    taken_back: str = ""


def settle(farm: Farm, now: str) -> Settled:
    """Look whether the last entry stands whole in its file; what stands of half of one is taken out. Return what the
    grower should hear of it. Where another process is writing entries, or nothing can be written, nothing is done.
    """
    found = journal.read_journal(farm, TAIL)
    if not found.unfinished and not found.undoing:
        return Settled()
    try:
        with locked(farm.folder / append.LOCK_FILE, now, "The logbook"):
            found = journal.read_journal(farm, TAIL)
            gone = _settle_undoing(farm, found)
            said = [_gone_message(farm, gone)] if gone else []
            said += _settled(farm, found) if found.unfinished else []
            return Settled(tuple(said), gone[-1].command if gone else "")
    except (OutOfReach, append.ChangedMeanwhile):
        return Settled()


def _settle_undoing(farm: Farm, found: Journal) -> list[JournalEntry]:
    """Note of entries that a command began to take back whether they went, and return those that did."""
    gone = []
    for each in [each for each in found.entries.values() if each.entry in found.undoing]:
        data = _bytes_of(farm.folder / each.file)
        if each.entry in ids_in(data) or each.line.strip().encode() in data.splitlines():
            journal.record_left(farm, [each])
        else:
            journal.record_undone(farm, each.entry)
            gone.append(each)
    return gone


def _gone_message(farm: Farm, gone: list[JournalEntry]) -> str:
    from pipeline.logbook.lost import entries_words

    words = entries_words(farm, gone)
    return f"The last command was ended before it answered, but it had taken out of {gone[0].file}: {words}."


def _bytes_of(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError:
        return b""


def _settled(farm: Farm, found: Journal) -> list[str]:
    left = found.unfinished
    first, path = left[0], farm.folder / left[0].file
    text = "".join(each.line for each in left).encode("utf-8")
    try:
        data = path.read_bytes()
        now = path.stat()
    except OSError:
        data, now = b"", None
    if now is not None and first.offset is not None and _half_of(text, data[first.offset :]):
        append.cut(farm, first.file, [(first.offset, len(data))], (now.st_size, now.st_mtime_ns))
    elif text in data or {each.entry for each in left} <= ids_in(data):
        journal.record_written(farm, first.call)
        return [_written_message(farm, left)]
    journal.record_unwritten(farm, left)
    # What was to be put back is named as lost again.
    new = [each for each in left if each.entry not in found.before]
    return [_message(farm, new)] if new else []


def _half_of(text: bytes, tail: bytes) -> bool:
    """Whether this end of a file is what a power cut leaves of `text`: its beginning, or zeros in place of bytes."""
    alike = all(there in (0, wanted) for there, wanted in zip(tail, text, strict=False))
    return 0 < len(tail) <= len(text) and alike and tail != text


def _written_message(farm: Farm, left: list[JournalEntry]) -> str:
    from pipeline.logbook.lost import entries_words

    words = entries_words(farm, left)
    return f"gillbook {left[0].command} was ended before it answered, but this stands in {left[0].file}: {words}."


def _message(farm: Farm, left: list[JournalEntry]) -> str:
    from pipeline.logbook.lost import entries_words

    return (
        f"The last entry of gillbook {left[0].command} was cut short, and nothing of it stands in {left[0].file}: "
        f"{entries_words(farm, left)}. Enter it again."
    )
