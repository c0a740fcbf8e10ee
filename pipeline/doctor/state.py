"""What state a farm is in, in lines that hold nothing private: no name, path, weight, day of a row or note of it."""

from __future__ import annotations

import locale
import os
import platform
import shutil
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import version
from pathlib import Path

from pipeline.farm.folder import Farm, TableFile, open_farm
from pipeline.farm.settings import SETTINGS_FILE, default_settings
from pipeline.farm.table_names import TEXTS
from pipeline.ledger.backups import Key, copy_path
from pipeline.ledger.lock import Holder, holder
from pipeline.ledger.manifest import Manifest, ledger_unchanged, load_manifest, stat_of
from pipeline.ledger.refresh import farm_files
from pipeline.ledger.state import versions
from pipeline.logbook.append import LOCK_FILE
from pipeline.logbook.clock_back import clock_back, newest_entry
from pipeline.logbook.journal import TAIL, read_journal
from pipeline.logbook.lost import lost_entries
from schemas.answers import FileStatus
from schemas.finding import CannotWork
from schemas.phrases import counted, listed
from schemas.result_rows import whole_of

MINUTE = "%Y-%m-%d %H:%M"
NS_PER_S = 1_000_000_000


@dataclass(frozen=True)
class StateLine:
    """What is said of one thing."""

    about: str
    text: str


@dataclass(frozen=True)
class Seen:
    """What the lines about a farm are made from. present: its files that are there; manifest: None before a refresh."""

    farm: Farm
    present: dict[Key, TableFile]
    manifest: Manifest | None
    now: datetime


def program_lines(now: datetime) -> list[StateLine]:
    """Return the lines that need no farm."""
    system = f"{platform.system()} {platform.machine()}"
    return [
        StateLine("version", f"gillbook {version('gillbook')}, Python {platform.python_version()}, {system}"),
        StateLine("clock", f"{now:{MINUTE}}, {now:%z} from UTC"),
        StateLine("encoding", _encoding()),
    ]


def farm_lines(folder: Path, now: datetime) -> list[StateLine]:
    """Return the lines about the farm in this folder. Each is made for itself: what cannot be found out says so."""
    lines = {each.about: each.text for each in program_lines(now)}
    makers: dict[str, Callable[[Seen], str]] = {
        "clock": _clock,
        "settings": _settings,
        "files": _files,
        "copies": _copies,
        "entries": _entries,
        "ledger": _ledger,
    }
    try:
        farm = open_farm(folder)
        present, _ = farm_files(farm)
        seen = Seen(farm, present, load_manifest(farm.ledger), now)
        lines |= {about: _tried(lambda make=make: make(seen)) for about, make in makers.items()}  # type: ignore[misc]
        lines["encoding"] += _texts(list(present.values()))
    except (CannotWork, OSError):
        lines["settings"] = (
            f"the farm cannot be opened: gillbook check says why ({SETTINGS_FILE}, a link, or its rights)"
        )
    lines["lock"] = _tried(lambda: _locks(folder))
    lines["disk"] = _tried(lambda: _disk(folder))
    order = ("version", "clock", "encoding", "settings", "files", "copies", "entries", "ledger", "lock", "disk")
    return [StateLine(about, lines[about]) for about in order if about in lines]


def _tried(make: Callable[[], str]) -> str:
    try:
        return make()
    except Exception as problem:
        # Whatever is damaged: the other lines are to be had all the same.
        return f"cannot be found out ({type(problem).__name__})"


def _encoding() -> str:
    terminal = getattr(sys.stdout, "encoding", None) or "unknown"
    return f"terminal {terminal}, file names {sys.getfilesystemencoding()}, locale {locale.getpreferredencoding(False)}"


def _texts(sources: Sequence[TableFile]) -> str:
    """Return how many of the text files are not UTF-8."""
    paths = {each.path for each in sources if each.path.suffix.lower() in TEXTS}
    other = 0
    for path in paths:
        try:
            path.read_bytes().decode("utf-8")
        except UnicodeDecodeError:
            other += 1
        except OSError:
            continue
    return f"; of {counted(len(paths), 'text file')} {other or 'none'} not UTF-8"


def _clock(seen: Seen) -> str:
    newest = newest_entry(seen.farm)
    said = f"{seen.now:{MINUTE}}, {seen.now:%z} from UTC"
    if newest is None:
        return f"{said}; gillbook wrote no entry yet"
    back = ": the clock stands before it" if clock_back(seen.farm, seen.now) else ""
    return f"{said}; newest entry written {newest.astimezone(seen.now.tzinfo):{MINUTE}}{back}"


