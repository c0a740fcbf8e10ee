"""Backups: copies of all files as last read well, so that one that vanishes or breaks takes no row along."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias
from zlib import crc32

from pipeline.farm.folder import Farm, TableFile
from pipeline.farm.ready_command import typed
from pipeline.files.replace import make_folder, replace_file, sync_folder
from pipeline.models.statements import rows
from schemas.answers import FileStatus
from schemas.contract import INPUTS, contract
from schemas.finding import Finding

if TYPE_CHECKING:
    import duckdb

# (table, file): a file that holds several tables is several, for one may be readable and another not.
Key: TypeAlias = tuple[str, str]

# Why a file is not read that stands in the folder all the same.
NOT_NAMED = "is no file that farm.toml names any more"
NO_FILE = "is no file any more, but a folder, pipe or device"
# So many files that are gone are named one by one; a folder that is gone as a whole would fill the screen.
NAMED_ONE_BY_ONE = 3
# What operating systems leave in any folder, besides names that begin with a point.
LEFT_BY_OTHERS = (".db", ".ini")


def backup_folder(farm: Farm) -> Path:
    """Return the folder of the copies and the history."""
    return farm.home / "kept"


def copy_path(farm: Farm, key: Key) -> Path:
    """Return the path of the copy of this file of this table."""
    return backup_folder(farm) / "files" / key[0] / key[1]


def backup_copies(farm: Farm) -> dict[Key, Path]:
    """Return the files of which there is a copy, each with its path."""
    found = {}
    for table in INPUTS:
        inside = copy_path(farm, (table, ""))
        for path in sorted(inside.rglob("*")) if inside.is_dir() else ():
            if path.is_file() and not path.name.startswith((".", "~")) and path.suffix.lower() not in LEFT_BY_OTHERS:
                found[table, path.relative_to(inside).as_posix()] = path
    return found


def copy_file(farm: Farm, key: Key, copy: Path, copies: Iterable[Key]) -> TableFile:
    """Return how this copy is read: as which sheet, and beside which tables. As farm.toml has the file, if it does."""
    table, name = key
    use = farm.conventions.files.get(name)
    if use:
        return TableFile(table, name, copy, use.sheets.get(table), use.beside(table))
    return TableFile(table, name, copy, None, tuple(other for other, file in copies if file == name and other != table))


def _drafts(farm: Farm) -> Path:
    return backup_folder(farm) / "drafts"


def clear_drafts(farm: Farm) -> None:
    """Remove what a refresh that was killed left half written."""
    with contextlib.suppress(FileNotFoundError):
        shutil.rmtree(_drafts(farm))


def _replace_whole(farm: Farm, path: Path, data: bytes, mtime_ns: int | None = None) -> None:
    """Write a file whole or not at all, however the process or the machine ends."""
    draft = _drafts(farm) / f"{crc32(str(path).encode()):08x}"
    draft.parent.mkdir(parents=True, exist_ok=True)
    make_folder(path.parent)
    replace_file(path, data, draft=draft, mtime_ns=mtime_ns)


def keep(farm: Farm, key: Key, data: bytes, mtime_ns: int) -> None:
    """Copy a file as it was just read well, with its own time, by which a copy that fell behind is known."""
    _replace_whole(farm, copy_path(farm, key), data, mtime_ns)


def _without_empty_folders(farm: Farm, folder: Path) -> None:
    while folder != backup_folder(farm):
        try:
            folder.rmdir()
        except OSError:
            return
        folder = folder.parent


def drop_copy(farm: Farm, key: Key) -> None:
    """Remove the copy of a renamed or split file: all its rows stand in files that are there."""
    path = copy_path(farm, key)
    path.unlink(missing_ok=True)
    _without_empty_folders(farm, path.parent)


def give_up_copy(farm: Farm, key: Key) -> Path | None:
    """Move the copy of a file that is given up to kept/forgotten/, never over an earlier one; None without a copy."""
    path = copy_path(farm, key)
    if not path.is_file():
        return None
    target = backup_folder(farm) / "forgotten" / key[0] / key[1]
    number = 1
    while target.exists():
        number += 1
        target = target.with_name(f"{path.stem}-{number}{path.suffix}")
    make_folder(target.parent)
    os.replace(path, target)
    sync_folder(target.parent)
    _without_empty_folders(farm, path.parent)
    return target


def forgotten_copy(farm: Farm, key: Key) -> bool:
    """Whether this file was ever given up."""
    return (backup_folder(farm) / "forgotten" / key[0] / key[1]).is_file()


def _given_up_path(farm: Farm) -> Path:
    return backup_folder(farm) / "given_up.json"


def given_up(farm: Farm) -> frozenset[Key]:
    """Return the files that cannot be read and were given up. They count for nothing until they can be read again, or
    go.
    """
    try:
        noted = json.loads(_given_up_path(farm).read_text(encoding="utf-8"))
        return frozenset((str(table), str(file)) for table, file in noted)
    except (OSError, ValueError, RecursionError, TypeError):
        # Then they are unreadable files again, of which every command tells.
        return frozenset()


def note_given_up(farm: Farm, keys: Iterable[Key]) -> None:
    """Note which files that cannot be read are given up."""
    wanted = sorted(set(keys))
    if set(wanted) == given_up(farm):
        return
    if wanted:
        _replace_whole(farm, _given_up_path(farm), (json.dumps(wanted) + "\n").encode())
    else:
        _given_up_path(farm).unlink(missing_ok=True)


def forget_words(file: str) -> str:
    """Return the command by which this file is given up."""
    return typed(["gillbook", "forget", file]) or "gillbook forget FILE, with the file's name quoted for your shell"


def _last_rows(rows: int) -> str:
    return "its last good row still counts" if rows == 1 else f"its {rows} last good rows still count"


def missing_file_finding(table: str, file: str, status: str, problem: str, rows: int) -> Finding:
    """Return the finding on a file that is not there to be read. `problem`: why, as the ledger notes it; `rows`: how
    many of its rows count.
    """
    give_up = f"give it up: {forget_words(file)}"
    problem = problem if problem.endswith((".", "?")) or status == FileStatus.VANISHED else f"{problem}."
    if status == FileStatus.VANISHED:
        message, fix = f"{problem}; {_last_rows(rows)}", f"{way_back(problem)}, or {give_up}"
    elif status == FileStatus.UNREADABLE:
        message, fix = f"cannot be read, and {_last_rows(rows)}", f"{problem} Or {give_up}"
    else:
        message = "cannot be read and was given up; no row of it counts"
        fix = f"{problem} Or take it out of the folder."
    level = "notice" if status == FileStatus.GIVEN_UP else "warning"
    return Finding(contract(table).name, file, 0, "", status, level, None, message, "the file, to be read", fix)


def why_not_there(farm: Farm, file: str) -> str:
    """Return why a file is not read any more of which there is a copy."""
    path = farm.folder / file
    return "is gone" if not path.exists() else NOT_NAMED if path.is_file() else NO_FILE


def way_back(problem: str) -> str:
    """Return what is to be done so that the file is read again. `problem`: begins with why it is not (see
    why_not_there).
    """
    if problem.startswith(NO_FILE):
        return "Put the file back in its place"
    return "Name it there again" if problem.startswith(NOT_NAMED) else "Put it back"


def missing_file_findings(con: duckdb.DuckDBPyConnection) -> list[Finding]:
    """Return a finding for each file of the ledger that is not there to be read. Of a file that holds several tables,
    the one with the most rows comes first.
    """
    return [missing_file_finding(*row) for row in rows(con, "missing_files")]


def missing_file_messages(found: Sequence[Finding]) -> list[str]:
    """Return what every command reports of files that are not there to be read, until they are mended or given up."""
    once = list({(each.file, each.rule): each for each in reversed(found)}.values())[::-1]
    gone = [each for each in once if each.rule == FileStatus.VANISHED]
    named = gone[:NAMED_ONE_BY_ONE] if len(gone) > NAMED_ONE_BY_ONE else gone
    unreadable = [each for each in once if each.rule == FileStatus.UNREADABLE]
    said = [each.sentence() for each in (*unreadable, *named)]
    if len(named) < len(gone):
        more = len(gone) - len(named)
        said.append(f"{more} more files are gone, and their last good rows still count: gillbook check lists them.")
    return said
