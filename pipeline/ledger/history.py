"""The history: what was loaded when, and what changed each time. One line per refresh that changed something.

The ledger itself holds no time: it is made from the files alone.
"""

from __future__ import annotations

import errno
import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.farm.folder import Farm
from pipeline.files.replace import make_folder, sync_folder
from pipeline.ledger.backups import Key, backup_folder, forgotten_copy
from schemas.answers import FileStatus
from schemas.phrases import counted

if TYPE_CHECKING:
    from pipeline.ledger.changes import RowChange

Record = dict[str, Any]

# What is compared to tell whether anything became of a file since the line before.
# status null: the file has left the ledger.
STATE = ("status", "content_hash", "rows_in", "loaded", "set_aside", "waiting", "blank")
# What changed in its rows, see RowChange.
ROWS = ("rows_added", "rows_gone", "rows_moved", "rows_freed", "rows_held")


@dataclass(frozen=True)
class History:
    """All records, oldest first, one per file and refresh that changed it (schemas/results/history.json), and the
    numbers of lines that cannot be read: lines half written when the machine stopped, or
    changed since.
    """

    records: list[Record]
    torn: list[int]


def history_path(farm: Farm) -> Path:
    """Return the path of the history."""
    return backup_folder(farm) / "history.jsonl"


def read_history(farm: Farm) -> History:
    """Return what was loaded when."""
    records: list[Record] = []
    torn = []
    try:
        lines = history_path(farm).read_bytes().split(b"\n")
    except FileNotFoundError:
        lines = []
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        try:
            record = json.loads(line)
            records += [{"time": record["time"], **_in_todays_words(each)} for each in record["files"]]
        except (ValueError, RecursionError, KeyError, TypeError):
            torn.append(number)
    return History(records, torn)


def _in_todays_words(record: Record) -> Record:
    """A record whose `status` was once called `standing`, with all its keys in the same order."""
    return {"status" if key == "standing" else key: value for key, value in record.items()}


def append_history(farm: Farm, time: str, records: Sequence[Record]) -> None:
    """Add a line for one refresh, in one piece; after a torn one it begins a line of its own."""
    if not records:
        return
    path = history_path(farm)
    make_folder(path.parent)
    line = json.dumps({"time": time, "files": records}, ensure_ascii=False).encode() + b"\n"
    with open(path, "ab+", buffering=0) as out:
        before = out.tell()
        if before:
            out.seek(-1, os.SEEK_END)
            line = line if out.read(1) == b"\n" else b"\n" + line
        if out.write(line) < len(line):
            # The disk is full. Only a machine that stops leaves half a line behind.
            out.truncate(before)
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))
        os.fsync(out.fileno())
    if not before:
        sync_folder(path.parent)


def last_states(records: Sequence[Record]) -> dict[Key, Record]:
    """Return the record of each file after the last line."""
    states: dict[Key, Record] = {}
    for each in records:
        key = each["table_name"], each["file"]
        states.pop(key, None)
        if each["status"] is not None:
            states[key] = each
    return states


def changed_files(
    farm: Farm,
    before: Mapping[Key, Record],
    counts: Sequence[Record],
    renamed: Sequence[Key],
    changes: Mapping[Key, RowChange] | None,
) -> list[Record]:
    """Return a record for each file of which anything became since the line before. `counts`: what the ledger holds of
    them now; `changes`: their rows (None: not known, for the ledger was built anew).
    """
    now = {(each["table_name"], each["file"]): each for each in counts}
    found = []
    for key, each in now.items():
        old = before.get(key)
        change = changes.get(key) if changes is not None else None
        if old is None or any(old[name] != each[name] for name in STATE) or (change and (change.freed or change.held)):
            known = changes is not None
            found.append(_record(key, _event(old, each), each, _rows(old, each, change, known)))
    # Of a file that no line tells of, as after the loss of the history, the rows that went tell.
    of_rows = changes or {}
    for key in {*before, *of_rows} - set(now):
        event = "renamed" if key in renamed else "forgotten" if forgotten_copy(farm, key) else "gone"
        state = dict.fromkeys(STATE, 0) | {"status": None, "content_hash": None}
        gone = _filled(before[key]) if key in before else of_rows[key].gone
        found.append(_record(key, event, state, dict(zip(ROWS, (0, gone, None, None, None), strict=True))))
    return sorted(found, key=lambda each: (each["table_name"], each["file"]))


def _record(key: Key, event: str, state: Record, rows: Mapping[str, int | None]) -> Record:
    table, file = key
    return {"table_name": table, "file": file, "event": event, **{name: state[name] for name in STATE}, **rows}


