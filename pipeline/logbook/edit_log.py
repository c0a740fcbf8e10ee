"""What was corrected or removed: `kept/edited.jsonl`, one line an edit, with the row as it was. It is only added to."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass
from hashlib import sha256
from pathlib import Path

from pipeline.farm.folder import Farm, TableFile, table_files
from pipeline.files.replace import make_folder, sync_folder
from pipeline.logbook.file_rows import FileRow
from schemas.finding import OutOfReach


@dataclass(frozen=True)
class EditRecord:
    """An edit: its id, the moment, table, file and row; the row's line before, and after ("": it was taken out); the
    hash of the file before.
    """

    edit: str
    at: str
    table: str
    file: str
    row: int
    before: str
    after: str
    digest_before: str


def log_path(farm: Farm) -> Path:
    """Return the path of the log."""
    return farm.folder / "kept" / "edited.jsonl"


def digest(data: bytes) -> str:
    """Return a hash that two files share only where they are the same."""
    return sha256(data).hexdigest()


def record_of(edit: str, at: str, found: FileRow, after: bytes) -> EditRecord:
    """Return the record of a change of this row."""
    where = (found.source.table, found.source.name, found.row)
    return EditRecord(edit, at, *where, found.line.decode("utf-8"), after.decode("utf-8"), digest(found.data))


def note(farm: Farm, record: EditRecord) -> None:
    """Add this edit to the log, on disk. Raises OutOfReach where it cannot be: no row is changed then."""
    _add(farm, asdict(record))


def note_undone(farm: Farm, edit: str, at: str) -> None:
    """Note that the edit of this id was taken back, or never came about."""
    _add(farm, {"undone": edit, "at": at})


def _add(farm: Farm, line: Mapping[str, object]) -> None:
    path = log_path(farm)
    try:
        make_folder(path.parent)
        with open(path, "ab+", buffering=0) as out:
            before = out.seek(0, os.SEEK_END)
            out.seek(max(0, before - 1))
            # After a line that a power cut left half, a line of its own begins.
            begin = b"" if out.read(1) in (b"", b"\n") else b"\n"
            out.write(begin + json.dumps(line, ensure_ascii=False).encode("utf-8") + b"\n")
            os.fsync(out.fileno())
        if not before:
            sync_folder(path.parent)
    except OSError as problem:
        raise OutOfReach(
            f"kept/{path.name} cannot be written ({problem.strerror}), so the old row would be lost. "
            "Nothing was changed. Make room or mend its rights."
        ) from problem


def not_undone(farm: Farm) -> list[EditRecord]:
    """Return the edits that were not taken back, the latest last."""
    try:
        lines = log_path(farm).read_bytes().splitlines()
    except OSError:
        return []
    found: dict[str, EditRecord] = {}
    for line in lines:
        # A line cut short when the machine stopped says nothing: its edit was not begun.
        with suppress(ValueError, RecursionError, KeyError, TypeError):
            raw = json.loads(line)
            if "undone" in raw:
                found.pop(raw["undone"], None)
            else:
                found[raw["edit"]] = EditRecord(**raw)
    return list(found.values())


def source_of(farm: Farm, record: EditRecord) -> TableFile:
    """Return the file that was edited. Raises OutOfReach where it is no table any more."""
    sources = table_files(farm.folder, farm.conventions.files)
    found = next((each for each in sources if (each.table, each.name) == (record.table, record.file)), None)
    if found is None:
        raise OutOfReach(f"{record.file} is not there any more. Its row was: {record.before}")
    return found
