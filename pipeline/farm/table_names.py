"""Which names in a farm folder are those of its tables, and which look like one but are not read, with why.

Nothing is opened for this: a pipe that is called like a table would never answer.
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from schemas.contract import INPUTS, contract
from schemas.finding import Finding, OutOfReach, finding

# What a table may be kept in.
TEXTS = (".csv", ".tsv")
WORKBOOKS = (".xlsx", ".xlsm")
SUFFIXES = (*TEXTS, *WORKBOOKS)
# In what else people keep tables, which is not read.
OTHER_KINDS = (".xls", ".xlsb", ".ods", ".numbers", ".txt", ".dat", ".csv~", ".bak", "")
# A table's name, or the word for one of its rows, within a file's name: `batches (1).csv`, `Harvest-2026.xlsx`.
WORDS = {
    table: re.compile(rf"(?<![^\W\d_]){re.escape(re.sub('(?<=ch)es$|s$', '', table))}(?:e?s)?(?![^\W\d_])")
    for table in INPUTS
}


@dataclass
class TableNames:
    """What a farm folder holds by its names: `read`, the paths of each table's files; `folders`, the folder of each
    table that has one; `unread`, a finding for each name that looks like a table's and is not read.
    """

    read: dict[str, list[Path]] = field(default_factory=lambda: {table: [] for table in INPUTS})
    folders: dict[str, str] = field(default_factory=dict)
    unread: list[Finding] = field(default_factory=list)


def table_names(folder: Path, named: Collection[str] = ()) -> TableNames:
    """Return what this folder holds. The case of letters is free where only one name fits. `named`: the files that
    farm.toml names, which are not looked at here. Raises OutOfReach where a folder cannot be looked into.
    """
    found = TableNames()
    entries = [each for each in _seen_in(folder) if not _is_named(folder, each, named)]
    for table in INPUTS:
        for suffix in SUFFIXES:
            alike = [each for each in entries if each.name.casefold() == f"{table}{suffix}"]
            found.read[table] += [Path(each.path) for each in _chosen(found, folder, table, f"{table}{suffix}", alike)]
        folders = [each for each in entries if each.name.casefold() == table and _is_folder(each)]
        for inner in _chosen(found, folder, table, table, folders, of_folders=True):
            found.folders[table] = inner.name
            _look_into(found, folder, table, inner, named)
    known = {Path(path.parts[len(folder.parts)]) for paths in found.read.values() for path in paths}
    known |= {Path(each.file.split("/")[0]) for each in found.unread} | {Path(name) for name in found.folders.values()}
    found.unread += [each for entry in entries if Path(entry.name) not in known for each in _like_a_table(entry)]
    return found


def _seen_in(folder: Path | str) -> list[os.DirEntry[str]]:
    """What is in this folder, in order, but for what programs hide there."""
    try:
        with os.scandir(folder) as entries:
            return sorted(
                (each for each in entries if not each.name.startswith((".", "~"))), key=lambda each: each.name
            )
    except (FileNotFoundError, NotADirectoryError):
        return []
    except OSError as problem:
        raise OutOfReach(
            f"{Path(folder).name} cannot be looked into ({problem.strerror}). Mend the rights of that folder."
        ) from problem


def _is_named(folder: Path, entry: os.DirEntry[str], named: Collection[str]) -> bool:
    """Whether farm.toml names this file, in its own letters or, where the system holds these for one, in others."""
    if not named:
        return False
    name = Path(entry.path).relative_to(folder).as_posix()
    if name in named:
        return True
    for other in named:
        if other.casefold() == name.casefold():
            try:
                return os.path.samefile(folder / other, entry.path)
            except OSError:
                return False
    return False


def _chosen(
    found: TableNames,
    folder: Path,
    table: str,
    name: str,
    alike: list[os.DirEntry[str]],
    of_folders: bool = False,
) -> list[os.DirEntry[str]]:
    """Which of the entries that are called `name` but for the case of letters is read: the one in small letters, else
    the only one. The others are found to be unread.
    """
    plain = [each for each in alike if of_folders or _may_be_opened(each)]
    found.unread += [_unread(folder, table, each.path, "no_plain_file") for each in alike if each not in plain]
    exact = [each for each in plain if each.name == name]
    chosen = exact or (plain if len(plain) == 1 else [])
    for each in plain:
        if each not in chosen:
            other = (chosen or [one for one in plain if one is not each])[0].name
            rule = "other_spelling" if chosen else "two_spellings"
            found.unread.append(_unread(folder, table, each.path, rule, other))
    return chosen


def _may_be_opened(entry: os.DirEntry[str]) -> bool:
    """Whether this is a plain file, or may be one: what a link leads to that is broken is named when it is read."""
    try:
        return stat.S_ISREG(os.stat(entry.path).st_mode)
    except OSError:
        return True


def _is_folder(entry: os.DirEntry[str]) -> bool:
    """Whether this is a folder, or a link to one; a link that leads in a circle is none."""
    try:
        return entry.is_dir()
    except OSError:
        return False


def _look_into(found: TableNames, folder: Path, table: str, inner: os.DirEntry[str], named: Collection[str]) -> None:
    """Find what of a table's own folder is read, and what is not."""
    for entry in _seen_in(inner.path):
        if _is_named(folder, entry, named):
            continue
        path = Path(entry.path)
        if not _is_text(entry.name):
            found.unread.append(_unread(folder, table, entry.path, "name_not_text"))
        elif _is_folder(entry):
            found.unread.append(_unread(folder, table, entry.path, "no_plain_file", level="notice"))
        elif not _may_be_opened(entry):
            found.unread.append(_unread(folder, table, entry.path, "no_plain_file"))
        elif path.suffix.lower() in SUFFIXES:
            found.read[table].append(path)
        else:
            found.unread.append(_unread(folder, table, entry.path, "unread_file", level="notice"))


def _like_a_table(entry: os.DirEntry[str]) -> Iterator[Finding]:
    """A finding where this entry of the farm folder is called like a table and is not read."""
    folder, name = Path(entry.path).parent, Path(entry.name.casefold())
    kind = _holds_tables(entry) if _is_folder(entry) else name.suffix in (*SUFFIXES, *OTHER_KINDS)
    for table in INPUTS:
        if name.stem == table or (kind and WORDS[table].search(name.stem)):
            rule = "like_a_table" if name.suffix in SUFFIXES or _is_folder(entry) else "unread_file"
            if not _is_text(entry.name):
                rule = "name_not_text"
            level = "warning" if rule == "name_not_text" else "notice"
            yield _unread(folder, table, entry.path, rule, level=level)
            return
    if name.suffix in SUFFIXES and not _is_text(entry.name):
        yield _unread(folder, INPUTS[-1], entry.path, "name_not_text", level="notice")


def _holds_tables(folder: os.DirEntry[str]) -> bool:
    """Whether there are files in this folder in which tables are kept."""
    try:
        return any(Path(name).suffix.lower() in SUFFIXES for name in os.listdir(folder))
    except OSError:
        return False


def _is_text(name: str) -> bool:
    """Whether this name is text that can be written down: its bytes are UTF-8."""
    try:
        name.encode()
    except UnicodeEncodeError:
        return False
    return True


def _unread(
    folder: Path, table: str, path: str, rule: str, value: str | None = None, level: str = "warning"
) -> Finding:
    name = Path(path).relative_to(folder).as_posix()
    shown = os.fsencode(name).decode("utf-8", "backslashreplace")
    return finding(contract(table), shown, 0, "", rule, level, value)
