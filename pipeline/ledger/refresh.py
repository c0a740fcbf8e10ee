"""Refreshing: the ledger is made to agree with the files, on a copy that is swapped in whole."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.farm.folder import Farm, TableFile, table_files
from pipeline.farm.settings import SETTINGS_FILE
from pipeline.files.replace import sync_folder
from pipeline.ledger.backups import (
    Key,
    backup_copies,
    clear_drafts,
    copy_file,
    copy_path,
    drop_copy,
    given_up,
    note_given_up,
)
from pipeline.ledger.draft import LedgerSummary, begun_draft, draft_path, remove_draft, summary, write_draft
from pipeline.ledger.history import announced, append_history, changed_files, last_states, read_history
from pipeline.ledger.intake import Sources, Taken, hash_of, key_of, take_in
from pipeline.ledger.lock import locked, refuse_read_only
from pipeline.ledger.manifest import (
    FileMark,
    Manifest,
    ledger_unchanged,
    load_manifest,
    mark_if_same,
    save_manifest,
    stat_of,
    write_ahead_log,
)
from pipeline.ledger.state import LedgerState, ledger_state, versions
from pipeline.models.statements import connect, rows
from schemas.answers import FileStatus
from schemas.contract import HARVESTS, INPUTS
from schemas.finding import OutOfReach, UnreadableFile
from schemas.result_rows import ResultRows

if TYPE_CHECKING:
    from pipeline.ledger.changes import RowChange

Progress = Callable[[str], None]

# Because of what rows are freed or held whose own file stayed as it was.
BY_FILES, BY_SETTINGS = "stands in other files", "farm.toml tells now"
SETTINGS_CHANGED = "farm.toml has changed: all rows were {done} anew."
SETTINGS_GONE = (
    "farm.toml is gone: without it every setting is as it comes, and all rows were {done} anew. If you want yours, put "
    "it back."
)


def _quiet(_: str) -> None:
    """Shows nothing."""


@dataclass(frozen=True)
class Refreshed:
    """What a refresh did: `changed` files were read, `messages` are what the grower should hear, `edits` what one who
    asks for a refresh hears too; `counts` has one record per file (table_name, file, rows_in, loaded, set_aside,
    waiting, blank, status, content_hash), `levels` the findings per level.
    """

    counts: ResultRows
    levels: dict[str, int]
    changed: list[str] = field(default_factory=list)
    messages: list[str] = field(default_factory=list)
    edits: list[str] = field(default_factory=list)


def farm_files(farm: Farm) -> tuple[dict[Key, TableFile], dict[Key, TableFile]]:
    """Return the files that stand in the folder, and those of which there are copies."""
    try:
        present = {key_of(source): source for source in table_files(farm.folder, farm.conventions.files)}
        copies = backup_copies(farm)
    except OSError as problem:
        where = Path(problem.filename).name if problem.filename else "The farm folder"
        raise OutOfReach(f"{where} cannot be looked into ({problem.strerror}). Mend its rights.") from problem
    return present, {key: copy_file(farm, key, copy, copies) for key, copy in copies.items()}


def up_to_date(farm: Farm) -> Manifest | None:
    """Return the manifest where the ledger agrees with the files already. It is found out from the manifest alone,
    without opening DuckDB or (but for files touched close to their last reading) a CSV file.
    """
    manifest = load_manifest(farm.ledger)
    if manifest is None or manifest.versions != versions(farm) or not ledger_unchanged(farm.ledger, manifest):
        return None
    present, copies = farm_files(farm)
    if set(present) | set(copies) != set(manifest.files) or not _backups_unchanged(farm, manifest, present):
        return None
    marks = {}
    for key, old in manifest.files.items():
        mark = mark_if_same(present.get(key) or copies[key], old, hash_of)
        if mark is None:
            return None
        marks[key] = mark
    if marks != manifest.files:
        # So that the next time no file is read. A note lost to another process, or not to be written, costs nothing.
        manifest = replace(manifest, files=marks)
        with contextlib.suppress(OSError):
            save_manifest(farm.ledger, manifest)
    return manifest


def _backups_unchanged(farm: Farm, manifest: Manifest, present: Mapping[Key, TableFile]) -> bool:
    """Whether the copies, and the files that have none, are those of the last refresh."""
    idle = {key for key, mark in manifest.files.items() if mark.status == FileStatus.GIVEN_UP}
    if idle and idle != given_up(farm):
        return False
    return all(
        (mark.status == FileStatus.VANISHED) == (key not in present)
        and (stat_of(copy_path(farm, key)) or (0, 0)) == mark.copy
        for key, mark in manifest.files.items()
    )


def refresh(farm: Farm, now: str, progress: Progress = _quiet) -> Refreshed:
    """Make the ledger agree with the files. `now` is shown to others while the lock is held and stands in the history;
    `progress` hears the steps.

    Raises UnreadableFile, Locked, ReadOnlyFolder or OutOfReach; the ledger is then as it was.
    """
    manifest = up_to_date(farm)
    if manifest is not None:
        progress("nothing changed")
        return Refreshed(manifest.counts, manifest.levels, messages=manifest.messages)
    with locked(farm.home / "ledger.lock", now):
        try:
            refuse_read_only(farm.home)
            return _refresh(farm, now, progress)
        except OSError as problem:
            with contextlib.suppress(OSError):
                remove_draft(farm)
                clear_drafts(farm)
            raise OutOfReach(f"The ledger could not be written ({_reason(problem)}). It is as it was.") from problem


def _reason(problem: OSError) -> str:
    where = f"{Path(problem.filename).name}: " if problem.filename else ""
    return f"{where}{problem.strerror or problem}"


def _refresh(farm: Farm, now: str, progress: Progress) -> Refreshed:
    progress("writing")
    remove_draft(farm)
    clear_drafts(farm)
    ledger = ledger_state(farm)
    with begun_draft(farm, ledger) as copied:
        return _bring_up_to_date(farm, ledger, now, progress, copied)


def _bring_up_to_date(
    farm: Farm, ledger: LedgerState, now: str, progress: Progress, copied: Callable[[], object]
) -> Refreshed:
    sources = _sources(farm, ledger)
    # Where all is read anew, draft.py takes it in, and writes it, several files at a time.
    portions: list[Taken] | None = None
    if ledger.rebuild is None:
        portions = list(take_in(farm, sources))
        problems = [problem for each in portions for problem in each.problems]
        if problems:
            raise UnreadableFile(problems)
        if _as_it_was(ledger, portions):
            marks = {key: mark for each in portions for key, mark in each.marks.items()}
            return _note(farm, now, _summary_of(farm.ledger), marks)
    copied()
    written = write_draft(farm, ledger, sources, portions, progress)
    # A log left behind by another program belongs to the ledger that goes, and would spoil the one that comes.
    write_ahead_log(farm.ledger).unlink(missing_ok=True)
    os.replace(draft_path(farm), farm.ledger)
    sync_folder(farm.home)
    because = BY_SETTINGS if ledger.farm_changed else BY_FILES
    done = _note(farm, now, written.summary, written.marks, written.renamed, written.changes, because)
    messages = [ledger.rebuild] if ledger.rebuild else []
    if ledger.farm_changed:
        said = SETTINGS_CHANGED if (farm.folder / SETTINGS_FILE).is_file() else SETTINGS_GONE
        messages.append(said.format(done="read" if ledger.conventions_changed else "decided"))
    return replace(done, changed=written.changed, messages=messages + done.messages)


def _sources(farm: Farm, ledger: LedgerState) -> Sources:
    present, copies = farm_files(farm)
    files = sorted({**copies, **present}.values(), key=_pickings_last)
    _refuse_same_number(files)
    vanished = frozenset(set(copies) - set(present))
    manifest = load_manifest(farm.ledger)
    marks = manifest.files if manifest else {}
    return Sources(files, vanished, ledger.known, given_up(farm), ledger.row_counts, marks)


def _pickings_last(source: TableFile) -> tuple[bool, int, str]:
    """The place of a file: by its table and name, but that much can be decided before the last pickings are read."""
    return source.table == HARVESTS, INPUTS.index(source.table), source.name


def _refuse_same_number(files: Sequence[TableFile]) -> None:
    """Refuse two files whose rows would have one number within the ledger. One pair of names in four thousand million
    is.
    """
    from pipeline.files.validate import file_part

    names: dict[int, str] = {}
    for source in files:
        other = names.setdefault(file_part(source.table, source.name), source.name)
        if other != source.name:
            raise OutOfReach(f"{other} and {source.name} happen to have one number in the ledger. Rename one of them.")


def _as_it_was(ledger: LedgerState, portions: Iterable[Taken]) -> bool:
    """Whether there is nothing to write: no file read anew, gone, come, or of another status, and no other settings."""
    if ledger.farm_changed or ledger.conventions_changed or any(each.changed for each in portions):
        return False
    marks = {key: mark for each in portions for key, mark in each.marks.items()}
    reasons = {key: reason for each in portions for key, reason in each.reasons.items()}
    # Why a file that is gone is not taken as renamed hangs on the rows of the others, which are as they were.
    return {key: (mark.status, reasons.get(key) or "") for key, mark in marks.items()} == {
        key: (stood, "" if stood == FileStatus.VANISHED else reason) for key, (stood, reason) in ledger.reasons.items()
    }


def _summary_of(ledger: Path) -> LedgerSummary:
    """The summary of this ledger."""
    with connect(str(ledger), read_only=True) as con:
        ((ledger_id,),) = rows(con, "ledger_id")
        return summary(con, ledger_id)


def _note(
    farm: Farm,
    now: str,
    of_ledger: LedgerSummary,
    marks: dict[Key, FileMark],
    renamed: Sequence[Key] = (),
    changes: Mapping[Key, RowChange] | None = None,
    because: str = BY_FILES,
) -> Refreshed:
    """Notes what was done: in the history what changed since its last line, then in the manifest that all is done. A
    run that is killed before the manifest is written leaves the rest to the next one.
    """
    counts, levels, messages = of_ledger.counts, of_ledger.levels, of_ledger.messages
    size, mtime_ns = stat_of(farm.ledger) or (0, 0)
    ledger_id, days = of_ledger.ledger_id, of_ledger.new_flush_after_days
    shares = of_ledger.weight_shares
    manifest = Manifest(versions(farm), ledger_id, size, mtime_ns, marks, counts, levels, messages, days, shares)
    try:
        for key in renamed:
            drop_copy(farm, key)
        before = last_states(read_history(farm).records)
        records = changed_files(farm, before, counts, renamed, changes)
        append_history(farm, now, records)
        note_given_up(farm, [key for key, mark in marks.items() if mark.status == FileStatus.GIVEN_UP])
        clear_drafts(farm)
        save_manifest(farm.ledger, manifest)
    except OSError as problem:
        raise OutOfReach(
            f"The ledger agrees with the files, but that could not be noted ({_reason(problem)}). Try again."
        ) from problem
    heard = announced(records, before, because)
    return Refreshed(counts, levels, messages=[*heard.messages, *messages], edits=heard.edits)
