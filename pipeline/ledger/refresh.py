"""Refreshing: the ledger is made to agree with the files, on a copy that is swapped in whole."""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.farm import Farm, TableFile, table_files
from pipeline.ledger.intake import Taken, take_in
from pipeline.ledger.lock import locked, sync_folder
from pipeline.ledger.manifest import (
    FileMark,
    Manifest,
    ledger_unchanged,
    load_manifest,
    mark_if_same,
    save_manifest,
    write_ahead_log,
)
from pipeline.ledger.standing import Standing, standing_ledger, versions
from schemas.finding import OutOfReach, UnreadableFile

if TYPE_CHECKING:
    import duckdb

    from schemas.finding import Finding

Say = Callable[[str], None]


def _quiet(_: str) -> None:
    """Says nothing."""


@dataclass(frozen=True)
class Refreshed:
    """What a refresh did: `changed` files were read, `said` is what the grower should hear, `counts` has one record
    per file (table_name, file, rows_in, loaded, set_aside, waiting, blank), `levels` the findings per level.
    """

    counts: list[dict[str, Any]]
    levels: dict[str, int]
    changed: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)


def _hash_of(source: TableFile) -> str:
    from pipeline.read import content_hash, read_bytes

    return content_hash(read_bytes(source))


def up_to_date(farm: Farm) -> Manifest | None:
    """Does the ledger agree with the files already? Tells it from the manifest, without opening DuckDB or (but for
    files touched close to their last reading) a CSV file.
    """
    manifest = load_manifest(farm.ledger)
    if manifest is None or manifest.versions != versions(farm) or not ledger_unchanged(farm.ledger, manifest):
        return None
    sources = table_files(farm.folder)
    if {source.name for source in sources} != set(manifest.files):
        return None
    marks = {}
    for source in sources:
        mark = mark_if_same(source, manifest.files[source.name], _hash_of)
        if mark is None:
            return None
        marks[source.name] = mark
    if marks != manifest.files:
        # So that the next time no file is read. A note lost to another process, or not to be written, costs nothing.
        manifest = replace(manifest, files=marks)
        with contextlib.suppress(OSError):
            save_manifest(farm.ledger, manifest)
    return manifest


def refresh(farm: Farm, now: str, tell: Say = _quiet) -> Refreshed:
    """Makes the ledger agree with the files. `now` is told to others while the lock is held; `tell` hears the steps.

    Raises UnreadableFile, Locked or OutOfReach; the ledger is then as it was.
    """
    manifest = up_to_date(farm)
    if manifest is not None:
        tell("nothing changed")
        return Refreshed(manifest.counts, manifest.levels)
    with locked(farm.folder / "ledger.lock", now):
        try:
            return _refresh(farm, tell)
        except OSError as problem:
            with contextlib.suppress(OSError):
                _remove(_next_path(farm))
            where = f"{Path(problem.filename).name}: " if problem.filename else ""
            raise OutOfReach(
                f"The ledger could not be written ({where}{problem.strerror or problem}). It is as it was."
            ) from problem


def _next_path(farm: Farm) -> Path:
    return farm.folder / "ledger.next.duckdb"


def _remove(path: Path) -> None:
    for each in (path, write_ahead_log(path)):
        each.unlink(missing_ok=True)


def _refresh(farm: Farm, tell: Say) -> Refreshed:
    sources = table_files(farm.folder)
    _refuse_same_number(sources)
    standing = standing_ledger(farm)
    vanished = sorted(set(standing.hashes) - {(source.table, source.name) for source in sources})
    said = [standing.rebuild] if standing.rebuild else []
    portions: Iterable[Taken] = take_in(sources, standing.hashes)
    if standing.rebuild is None:
        portions = list(portions)
        if not (vanished or standing.farm_changed or any(each.changed or each.problems for each in portions)):
            ledger_id, counts, levels = _told(farm.ledger)
            _note(farm, ledger_id, _marks(portions), counts, levels)
            return Refreshed(counts, levels)
    draft = _next_path(farm)
    _remove(draft)
    try:
        if standing.rebuild is None:
            shutil.copyfile(farm.ledger, draft)
        taken, ledger_id, counts, levels = _write_draft(farm, draft, standing, vanished, portions, tell)
    except BaseException:
        with contextlib.suppress(OSError):
            _remove(draft)
        raise
    # A log left behind by another program belongs to the ledger that goes, and would spoil the one that comes.
    write_ahead_log(farm.ledger).unlink(missing_ok=True)
    os.replace(draft, farm.ledger)
    sync_folder(farm.folder)
    _note(farm, ledger_id, _marks(taken), counts, levels)
    said += [
        f"{file} is gone, and all its rows stand in other files: taken as renamed or split." for _, file in vanished
    ]
    return Refreshed(counts, levels, [name for each in taken for name in each.changed], said)


def _refuse_same_number(sources: Sequence[TableFile]) -> None:
    """Would the rows of two files be called alike within the ledger? One pair of names in four thousand million is."""
    from pipeline.screen import file_part

    names: dict[int, str] = {}
    for source in sources:
        other = names.setdefault(file_part(source.table, source.name), source.name)
        if other != source.name:
            raise OutOfReach(f"{other} and {source.name} happen to have one number in the ledger. Rename one of them.")


def _marks(portions: Iterable[Taken]) -> dict[str, FileMark]:
    return {name: mark for each in portions for name, mark in each.marks.items()}