def _settings(seen: Seen) -> str:
    usual = default_settings()
    changed = sorted(name for name, value in seen.farm.settings.items() if usual.get(name) != value)
    found = f"; {counted(len(seen.farm.findings), 'finding')}" if seen.farm.findings else ""
    return f"{SETTINGS_FILE} reads well{found}; not as usual: {listed(changed) if changed else 'nothing'}"


def _files(seen: Seen) -> str:
    if not seen.present:
        return "none"
    tables = Counter(table for table, _ in seen.present)
    kinds = Counter(each.path.suffix.lower() for each in seen.present.values())
    said = f"{', '.join(f'{table} {count}' for table, count in tables.items())}"
    said += f" ({', '.join(f'{count} {kind}' for kind, count in sorted(kinds.items()))})"
    marks = seen.manifest.files if seen.manifest else {}
    read = [mark.read_ns for key, mark in marks.items() if key in seen.present and mark.read_ns]
    if not read:
        return f"{said}; never read"
    last = datetime.fromtimestamp(max(read) / NS_PER_S, seen.now.tzinfo)
    return f"{said}; last read {last:{MINUTE}}, {_changed(seen) or 'none'} changed since"


def _changed(seen: Seen) -> int:
    """Return how many files are not as they were when they were last read."""
    marks = seen.manifest.files if seen.manifest else {}
    now = {key: stat_of(each.path) for key, each in seen.present.items()}
    return sum(key not in marks or stat != (marks[key].size, marks[key].mtime_ns) for key, stat in now.items())


def _copies(seen: Seen) -> str:
    copied = sum(copy_path(seen.farm, key).is_file() for key in seen.present)
    said = f"{copied} of {counted(len(seen.present), 'file')} with a last good copy"
    marks = seen.manifest.files.values() if seen.manifest else ()
    words = {FileStatus.VANISHED: "gone", FileStatus.UNREADABLE: "cannot be read", FileStatus.GIVEN_UP: "given up"}
    counts = Counter(mark.status for mark in marks)
    return "".join([said, *(f"; {counts[status]} {word}" for status, word in words.items() if counts[status])])


def _entries(seen: Seen) -> str:
    found = read_journal(seen.farm, TAIL)
    said = f"{counted(len(found.entries), 'entry', 'entries')} can be taken back"
    lost, unfinished = lost_entries(seen.farm), found.unfinished
    said += f"; {len(lost) or 'none'} lost" + (": gillbook lost" if lost else "")
    return said + ("; one was not finished: the next command settles it" if unfinished else "")


def _ledger(seen: Seen) -> str:
    size = stat_of(seen.farm.ledger)
    if size is None:
        return "none yet: whatever reads it makes it"
    said = f"{size[0] / 1e6:.1f} MB"
    manifest = seen.manifest
    if manifest is None or not ledger_unchanged(seen.farm.ledger, manifest):
        return f"{said}; not as the last refresh left it: the next one looks at it anew"
    known = set(manifest.files) >= set(seen.present)
    fresh = manifest.versions == versions(seen.farm) and known and not _changed(seen)
    said += "; agrees with the files" if fresh else "; behind the files or settings: the next command refreshes it"
    rows = ", ".join(
        f"{sum(whole_of(each, name) for each in manifest.counts)} {name.replace('_', ' ')}" for name in ROWS
    )
    return f"{said}; rows: {rows}"


ROWS = ("rows_in", "loaded", "set_aside", "waiting", "blank")


def _locks(folder: Path) -> str:
    found = {what: holder(folder / name) for what, name in (("ledger", "ledger.lock"), ("logbook", LOCK_FILE))}
    said = [_held(what, each) for what, each in found.items() if each is not None]
    return "; ".join(said) or "nobody holds the ledger or the logbook"


def _held(what: str, each: Holder) -> str:
    where = {True: "on this computer", False: "on another computer", None: ""}[each.here]
    since = f" since {each.since[:16].replace('T', ' ')}" if each.since else ""
    return " ".join(f"the {what} is held by process {each.process or 'unknown'} {where}".split()) + since


def _disk(folder: Path) -> str:
    free = shutil.disk_usage(folder).free
    right = "can be written" if os.access(folder, os.W_OK) else "is read-only"
    return f"{free / 1e9:.1f} GB free; the farm folder {right}"
