"""What was written last, so that it can be taken back: `logbook.undo.jsonl`, one line an entry, safe to delete.

A line is written before its entry, so that an entry never stands in a file without one.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from pipeline.farm.folder import Farm
from pipeline.files.replace import replace_file

JOURNAL = "logbook.undo.jsonl"
# So much stays when the journal grows beyond twice of it: some hundred entries. Our choice, no source.
BYTES_LEFT = 50_000
# So many of the last entries are looked for when another is written: our choice, no source.
LOOKED_FOR = 40


@dataclass(frozen=True)
class JournalEntry:
    """An entry: its id, the id of the first one that was written at once with it (`call`), the command that wrote it,
    its file, the moment, and its cells as written.
    """

    entry: str
    call: str
    command: str
    file: str
    at: str
    cells: Mapping[str, str]


def record(farm: Farm, entry: JournalEntry) -> None:
    """Note what is about to be written. A journal that cannot be written stops no entry."""
    _add(farm, asdict(entry))


def record_undone(farm: Farm, entry: str, at: str = "") -> None:
    """Note that the entry of this id was taken back, or is gone."""
    _add(farm, {"undone": entry, "at": at} if at else {"undone": entry})


def _add(farm: Farm, line: Mapping[str, object]) -> None:
    path = farm.folder / JOURNAL
    with suppress(OSError):
        with open(path, "ab", buffering=0) as out:
            out.write(json.dumps(line, ensure_ascii=False).encode("utf-8") + b"\n")
            size = out.tell()
        if size > 2 * BYTES_LEFT:
            _shorten(path)


def _shorten(path: Path) -> None:
    tail = path.read_bytes()[-BYTES_LEFT:]
    replace_file(path, tail[tail.index(b"\n") + 1 :])


def undoable(farm: Farm) -> list[JournalEntry]:
    """Return the entries of the journal that were not taken back, the latest last."""
    try:
        lines = (farm.folder / JOURNAL).read_bytes().splitlines()
    except OSError:
        return []
    found: dict[str, JournalEntry] = {}
    for line in lines:
        # A line cut short by a full disk says nothing.
        with suppress(ValueError, KeyError, TypeError):
            raw = json.loads(line)
            if "undone" in raw:
                found.pop(raw["undone"], None)
            else:
                parts = (raw["entry"], raw["call"], raw["command"], raw["file"], raw["at"], raw["cells"])
                found[raw["entry"]] = JournalEntry(*parts)
    return list(found.values())


def take_missing(farm: Farm, name: str, data: bytes) -> list[JournalEntry]:
    """Return which of the last entries for this file are not in it: another program saved over them, or they were
    deleted, or never written because the machine stopped. Each is returned once, and is in the journal no more.
    """
    last = [each for each in undoable(farm) if each.file == name][-LOOKED_FOR:]
    missing = [each for each in last if each.entry.encode() not in data]
    for each in missing:
        record_undone(farm, each.entry)
    return missing