def _write_draft(
    farm: Farm,
    draft: Path,
    standing: Standing,
    vanished: list[tuple[str, str]],
    portions: Iterable[Taken],
    tell: Say,
) -> tuple[list[Taken], str, list[dict[str, Any]], dict[str, int]]:
    """Writes the ledger that comes, and returns the portions taken (without their rows), its id and what is told."""
    import duckdb

    from pipeline.ledger.stage import create_stage, decide, drop_file

    try:
        with duckdb.connect() as con:
            # The draft is thrown away unless it is finished, so it needs no write-ahead log.
            con.execute(f"attach {_quoted(draft)} as draft (recovery_mode no_wal_writes)")
            con.execute("use draft")
            # It is written out once, at the end, and not whenever much has changed.
            con.execute("set checkpoint_threshold = '1TB'")
            if standing.rebuild is not None:
                create_stage(con)
                con.execute("create table meta (key varchar, value varchar)")
            before = _cells_of(con, vanished)
            for table, file in vanished:
                drop_file(con, table, file)
            taken = _stage(con, standing, portions, tell)
            _refuse_losses(con, before)
            tell("deciding")
            decide(con, dict(farm.settings))
            ledger_id = _write_meta(con, farm)
            counts, levels = _counts(con)
            con.execute("checkpoint")
            con.execute("use memory")
            con.execute("detach draft")
    except duckdb.Error as problem:
        # A disk that fills up while DuckDB finishes the file is fatal to it, but no mistake of gillbook's.
        full = isinstance(problem, duckdb.FatalException) and "could not write" in str(problem).lower()
        if full or isinstance(problem, (duckdb.IOException, duckdb.OutOfMemoryException)):
            raise OutOfReach(f"The ledger could not be written: {problem}. It is as it was.") from problem
        raise
    with open(draft, "rb+") as written:
        os.fsync(written.fileno())
    return taken, ledger_id, counts, levels


def _quoted(path: Path) -> str:
    return "'" + str(path).replace("'", "''") + "'"


def _stage(con: duckdb.DuckDBPyConnection, standing: Standing, portions: Iterable[Taken], tell: Say) -> list[Taken]:
    """Puts the portions on the stage as they come. Raises UnreadableFile with what is wrong in all of them."""
    from pipeline.ledger.stage import drop_file, stage_files

    taken = []
    problems: list[Finding] = []
    for each in portions:
        problems += each.problems
        if each.screened and not problems:
            for raw in each.screened.raws:
                if (raw.source.table, raw.source.name) in standing.hashes:
                    drop_file(con, raw.source.table, raw.source.name)
            tell(f"staging {', '.join(each.changed)}")
            stage_files(con, each.screened)
        lean = each.screened and replace(each.screened, frame=each.screened.frame.clear())
        taken.append(replace(each, screened=lean))
    if problems:
        raise UnreadableFile(problems)
    return taken


def _cells_of(con: duckdb.DuckDBPyConnection, vanished: list[tuple[str, str]]) -> dict[tuple[str, str], dict[int, int]]:
    """How often did each row of a vanished file stand in its whole table, before?"""
    from pipeline.screen import file_part

    found = {}
    for table, file in vanished:
        query = (
            f"select cells, count(*) from cells_of_{table} "
            f"where cells in (select cells from cells_of_{table} where file_part_of(line) = ?) group by cells"
        )
        found[table, file] = dict(con.execute(query, [file_part(table, file)]).fetchall())
    return found


def _refuse_losses(con: duckdb.DuckDBPyConnection, before: dict[tuple[str, str], dict[int, int]]) -> None:
    """Did any row vanish with its file? Then nothing is refreshed, and the grower is asked."""
    lost = []
    for (table, file), counts in before.items():
        now = dict(con.execute(f"select cells, count(*) from cells_of_{table} group by cells").fetchall())
        missing = sum(max(0, count - now.get(cells, 0)) for cells, count in counts.items())
        if missing:
            lost.append(f"{file} is gone, and {missing} of its rows stand in no other file.")
    if lost:
        raise OutOfReach(
            " ".join(lost) + " Nothing was refreshed, and the ledger is as it was. Put the file back; "
            "or, if it is meant to be gone, delete ledger.duckdb: it is made anew from the files that are there."
        )


def _write_meta(con: duckdb.DuckDBPyConnection, farm: Farm) -> str:
    """Notes what the ledger was made from; returns its id, which follows from that."""
    files = con.execute("select table_name, file, content_hash from files order by all").fetchall()
    values = versions(farm)
    digest = sha256(repr((sorted(values.items()), files)).encode()).hexdigest()
    con.execute("delete from meta")
    for key, value in {**values, "ledger_id": digest}.items():
        con.execute("insert into meta values (?, ?)", [key, value])
    return digest


def _counts(con: duckdb.DuckDBPyConnection) -> tuple[list[dict[str, Any]], dict[str, int]]:
    cursor = con.execute(
        "select table_name, file, rows_in, loaded, set_aside, waiting, blank from row_counts order by all"
    )
    names = [column[0] for column in cursor.description]
    counts = [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
    levels = dict(con.execute("select level, count(*) from findings group by level order by level").fetchall())
    return counts, levels


def _told(ledger: Path) -> tuple[str, list[dict[str, Any]], dict[str, int]]:
    """What is this ledger's id, and what is told of its files and findings?"""
    import duckdb

    with duckdb.connect(str(ledger), read_only=True) as con:
        found = con.execute("select value from meta where key = 'ledger_id'").fetchone()
        assert found is not None, "a ledger always has its id"
        return found[0], *_counts(con)


def _note(
    farm: Farm, ledger_id: str, marks: dict[str, FileMark], counts: list[dict[str, Any]], levels: dict[str, int]
) -> None:
    now = farm.ledger.stat()
    save_manifest(farm.ledger, Manifest(versions(farm), ledger_id, now.st_size, now.st_mtime_ns, marks, counts, levels))