def _event(old: Record | None, each: Record) -> str:
    """What became of this file, in one word."""
    status = each["status"]
    if old is None or old["status"] != status:
        if status != FileStatus.PRESENT:
            return "forgotten" if status == FileStatus.GIVEN_UP else str(status)
        if old is None:
            return "new"
        return "restored" if old["status"] == FileStatus.VANISHED else "mended"
    return "edited" if old["content_hash"] != each["content_hash"] else "decided"


def _filled(each: Record) -> int:
    return int(each["rows_in"] - each["blank"])


def _rows(old: Record | None, each: Record, change: RowChange | None, known: bool) -> dict[str, int | None]:
    """The rows that came and went, and those of a file that stayed as it was that were freed or held by others."""
    same = old is not None and old["content_hash"] == each["content_hash"]
    if change is not None:
        came: tuple[int | None, ...] = (change.added, change.gone, change.moved)
    elif old is None:
        came = (_filled(each), 0, 0)
    else:
        came = (0, 0, 0) if same or known else (None, None, None)
    freed = (change.freed if change else 0, change.held if change else 0) if same and known else (None, None)
    return dict(zip(ROWS, (*came, *freed), strict=True))


@dataclass(frozen=True)
class Announced:
    """What every command shows once of the files that changed, and what `gillbook refresh` alone does (`edits`)."""

    messages: list[str]
    edits: list[str]


def announced(records: Sequence[Record], before: Mapping[Key, Record], because: str) -> Announced:
    """Return what the grower should hear of these changes. `before`: how the files stood; `because`: of what rows are
    freed and held whose files stayed as they were.
    """
    said = [(each, _said(each) or _fewer(each, before)) for each in records]
    edits = [(each, None if _said(each) else _edit(each, because)) for each in records]
    return Announced(_once_per_file(said), _once_per_file(edits))


def _once_per_file(record: Sequence[tuple[Record, str | None]]) -> list[str]:
    """A file of several tables stands in several records: it is named once where all say the same of it, else table
    by table.
    """
    of_file: dict[str, dict[str, str]] = {}
    for each, sentence in record:
        if sentence:
            of_file.setdefault(each["file"], {})[each["table_name"]] = sentence
    sentences: list[str] = []
    for file, by_table in of_file.items():
        alike = len(set(by_table.values())) == 1
        named = {file if alike else f"{file} ({table})": sentence for table, sentence in by_table.items()}
        sentences += [sentence.replace("{file}", name, 1) for name, sentence in named.items()]
    return sentences


# What is said of an event, whatever else changed. {rows}: those that went; {changes}: see _came_and_went; {file} is
# filled in last (see _once_per_file).
_SAID = {
    "renamed": "{file} is gone, and all its rows stand in other files: taken as renamed or split.",
    "restored": "{file} is back{changes}.",
    "mended": "{file} can be read again{changes}.",
    "forgotten": "{file} was given up: {rows} went.",
    "gone": "{file} is gone, and so is its copy in kept/: {rows} went.",
}


def _said(each: Record) -> str | None:
    event, gone = each["event"], each["rows_gone"]
    saying = _SAID.get(event)
    if event in ("renamed", "forgotten", "gone") and not gone:
        saying = "{file} was given up." if event == "forgotten" else "{file} is gone. No row of it was counted."
    if event == "edited" and gone is not None and gone > each["rows_added"]:
        saying = "{file}: {rows} went to other files." if each["rows_moved"] == gone else "{file}{changes}."
    if saying is None:
        return None
    return saying.replace("{rows}", counted(gone or 0, "row")).replace("{changes}", _came_and_went(each))


def _fewer(each: Record, before: Mapping[Key, Record]) -> str | None:
    """The sentence on a file with fewer rows where there is no ledger that shows which went."""
    old = before.get((each["table_name"], each["file"]))
    fewer = _filled(old) - _filled(each) if old and each["event"] == "edited" and each["rows_gone"] is None else 0
    return f"{{file}}: {counted(fewer, 'row')} fewer than when it was last read." if fewer > 0 else None


def _came_and_went(each: Record) -> str:
    said = [
        f"{counted(each[key], 'row')} {word}"
        for key, word in (("rows_gone", "went"), ("rows_added", "came"))
        if each[key]
    ]
    return f": {' and '.join(said)} since it was last read" if said else ""


def _edit(each: Record, because: str) -> str | None:
    """The sentence on an edit that only adds or changes rows, and on rows that were freed or held by something else."""
    if each["event"] == "edited":
        same = " was edited" + ("" if each["rows_added"] is None else "; its rows are the same")
        return f"{{file}}{_came_and_went(each) or same}."
    freed, held = each["rows_freed"], each["rows_held"]
    parts = [f"{counted(freed, 'row')} can be counted now"] if freed else []
    parts += [f"{counted(held, 'row')} cannot be counted any more"] if held else []
    return f"{{file}}: {' and '.join(parts)}, because of what {because}." if parts else None
