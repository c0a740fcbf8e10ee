"""The ledger that comes: written beside the one that stands, and thrown away unless it is finished."""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Callable, Container, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.farm.folder import Farm
from pipeline.ledger.backups import Key, missing_file_findings, missing_file_messages, why_not_there
from pipeline.ledger.intake import Sources, Taken, key_of, nothing
from pipeline.ledger.manifest import FileMark, write_ahead_log
from pipeline.ledger.portions import size_of
from pipeline.ledger.state import LedgerState, versions
from pipeline.models.statements import open_draft, records, rows, run
from pipeline.models.weight_shares import shares_of
from schemas.answers import FileStatus
from schemas.finding import OutOfReach, UnreadableFile
from schemas.result_rows import ResultRows

if TYPE_CHECKING:
    import duckdb

    from pipeline.ledger.changes import RowChange
    from schemas.finding import Finding

Progress = Callable[[str], None]


@dataclass(frozen=True)
class LedgerSummary:
    """What a refresh reports of a ledger: its id, one record per file (see Refreshed), the findings per level, what
    every command says of files that are not there to be read, and after how many days without a picking a new flush
    begins in it, and what a picking usually is, by flush (models/weight_shares.py).
    """

    ledger_id: str
    counts: ResultRows
    levels: dict[str, int]
    messages: list[str]
    new_flush_after_days: int
    weight_shares: list[float]


@dataclass(frozen=True)
class Written:
    """The finished draft: its summary, the marks of its files, which of them were read, which vanished ones were
    renamed or split, and the rows that changed (None where there was no ledger to compare with).
    """

    summary: LedgerSummary
    marks: dict[Key, FileMark]
    changed: list[str]
    renamed: list[Key]
    changes: dict[Key, RowChange] | None


def draft_path(farm: Farm) -> Path:
    """Return where the ledger that comes stands, until it is swapped in."""
    return farm.home / "ledger.next.duckdb"


def _spill(draft: Path) -> Path:
    return draft.with_name(draft.name + ".tmp")


def remove_draft(farm: Farm) -> None:
    """Takes the draft away, and what DuckDB left beside it: its log, and what did not fit into memory."""
    draft = draft_path(farm)
    for each in (draft, write_ahead_log(draft)):
        each.unlink(missing_ok=True)
    with contextlib.suppress(FileNotFoundError):
        shutil.rmtree(_spill(draft))


@contextmanager
def begun_draft(farm: Farm, ledger: LedgerState) -> Iterator[Callable[[], object]]:
    """Copy the ledger that stands, where it is no other one that comes, beside what the body does: it is given what
    waits for that. What the body did not swap in is gone behind it.
    """
    from concurrent.futures import ThreadPoolExecutor

    try:
        with ThreadPoolExecutor(1) as beside:
            anew = ledger.rebuild is not None
            yield nothing if anew else beside.submit(shutil.copyfile, farm.ledger, draft_path(farm)).result
    finally:
        with contextlib.suppress(OSError):
            remove_draft(farm)


def write_draft(
    farm: Farm, ledger: LedgerState, sources: Sources, portions: Sequence[Taken] | None, progress: Progress
) -> Written:
    """Writes the ledger that comes: over the copy of the one that stands (see begun_draft) with the portions that were
    taken in, or anew (None).

    Raises UnreadableFile with what is wrong in all files, or OutOfReach where it cannot be written.
    """
    import duckdb

    draft = draft_path(farm)
    try:
        with open_draft(draft, _spill(draft), sum(size_of(source) for source in sources.files)) as con:
            written = _fill(con, farm, ledger, sources, portions, progress)
    except duckdb.Error as problem:
        # A disk that fills up while DuckDB finishes the file is fatal to it, but no mistake of gillbook's.
        full = isinstance(problem, duckdb.FatalException) and "could not write" in str(problem).lower()
        if full or isinstance(problem, (duckdb.IOException, duckdb.OutOfMemoryException)):
            raise OutOfReach(f"The ledger could not be written: {problem}. It is as it was.") from problem
        raise
    with open(draft, "rb+") as made:
        os.fsync(made.fileno())
    return written


def _fill(
    con: duckdb.DuckDBPyConnection,
    farm: Farm,
    ledger: LedgerState,
    sources: Sources,
    portions: Sequence[Taken] | None,
    progress: Progress,
) -> Written:
    from pipeline.ledger.anew import TakenAnew
    from pipeline.ledger.changes import note_after, note_before, row_changes
    from pipeline.ledger.stage import create_stage, drop_file

    touched: dict[Key, int] = {}
    decided: Container[str] = ()
    if portions is None:
        create_stage(con)
        anew = TakenAnew(con, farm, sources)
        taken, decided = _finished(anew.portions(), progress), anew.decided
    else:
        touched = _touched(ledger, sources, portions)
        note_before(con, touched)
        taken = _finished((_staged(con, each, ledger.hashes) for each in portions), progress)
    marks = {key: mark for each in taken for key, mark in each.marks.items()}
    for table, file in ledger.hashes:
        if (table, file) not in marks or marks[table, file].status == FileStatus.GIVEN_UP:
            drop_file(con, table, file)
    _note_statuses(con, marks, {key: reason for each in taken for key, reason in each.reasons.items()})
    renamed = [key for key in sorted(sources.vanished) if _all_stand_elsewhere(con, farm, key, marks[key].status)]
    for table, file in renamed:
        drop_file(con, table, file)
        del marks[table, file]
    progress("deciding")
    if ledger.rebuild is None:
        note_after(con, touched)
    _decide(con, farm, ledger, decided)
    ledger_id = _write_meta(con, farm)
    changes = row_changes(con) if ledger.rebuild is None else None
    return Written(summary(con, ledger_id), marks, [name for each in taken for name in each.changed], renamed, changes)


