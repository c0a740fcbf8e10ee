"""The farm folder: where it is, and which files hold its tables."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from hashlib import sha256
from pathlib import Path

from pipeline.farm.conventions import CONVENTION_KEYS, Conventions, FileUse, read_conventions
from pipeline.farm.links import leads_out, refuse_links_out
from pipeline.farm.settings import SETTINGS_FILE, Settings, default_settings, parse_settings, read_settings, words
from pipeline.farm.table_names import TableNames, table_names
from pipeline.farm.written_in import load_notes
from schemas.contract import BATCHES, HARVESTS, INPUTS, contract
from schemas.finding import Finding, OutOfReach, WrongRequest, finding
from schemas.phrases import counted

LEDGER = "ledger.duckdb"


@dataclass(frozen=True)
class Farm:
    """A farm folder with its settings: one value per key of the farm contract, defaults filled in. `scratch`: where the
    ledger and the copies are written instead, for a folder that cannot be written.
    """

    folder: Path
    settings: Settings
    settings_hash: str
    findings: tuple[Finding, ...] = ()
    conventions: Conventions = field(default_factory=Conventions)
    scratch: Path | None = None

    @property
    def home(self) -> Path:
        """The folder of the ledger and the copies."""
        return self.scratch or self.folder

    @property
    def conventions_hash(self) -> str:
        """One hash over the settings that say how files are written: where it differs all files are read anew."""
        settings = {name: self.settings[name] for name in CONVENTION_KEYS} | _written(self.conventions)
        return sha256(json.dumps(settings, sort_keys=True).encode()).hexdigest()

    @property
    def ledger(self) -> Path:
        """The path of the ledger."""
        return self.home / LEDGER

    @property
    def out(self) -> Path:
        """The folder of derived files."""
        return self.folder / "out"

    def only_reads(self, name: str) -> bool:
        """Whether the file of this name is, or lies behind, a link out of the farm that farm.toml does not allow to be
        written through.
        """
        return leads_out(self.folder, self.folder / name, words(self.settings, "write_links_into"))

    def for_file(self, name: str) -> Farm:
        """Return the farm with the conventions that this file is written in."""
        own = self.conventions.of_file(name)
        return self if own is self.conventions else replace(self, conventions=own)


def _written(conventions: Conventions) -> dict[str, object]:
    """What files are noted to be written in, where that is something else than farm.toml has."""
    return {"written": repr(sorted(conventions.written.items()))} if conventions.written else {}


def is_farm(folder: Path) -> bool:
    """Whether this folder holds a farm: a farm.toml, or any of its tables."""
    if (folder / SETTINGS_FILE).is_file():
        return True
    if not os.access(folder, os.R_OK):
        return False
    read = table_names(folder).read
    return bool(read[BATCHES] or read[HARVESTS])


def find_folder(given: Path | None, start: Path) -> Path:
    """Return the farm's folder: `given` if there is one, else `start` or the nearest folder above it.

    Raises WrongRequest when there is none.
    """
    if given is not None:
        if not given.is_dir():
            raise WrongRequest(
                f"{given}: there is no such folder. Name a farm folder, or make one: gillbook init {given}"
            )
        if not is_farm(given):
            raise WrongRequest(
                f"{given}: no farm here (no farm.toml, batches or harvests). Make one: gillbook init {given}"
            )
        return given
    for folder in (start, *start.parents):
        if is_farm(folder):
            return folder
    raise WrongRequest(
        f"{start}: no farm here or in a folder above. Go to your farm's folder, "
        "name it with --farm DIR, or make one: gillbook init DIR"
    )


def open_farm(folder: Path) -> Farm:
    """Return the farm with what its farm.toml says. Raises WrongRequest for a file that cannot be read, a wrong value,
    or a link out of the farm where gillbook writes.
    """
    refuse_links_out(folder)
    path = folder / SETTINGS_FILE
    if not path.is_file():
        _refuse_no_file(path)
        settings = default_settings()
        conventions, findings = _with_notes(folder, read_conventions(settings))
        found = (*findings, *_loud(unread_names(folder, conventions)))
        return Farm(folder, settings, str(_written(conventions).get("written", "")), found, conventions)
    try:
        data = path.read_bytes()
        raw = parse_settings(data.decode("utf-8-sig"))
    except OSError as problem:
        raise WrongRequest(f"{SETTINGS_FILE} cannot be read: {problem.strerror}.") from problem
    except UnicodeDecodeError as problem:
        raise WrongRequest(f"{SETTINGS_FILE} is not UTF-8 at byte {problem.start}. Save it as UTF-8.") from problem
    settings, findings = read_settings(raw)
    conventions = read_conventions(settings)
    absent = [name for name in conventions.files if not (folder / name).is_file()]
    findings += [
        finding(contract("farm"), SETTINGS_FILE, 0, "files", "absent_file", "warning", name) for name in absent
    ]
    conventions, otherwise = _with_notes(folder, conventions)
    settings_hash = sha256(data + str(_written(conventions).get("written", "")).encode()).hexdigest()
    found = (*findings, *otherwise, *_loud(unread_names(folder, conventions)))
    return Farm(folder, settings, settings_hash, found, conventions)


def _refuse_no_file(path: Path) -> None:
    """Refuse a farm.toml that is no plain file, and never opened, or that is called so but for the case of letters."""
    if os.path.lexists(path):
        raise WrongRequest(f"{SETTINGS_FILE} is no plain file, and was not opened. Put a file in its place.")
    with contextlib.suppress(OSError):
        for name in os.listdir(path.parent):
            if name.casefold() == SETTINGS_FILE:
                raise WrongRequest(f"{name} is not read, for it is not called {SETTINGS_FILE}. Rename it.")


def unread_names(folder: Path, conventions: Conventions) -> list[Finding]:
    """Return a finding for each name in this folder that looks like a table's and is not read: a warning where it must
    be one, else a notice.
    """
    try:
        return table_names(folder, conventions.files).unread
    except OutOfReach:
        return []  # reading the tables says what is wrong with the folder


def _loud(found: Sequence[Finding]) -> list[Finding]:
    return [each for each in found if each.level == "warning"]


def _with_notes(folder: Path, conventions: Conventions) -> tuple[Conventions, list[Finding]]:
    """Return the conventions with the files that were written in something else, and the finding on these."""
    notes = {name: note for name, note in load_notes(folder).items() if conventions.differs(note)}
    notes = {name: note for name, note in notes.items() if (folder / name).is_file()}
    if not notes:
        return conventions, []
    first, *others = notes
    which = f"{first} and {counted(len(others), 'more file')}" if others else first
    rule = "several_otherwise" if others else "written_otherwise"
    said = finding(contract("farm"), SETTINGS_FILE, 0, "", rule, "warning", which)
    return replace(conventions, written=notes), [said]


@dataclass(frozen=True)
class TableFile:
    """One file of one table: `name` is its path within the farm folder, with forward slashes. `sheet`: of a workbook,
    the sheet that farm.toml names. `beside`: the other tables that the same file holds.
    """

    table: str
    name: str
    path: Path = field(compare=False)
    sheet: str | None = None
    beside: tuple[str, ...] = ()


def unread_files(farm: Farm) -> list[Finding]:
    """Return a notice for each file that lies where tables are kept, or is called like one, and is not read. What must
    be a table is among the farm's own findings.
    """
    return [each for each in unread_names(farm.folder, farm.conventions) if each.level == "notice"]


def table_files(folder: Path, named: Mapping[str, FileUse] | None = None) -> list[TableFile]:
    """Return the files that hold the farm's tables: `TABLE.csv` and `TABLE/*.csv` (or .tsv, .xlsx), and those that
    farm.toml names, sorted by table and name. The case of letters is free where only one name fits.
    """
    named = named or {}
    return files_of(folder, named, table_names(folder, named))


def files_of(folder: Path, named: Mapping[str, FileUse], names: TableNames) -> list[TableFile]:
    """Return what table_files does, of a folder that was looked into already."""
    found = []
    for table, paths in names.read.items():
        found += [TableFile(table, path.relative_to(folder).as_posix(), path) for path in paths]
        found += [_named_file(folder, table, name, use) for name, use in named.items() if table in use.tables]
    present = (each for each in found if each.name not in named or each.path.is_file())
    return sorted(present, key=lambda each: (INPUTS.index(each.table), each.name))


def _named_file(folder: Path, table: str, name: str, use: FileUse) -> TableFile:
    return TableFile(table, name, folder / name, use.sheets.get(table), use.beside(table))
