"""The ledger of a farm folder that cannot be written: the one that stands there, or one made for a single answer."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory

from pipeline.farm.folder import Farm
from pipeline.farm.settings import SETTINGS_FILE
from pipeline.files.replace import make_folder
from pipeline.ledger.backups import copy_path
from pipeline.ledger.history import read_history
from pipeline.ledger.manifest import load_manifest, write_ahead_log
from pipeline.ledger.refresh import Progress, Refreshed, farm_files, refresh
from pipeline.ledger.state import LedgerState, read_state
from schemas.finding import OutOfReach
from schemas.phrases import counted, listed

SHOWN_FILES = 3


@dataclass(frozen=True)
class LedgerToRead:
    """A ledger that answers: where it is, what is said of it, and what the refresh did that made it (None: nothing)."""

    path: Path
    messages: list[str]
    done: Refreshed | None = None


@contextmanager
def ledger_without_writing(farm: Farm, now: str, progress: Progress) -> Iterator[LedgerToRead]:
    """Give the ledger that stands in the farm folder, with what is said of its age; where none can be used, one that is
    made in a temporary folder and gone afterwards. Nothing is written into the farm folder.

    Raises UnreadableFile, or OutOfReach where there is no temporary folder either.
    """
    state = None if write_ahead_log(farm.ledger).exists() else read_state(farm)
    if state is not None and state.rebuild is None:
        manifest = load_manifest(farm.ledger)
        yield LedgerToRead(farm.ledger, [_age(farm, state), *(manifest.messages if manifest else ())])
        return
    try:
        scratch = TemporaryDirectory(prefix="gillbook-")
    except OSError as problem:
        raise OutOfReach(
            "The farm folder cannot be written, and there is no other place for a ledger. "
            f"Copy the farm to where you can write ({problem.strerror or problem})."
        ) from problem
    with scratch as folder:
        made = replace(farm, scratch=Path(folder))
        _take_copies_along(farm, made)
        done = refresh(made, now, progress)
        yield LedgerToRead(made.ledger, [_made_anew(farm), *done.messages], done)


def _made_anew(farm: Farm) -> str:
    why = "its ledger cannot be used by this gillbook" if farm.ledger.exists() else "it holds no ledger"
    return f"The farm folder cannot be written, and {why}: the files were read for this answer alone."


def _age(farm: Farm, state: LedgerState) -> str:
    """The sentence on when the ledger was made, and what has changed since."""
    changed = _changed_since(farm, state)
    since = f" {listed(changed)} changed since, and what changed is in no figure." if changed else ""
    return f"The farm folder cannot be written: these figures are from its ledger of {_moment(farm)}.{since}"


def _moment(farm: Farm) -> str:
    """When the ledger last took something in: by the history, else by the time of its file."""
    try:
        records = read_history(farm).records
    except OSError:
        records = []
    if records:
        return str(records[-1]["time"])[:16].replace("T", " ")
    return f"{datetime.fromtimestamp(farm.ledger.stat().st_mtime):%Y-%m-%d %H:%M}"


def _changed_since(farm: Farm, state: LedgerState) -> list[str]:
    """The files that are not as the ledger has them, a few by their names."""
    present, _ = farm_files(farm)
    names = {source.name: None for key, source in present.items() if _content(source.path) != state.hashes.get(key)}
    names |= {file: None for table, file in state.hashes if (table, file) not in present}
    if state.farm_changed or state.conventions_changed:
        names = {SETTINGS_FILE: None, **names}
    more = len(names) - SHOWN_FILES
    return [*names][:SHOWN_FILES] + ([counted(more, "more file")] if more > 0 else [])


def _content(path: Path) -> str | None:
    from pipeline.files.read import content_hash

    try:
        return content_hash(path.read_bytes())
    except OSError:
        return None


def _take_copies_along(farm: Farm, made: Farm) -> None:
    """Copy the last good rows of files that are gone or broken to where the ledger is made, for they count."""
    _, copies = farm_files(farm)
    for key, copy in copies.items():
        target = copy_path(made, key)
        make_folder(target.parent)
        shutil.copy2(copy.path, target)