def _decide(con: duckdb.DuckDBPyConnection, farm: Farm, ledger: LedgerState, decided: Container[str]) -> None:
    """Decides for the part of the farm that the change touches, where that can be; else for all of it."""
    from pipeline.ledger.part import decide_part
    from pipeline.ledger.stage import clear_decided, decide

    same_settings = not ledger.farm_changed and not ledger.conventions_changed
    if ledger.rebuild is None:
        if same_settings and decide_part(con, farm.settings):
            return
        clear_decided(con)
    decide(con, farm.settings, decided)


def _touched(ledger: LedgerState, sources: Sources, portions: Sequence[Taken]) -> dict[Key, int]:
    """Return the files that may have other rows after this refresh, each with the first row that may be another."""
    read = {key_of(raw.source): raw.first for each in portions if each.validated for raw in each.validated.raws}
    idle = {key for each in portions for key, mark in each.marks.items() if mark.status == FileStatus.GIVEN_UP}
    whole = idle | sources.vanished | (set(ledger.hashes) - {key_of(source) for source in sources.files})
    return {key: read.get(key, 0) for key in sorted(read.keys() | whole)}


def _staged(con: duckdb.DuckDBPyConnection, taken: Taken, known: Container[Key]) -> Taken:
    """Puts a portion on the stage, and lets go of its rows. One with what is wrong is not: no ledger comes of it."""
    from pipeline.ledger.stage import stage_files

    if taken.validated is None or taken.problems:
        return taken
    stage_files(con, taken.validated, known)
    return taken.without_rows()


def _finished(portions: Iterable[Taken], progress: Progress) -> list[Taken]:
    """Wait until all portions are on the stage. Raises UnreadableFile with what is wrong in all of them."""
    taken = []
    for each in portions:
        if each.changed:
            progress(f"staging {', '.join(each.changed)}")
        taken.append(each)
    problems: list[Finding] = [problem for each in taken for problem in each.problems]
    if problems:
        raise UnreadableFile(problems)
    return taken


def _note_statuses(con: duckdb.DuckDBPyConnection, marks: dict[Key, FileMark], reasons: dict[Key, str]) -> None:
    """Notes of each file how it stands, and why not in the folder where it does not."""
    from pipeline.ledger.stage import add_file

    run(con, "all_present")
    for (table, file), mark in marks.items():
        reason = reasons.get((table, file), "")
        if mark.status == FileStatus.GIVEN_UP:
            add_file(con, table, file, status=mark.status, problem=reason)
        elif mark.status != FileStatus.PRESENT:
            run(con, "note_status", table_name=table, file=file, status=mark.status.value, problem=reason)


def _all_stand_elsewhere(con: duckdb.DuckDBPyConnection, farm: Farm, key: Key, status: FileStatus) -> bool:
    """Whether all rows of a file that is gone stand, as often, in files that are there. Then it was renamed or split.

    Each file is judged on its own, so that the fate of one does not hang on another. Otherwise notes how many do not.
    """
    from pipeline.files.validate import file_part

    table, file = key
    ((in_all, missing),) = rows(con, f"rows_elsewhere_{table}", file_part=file_part(table, file))
    if not missing:
        return True
    problem = f"{why_not_there(farm, file)}, and {_stand_nowhere(in_all, missing)}"
    run(con, "note_status", table_name=table, file=file, status=status.value, problem=problem)
    return False


def _stand_nowhere(rows: int, missing: int) -> str:
    if rows == 1:
        return "its only row stands in no other file"
    if rows == missing:
        return f"none of its {rows} rows stands in another file"
    return f"{missing} of its {rows} rows {'stands' if missing == 1 else 'stand'} in no other file"


def _write_meta(con: duckdb.DuckDBPyConnection, farm: Farm) -> str:
    """Notes what the ledger was made from; returns its id, which follows from that."""
    files = [state[:4] for state in rows(con, "file_states")]
    values = versions(farm)
    digest = sha256(repr((sorted(values.items()), files)).encode()).hexdigest()
    noted = {**values, "ledger_id": digest}
    run(con, "meta", keys=[*noted], values=[*noted.values()])
    return digest


def summary(con: duckdb.DuckDBPyConnection, ledger_id: str) -> LedgerSummary:
    """Return the summary of the ledger that is open here."""
    counts = records(con, "file_counts")
    levels: dict[str, int] = dict(rows(con, "level_counts"))
    messages, ((days,),) = missing_file_messages(missing_file_findings(con)), rows(con, "new_flush_after")
    return LedgerSummary(ledger_id, counts, levels, messages, days, shares_of(con))
