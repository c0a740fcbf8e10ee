"""The manifest: a small file beside the ledger that says, without opening it, whether anything changed since."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from pipeline.farm.folder import Farm, TableFile
from pipeline.farm.settings import whole
from pipeline.files.looked import FRESH_NS
from pipeline.files.replace import replace_file
from pipeline.ledger.backups import Key
from schemas.answers import FileStatus
from schemas.finding import UnreadableFile
from schemas.pickings import NEW_FLUSH_AFTER_DAYS
from schemas.result_rows import ResultRows


@dataclass(frozen=True)
class FileMark:
    """A file as it was when last read: size in bytes, mtime in ns, when the reading began in ns, content hash ("" where
    its bytes could not be had), how it stands (pipeline/ledger/backups.py); size and mtime of its copy (0 without one).
    """

    size: int
    mtime_ns: int
    read_ns: int
    content_hash: str
    status: FileStatus = FileStatus.PRESENT
    copy_size: int = 0
    copy_mtime_ns: int = 0

    @property
    def copy(self) -> tuple[int, int]:
        """Size and mtime of the copy."""
        return self.copy_size, self.copy_mtime_ns

    def with_copy(self, copy: Path) -> FileMark:
        """The file's mark, with its copy as it is now."""
        size, mtime_ns = stat_of(copy) or (0, 0)
        return replace(self, copy_size=size, copy_mtime_ns=mtime_ns)


# A file whose bytes could not be had has no such mark, and is tried again every time.
NEVER_READ = FileMark(0, 0, 0, "")


@dataclass(frozen=True)
class Manifest:
    """What the ledger was made from. `versions` names everything it depends on beside the files; `counts` holds the
    row counts per file and `levels` the number of findings per level, after the refresh; `messages` are what every
    command says of files that are not there to be read; new_flush_after_days: by which blank flush cells were numbered;
    weight_shares: of flush 1, 2 ... what a picking usually is (models/weight_shares.py).
    """

    versions: dict[str, str]
    ledger_id: str
    ledger_size: int
    ledger_mtime_ns: int
    files: dict[Key, FileMark]
    counts: ResultRows
    levels: dict[str, int]
    messages: list[str]
    new_flush_after_days: int
    weight_shares: list[float]


def stat_of(path: Path) -> tuple[int, int] | None:
    """Return the size and time (ns) of this file. None where they cannot be had."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_size, found.st_mtime_ns


def manifest_path(ledger: Path) -> Path:
    """Return the path of this ledger's manifest."""
    return ledger.with_name(ledger.stem + ".manifest.json")


def load_manifest(ledger: Path) -> Manifest | None:
    """Return what the last refresh noted. None when there is no note, or none that can be read."""
    try:
        raw = json.loads(manifest_path(ledger).read_text(encoding="utf-8"))
        marks = {_key(name): _mark(mark) for name, mark in raw.pop("files").items()}
        return Manifest(files=marks, **raw)
    except (OSError, ValueError, RecursionError, KeyError, TypeError, AttributeError):
        return None


def new_flush_after(farm: Farm) -> int:
    """Return after how many days without a picking a new flush begins: by farm.toml, or as the last refresh found."""
    if farm.settings["new_flush_after_days"] is not None:
        return whole(farm.settings, "new_flush_after_days")
    manifest = load_manifest(farm.ledger)
    return manifest.new_flush_after_days if manifest else NEW_FLUSH_AFTER_DAYS


def weight_shares(farm: Farm) -> list[float]:
    """Return what a picking usually is, by flush, as the last refresh found; empty where that is not known."""
    manifest = load_manifest(farm.ledger)
    return manifest.weight_shares if manifest else []


def _key(name: str) -> Key:
    table, file = name.split(":", 1)
    return table, file


def _mark(raw: dict[str, Any]) -> FileMark:
    return FileMark(**{**raw, "status": FileStatus(raw["status"])})


def save_manifest(ledger: Path, manifest: Manifest) -> None:
    """Writes the note whole or not at all."""
    path = manifest_path(ledger)
    draft = path.with_name(path.name + ".new")
    files = {f"{table}:{file}": asdict(mark) for (table, file), mark in manifest.files.items()}
    text = json.dumps({**asdict(replace(manifest, files={})), "files": files}, indent=1, sort_keys=True)
    replace_file(path, text.encode(), draft=draft)


def mark_if_same(source: TableFile, mark: FileMark, hash_of: Callable[[TableFile], str]) -> FileMark | None:
    """Return the file's mark where it is as it was, or None where it is not. Only one that was touched close to its
    last reading is read again, by `hash_of`; its mark then tells of this reading.
    """
    if not mark.content_hash or stat_of(source.path) != (mark.size, mark.mtime_ns):
        return None
    if mark.mtime_ns <= mark.read_ns - FRESH_NS:
        return mark
    started = time.time_ns()
    try:
        return replace(mark, read_ns=started) if hash_of(source) == mark.content_hash else None
    except UnreadableFile:
        return None


def write_ahead_log(ledger: Path) -> Path:
    """Return where DuckDB keeps what it has not yet written into this database. gillbook leaves no such file behind."""
    return ledger.with_name(ledger.name + ".wal")


def ledger_unchanged(ledger: Path, manifest: Manifest) -> bool:
    """Whether the ledger's file is the one that the manifest was written for."""
    if write_ahead_log(ledger).exists():
        return False
    return stat_of(ledger) == (manifest.ledger_size, manifest.ledger_mtime_ns)
