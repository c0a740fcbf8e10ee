"""The manifest: a small file beside the ledger that says, without opening it, whether anything changed since."""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from pipeline.farm import TableFile
from pipeline.ledger.lock import sync_folder

# A file written within this time of its last reading may have changed again within one tick of its time stamp.
FRESH_NS = 2_000_000_000


@dataclass(frozen=True)
class FileMark:
    """A file as it was when last read: size in bytes, mtime in ns, when the reading began in ns, content hash."""

    table: str
    size: int
    mtime_ns: int
    read_ns: int
    content_hash: str


@dataclass(frozen=True)
class Manifest:
    """What the ledger was made from. `versions` names everything it depends on beside the files; `counts` holds the
    row counts per file and `levels` the number of findings per level, as told after the refresh.
    """

    versions: dict[str, str]
    ledger_id: str
    ledger_size: int
    ledger_mtime_ns: int
    files: dict[str, FileMark]
    counts: list[dict[str, Any]]
    levels: dict[str, int]


def manifest_path(ledger: Path) -> Path:
    """Where is the manifest of this ledger?"""
    return ledger.with_name(ledger.stem + ".manifest.json")


def load_manifest(ledger: Path) -> Manifest | None:
    """What did the last refresh note? None when there is no note, or none that can be read."""
    try:
        raw = json.loads(manifest_path(ledger).read_text(encoding="utf-8"))
        marks = {name: FileMark(**mark) for name, mark in raw.pop("files").items()}
        return Manifest(files=marks, **raw)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def save_manifest(ledger: Path, manifest: Manifest) -> None:
    """Writes the note whole or not at all."""
    path = manifest_path(ledger)
    draft = path.with_name(path.name + ".new")
    with open(draft, "w", encoding="utf-8") as out:
        json.dump(asdict(manifest), out, indent=1, sort_keys=True)
        out.flush()
        os.fsync(out.fileno())
    os.replace(draft, path)
    sync_folder(path.parent)


def mark_if_same(source: TableFile, mark: FileMark | None, hash_of: Callable[[TableFile], str]) -> FileMark | None:
    """Is the file as it was? Its mark, or None where it is not. Only one that was touched close to its last reading
    is read again, by `hash_of`; its mark then tells of this reading.
    """
    if mark is None or mark.table != source.table:
        return None
    try:
        now = source.path.stat()
    except OSError:
        return None
    if (now.st_size, now.st_mtime_ns) != (mark.size, mark.mtime_ns):
        return None
    if mark.mtime_ns <= mark.read_ns - FRESH_NS:
        return mark
    started = time.time_ns()
    return replace(mark, read_ns=started) if hash_of(source) == mark.content_hash else None


def write_ahead_log(ledger: Path) -> Path:
    """Where does DuckDB keep what it has not yet written into this database? gillbook leaves no such file behind."""
    return ledger.with_name(ledger.name + ".wal")


def ledger_unchanged(ledger: Path, manifest: Manifest) -> bool:
    """Is the ledger's file the one that the manifest was written for?"""
    try:
        now = ledger.stat()
    except OSError:
        return False
    if write_ahead_log(ledger).exists():
        return False
    return (now.st_size, now.st_mtime_ns) == (manifest.ledger_size, manifest.ledger_mtime_ns)
