"""Refreshing: the ledger is made to agree with the files, on a copy that is swapped in whole."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.farm import Farm, TableFile, table_files
from pipeline.ledger.lock import locked, sync_folder
from pipeline.ledger.manifest import (
    FileMark,
    Manifest,
    ledger_unchanged,
    load_manifest,
    same_file,
    save_manifest,
)
from schemas.contract import inputs_hash
from schemas.finding import DataNeedAttention, OutOfReach, UnreadableFile

if TYPE_CHECKING:
    import duckdb

    from pipeline.screen import Screened

# Raised whenever the tables of the ledger change; an older ledger is rebuilt, a newer one is not touched.
LAYOUT_VERSION = 1
# Rows are staged in portions of about this many, to bound memory.
PORTION_ROWS = 400_000

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


def versions(farm: Farm) -> dict[str, str]:
    """What, beside the files, does the ledger depend on?"""
    return {
        "layout": str(LAYOUT_VERSION),
        "gillbook": version("gillbook"),
        "duckdb": version("duckdb"),
        "contracts": inputs_hash(),
        "farm": farm.settings_hash,
    }


def _hash_of(source: TableFile) -> str:
    from pipeline.read import content_hash, read_bytes

    return content_hash(read_bytes(source))


def up_to_date(farm: Farm) -> Manifest | None:
    """Does the ledger agree with the files already? Tells it from the manifest, without opening DuckDB or (but for
    files touched just now) a CSV file.
    """
    manifest = load_manifest(farm.ledger)
    if manifest is None or manifest.versions != versions(farm) or not ledger_unchanged(farm.ledger, manifest):
        return None
    sources = table_files(farm.folder)
    if {source.name for source in sources} != set(manifest.files):
        return None
    if all(same_file(source, manifest.files[source.name], _hash_of) for source in sources):
        return manifest
    return None


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
            _remove(_next_path(farm))
            raise OutOfReach(
                f"The ledger could not be written: {problem.strerror or problem}. It is as it was."
            ) from problem


def _next_path(farm: Farm) -> Path:
    return farm.folder / "ledger.next.duckdb"


def _remove(path: Path) -> None:
    for each in (path, path.with_name(path.name + ".wal")):
        each.unlink(missing_ok=True)


@dataclass(frozen=True)
class _Standing:
    """The ledger as found: which file holds which content, or why it must be built anew."""

    hashes: dict[tuple[str, str], str]
    rebuild: str | None
    farm_changed: bool = False


def _refresh(farm: Farm, tell: Say) -> Refreshed:
    sources = table_files(farm.folder)
    standing = _standing(farm)
    marks, changed, screened = _read_changed(sources, standing, tell)
    vanished = sorted(set(standing.hashes) - {(source.table, source.name) for source in sources})
    said = [standing.rebuild] if standing.rebuild else []
    if not (changed or vanished or standing.rebuild is not None or standing.farm_changed):
        counts, levels = _tell_counts(farm.ledger)
        _note(farm, marks, counts, levels)
        return Refreshed(counts, levels)
    draft = _next_path(farm)
    _remove(draft)
    if standing.rebuild is None:
        shutil.copyfile(farm.ledger, draft)
    try:
        counts, levels = _write_draft(farm, draft, standing, vanished, screened, tell)
    except BaseException:
        _remove(draft)
        raise
    os.replace(draft, farm.ledger)
    sync_folder(farm.folder)
    _note(farm, marks, counts, levels)
    said += [
        f"{file} is gone, and all its rows stand in other files: taken as renamed or split." for _, file in vanished
    ]
    return Refreshed(counts, levels, changed, said)


def _read_changed(
    sources: list[TableFile], standing: _Standing, tell: Say
) -> tuple[dict[str, FileMark], list[str], dict[str, list[Screened]]]:
    """Reads and screens the files that changed. Collects what is wrong with all of them before it stops."""
    from pipeline.read import content_hash, read_bytes, read_table
    from pipeline.screen import screen

    marks: dict[str, FileMark] = {}
    changed: list[str] = []
    screened: dict[str, list[Screened]] = {}
    problems = []
    for source in sources:
        started = time.time_ns()
        try:
            before = source.path.stat()
            data = read_bytes(source)
            digest = content_hash(data)
            marks[source.name] = FileMark(source.table, before.st_size, before.st_mtime_ns, started, digest)
            if standing.hashes.get((source.table, source.name)) == digest:
                continue
            tell(f"reading {source.name}")
            screened.setdefault(source.table, []).append(screen(read_table(source, data)))
            changed.append(source.name)
        except UnreadableFile as problem:
            problems += problem.findings
        except OSError as problem:
            raise OutOfReach(f"{source.name} cannot be read: {problem.strerror}.") from problem
    if problems:
        raise UnreadableFile(problems)
    return marks, changed, screened


def _standing(farm: Farm) -> _Standing:
    """What does the ledger hold now? Raises OutOfReach for one of a newer layout, or one that is in use."""
    import duckdb

    if not farm.ledger.exists():
        return _Standing({}, rebuild="")
    try:
        con = duckdb.connect(str(farm.ledger), read_only=True)
    except duckdb.Error as problem:
        return _Standing({}, rebuild=_unopened(farm.ledger, problem))
    with con:
        try:
            meta = dict(con.execute("select key, value from meta").fetchall())
            hashes = {
                (row[0], row[1]): row[2]
                for row in con.execute("select table_name, file, content_hash from files").fetchall()
            }
        except duckdb.Error:
            return _Standing({}, rebuild="The ledger was not one of gillbook's and was built anew from the files.")
    wanted = versions(farm)
    if int(meta.get("layout", "0")) > LAYOUT_VERSION:
        raise OutOfReach(
            f"{farm.ledger.name} was written by a newer gillbook ({meta.get('gillbook')}) and was not touched. "
            "Update gillbook, or delete the file: it is made from your files."
        )
    for key in ("layout", "gillbook", "duckdb", "contracts"):
        if meta.get(key) != wanted[key]:
            return _Standing(hashes={}, rebuild=f"The ledger came from another version ({key}) and was built anew.")
    return _Standing(hashes, None, farm_changed=meta.get("farm") != wanted["farm"])


def _unopened(ledger: Path, problem: duckdb.Error) -> str:
    """What is to be done with a ledger that DuckDB cannot open? Moves garbage out of the way and says so."""
    text = str(problem)
    if "lock" in text.lower() or "being used" in text.lower():
        raise OutOfReach(f"{ledger.name} is open in another program. Close it and try again.") from problem
    if "version number" in text.lower():
        raise OutOfReach(
            f"{ledger.name} was written by a newer program and was not touched. "
            "Update gillbook, or delete the file: it is made from your files."
        ) from problem
    number = 1
    while (aside := ledger.with_name(f"ledger.broken-{number}.duckdb")).exists():
        number += 1
    os.replace(ledger, aside)
    return f"The ledger could not be opened; it was moved to {aside.name} and built anew from the files."


def _write_draft(
    farm: Farm,
    draft: Path,
    standing: _Standing,
    vanished: list[tuple[str, str]],
    screened: dict[str, list[Screened]],
    tell: Say,
) -> tuple[list[dict[str, Any]], dict[str, int]]:
    import duckdb

    from pipeline.ledger.stage import create_stage, decide, drop_file, stage_files

    try:
        with duckdb.connect(str(draft)) as con:
            if standing.rebuild is not None:
                create_stage(con)
                con.execute("create table meta (key varchar, value varchar)")
            before = _cells_of(con, vanished)
            for table, file in vanished:
                drop_file(con, table, file)
            for table, files in screened.items():
                for each in files:
                    if (table, each.raw.source.name) in standing.hashes:
                        drop_file(con, table, each.raw.source.name)
                tell(f"staging {table}")
                for portion in _portions(files):
                    stage_files(con, table, portion)
            _refuse_losses(con, before)
            tell("deciding")
            decide(con, dict(farm.settings))
            _write_meta(con, farm)
            counts, levels = _counts(con)
            con.execute("checkpoint")
    except duckdb.Error as problem:
        if isinstance(problem, (duckdb.IOException, duckdb.OutOfMemoryException)):
            raise OutOfReach(f"The ledger could not be written: {problem}. It is as it was.") from problem
        raise
    with open(draft, "rb+") as written:
        os.fsync(written.fileno())
    return counts, levels


def _portions(files: list[Screened]) -> list[list[Screened]]:
    portions: list[list[Screened]] = [[]]
    rows = 0
    for each in files:
        if portions[-1] and rows + each.frame.height > PORTION_ROWS:
            portions.append([])
            rows = 0
        portions[-1].append(each)
        rows += each.frame.height
    return portions


def _cells_of(con: duckdb.DuckDBPyConnection, vanished: list[tuple[str, str]]) -> dict[tuple[str, str], dict[int, int]]:
    """How often did each row of a vanished file stand in its whole table, before?"""
    found = {}
    for table, file in vanished:
        query = (
            f"select cells, count(*) from stage_{table} "
            f"where cells in (select cells from stage_{table} where file = ?) group by cells"
        )
        found[table, file] = dict(con.execute(query, [file]).fetchall())
    return found


def _refuse_losses(con: duckdb.DuckDBPyConnection, before: dict[tuple[str, str], dict[int, int]]) -> None:
    """Did any row vanish with its file? Then nothing is refreshed, and the grower is asked."""
    lost = []
    for (table, file), counts in before.items():
        now = dict(con.execute(f"select cells, count(*) from stage_{table} group by cells").fetchall())
        missing = sum(max(0, count - now.get(cells, 0)) for cells, count in counts.items())
        if missing:
            lost.append(f"{file} is gone, and {missing} of its rows stand in no other file.")
    if lost:
        raise OutOfReach(
            " ".join(lost) + " Nothing was refreshed, and the ledger is as it was. Put the file back; "
            "or, if it is meant to be gone, delete ledger.duckdb: it is made anew from the files that are there."
        )


def _write_meta(con: duckdb.DuckDBPyConnection, farm: Farm) -> None:
    files = con.execute("select table_name, file, content_hash from files order by all").fetchall()
    values = versions(farm)
    digest = sha256(repr((sorted(values.items()), files)).encode()).hexdigest()
    con.execute("delete from meta")
    for key, value in {**values, "ledger_id": digest}.items():
        con.execute("insert into meta values (?, ?)", [key, value])


def _counts(con: duckdb.DuckDBPyConnection) -> tuple[list[dict[str, Any]], dict[str, int]]:
    cursor = con.execute(
        "select table_name, file, rows_in, loaded, set_aside, waiting, blank from row_counts order by all"
    )
    names = [column[0] for column in cursor.description]
    counts = [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
    levels = dict(con.execute("select level, count(*) from findings group by level order by level").fetchall())
    return counts, levels


def _tell_counts(ledger: Path) -> tuple[list[dict[str, Any]], dict[str, int]]:
    import duckdb

    with duckdb.connect(str(ledger), read_only=True) as con:
        return _counts(con)


def _note(farm: Farm, marks: dict[str, FileMark], counts: list[dict[str, Any]], levels: dict[str, int]) -> None:
    import duckdb

    with duckdb.connect(str(farm.ledger), read_only=True) as con:
        found = con.execute("select value from meta where key = 'ledger_id'").fetchone()
    assert found is not None, "a ledger always has its id"
    now = farm.ledger.stat()
    save_manifest(farm.ledger, Manifest(versions(farm), found[0], now.st_size, now.st_mtime_ns, marks, counts, levels))


__all__ = ["DataNeedAttention", "Refreshed", "refresh", "up_to_date", "versions"]
