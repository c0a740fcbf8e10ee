"""Making a farm of the grower's own files: a new folder with copies of them, or the one that they lie in."""

from __future__ import annotations

import os
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import count
from pathlib import Path

from pipeline.adopt.named_batches import named_tables
from pipeline.adopt.proposal import Proposal
from pipeline.adopt.settings_text import made_files, settings_text
from pipeline.adopt.sheets import SourceFile, read_source
from pipeline.adopt.straighten import FOLDER
from pipeline.farm.folder import table_files
from pipeline.farm.settings import SETTINGS_FILE
from pipeline.farm.template import empty_table, how_to
from pipeline.files.replace import make_folder, replace_file, sync_folder
from schemas.contract import GROWING
from schemas.finding import OutOfReach, WrongRequest

# The folder of a new farm in which the files lie that were straightened, as they came.
ORIGINALS = "originals"


def home_of(folder: Path | None, files: Sequence[Path]) -> Path:
    """Return the folder that becomes the farm: the one named, or the one that the files lie in.

    Raises WrongRequest where neither can: a farm there already, a folder with other things in it, or none that holds
    all of them.
    """
    for file in files:
        if file.is_dir():
            raise WrongRequest(f"{file} is a folder. Name the files in it by their paths.")
        if not file.is_file():
            raise WrongRequest(f"{file}: there is no such file. Name your files by their paths.")
    folder = folder or _folder_of_all(files)
    if (folder / SETTINGS_FILE).exists():
        raise WrongRequest(f"{folder} has a {SETTINGS_FILE} already, and nothing was written. Mend it by hand.")
    if folder.exists() and not folder.is_dir():
        raise WrongRequest(f"{folder} is no folder. Name a new one.")
    if folder.is_dir() and any(folder.iterdir()) and not all(_within(folder, file) for file in files):
        raise WrongRequest(
            f"{folder} is not empty, and not all of the files lie in it. Name a new folder: they are copied into it."
        )
    return folder


def _folder_of_all(files: Sequence[Path]) -> Path:
    try:
        return Path(os.path.commonpath([str(file.resolve().parent) for file in files]))
    except ValueError as problem:
        # On Windows, where each drive has a tree of its own.
        raise WrongRequest("No folder holds all of the files. Name a new one: they are copied into it.") from problem


def _within(folder: Path, file: Path) -> bool:
    return file.resolve().is_relative_to(folder.resolve())


def source_files(folder: Path, files: Sequence[Path]) -> list[SourceFile]:
    """Return the files under the names that they get in the farm to be. Raises WrongRequest, UnreadableFile."""
    found: dict[str, Path] = {}
    for file in dict.fromkeys(each.resolve() for each in files):
        name = file.relative_to(folder.resolve()).as_posix() if _within(folder, file) else file.name
        other = found.setdefault(name.casefold(), file)
        if other != file:
            raise WrongRequest(f"{other} and {file} have one name. Rename one of them: both would be {name}.")
    return [
        read_source(file, file.relative_to(folder.resolve()).as_posix() if _within(folder, file) else file.name)
        for file in found.values()
    ]


@dataclass(frozen=True)
class FarmToBe:
    """What a farm is made of: the grower's `files`, of which those `straightened` are kept beside, unread; `settings`;
    the `tables` that the files hold; `made`, straightened tables by name; `named`, texts of tables that no file holds.
    """

    files: Sequence[SourceFile]
    settings: str
    tables: Sequence[str]
    straightened: frozenset[str] = frozenset()
    made: Mapping[str, bytes] = field(default_factory=dict)
    named: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def of(cls, files: Sequence[SourceFile], proposal: Proposal) -> FarmToBe:
        """Return what a proposal for these files comes to."""
        straightened = frozenset(each.sheet.grid.file.name for each in proposal.matches if each.sheet.grid)
        text = settings_text(proposal)
        return cls(files, text, proposal.tables, straightened, made_files(proposal), named_tables(proposal))


def make_farm(folder: Path, farm: FarmToBe) -> list[str]:
    """Write the farm and return the names of what was written. Of tables that it does not have an empty one is begun,
    unless there is one. Nothing that is there is written over. Raises OutOfReach.
    """
    texts = {f"{table}.csv": empty_table(table) for table in GROWING if table not in farm.tables}
    texts |= {f"{table}.csv": text for table, text in farm.named.items()}
    texts |= {name: data.decode() for name, data in farm.made.items()}
    texts["HOW-TO.md"] = how_to()
    texts[SETTINGS_FILE] = farm.settings
    files = [
        replace(each, name=f"{ORIGINALS}/{each.name}") if each.name in farm.straightened else each
        for each in farm.files
    ]
    try:
        if not folder.is_dir():
            return _write_new(folder, files, texts)
        if any(folder.iterdir()):
            return _write_beside(folder, texts)
        return _write_all(folder, files, texts)
    except OSError as problem:
        raise OutOfReach(f"{folder} cannot be written: {problem.strerror or problem}.") from problem


def _write_beside(folder: Path, texts: dict[str, str]) -> list[str]:
    """Write what is not there yet; farm.toml last, for with it the folder is a farm."""
    written = []
    there = [f"{each.table}.csv" for each in table_files(folder)]
    for name, text in texts.items():
        if name not in there and not (folder / name).exists():
            make_folder((folder / name).parent)
            replace_file(folder / name, text.encode())
            written.append(name)
    return sorted(written)


def _write_all(folder: Path, files: Sequence[SourceFile], texts: dict[str, str]) -> list[str]:
    """Fill an empty folder, or leave it empty. It is not made anew, for the grower may stand in it."""
    try:
        for each in files:
            make_folder((folder / each.name).parent)
            replace_file(folder / each.name, each.data)
        return sorted([*(each.name for each in files), *_write_beside(folder, texts)])
    except BaseException:
        for name in (*(each.name for each in files), *texts):
            (folder / name).unlink(missing_ok=True)
        for name in (ORIGINALS, FOLDER):
            if (folder / name).is_dir() and not any((folder / name).iterdir()):
                (folder / name).rmdir()
        raise


def _write_new(folder: Path, files: Sequence[SourceFile], texts: dict[str, str]) -> list[str]:
    """Write the folder whole, under another name until it is."""
    drafts = (folder.with_name(f"{folder.name}.new-{number}") for number in count(1))
    draft = next(each for each in drafts if not each.exists())
    make_folder(draft)
    try:
        written = _write_all(draft, files, texts)
        draft.rename(folder)
        sync_folder(folder.parent)
    except BaseException:
        shutil.rmtree(draft, ignore_errors=True)
        raise
    return written
