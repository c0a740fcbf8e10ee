"""The farm folder: where it is, what its farm.toml says, and which files hold its tables."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any

from pipeline.farm.conventions import CONVENTION_KEYS, Conventions, FileUse, read_conventions
from schemas.contract import INPUTS, Contract, contract
from schemas.finding import Finding, WrongRequest, finding, nearest

SETTINGS_FILE = "farm.toml"


@dataclass(frozen=True)
class Farm:
    """A farm folder with its settings: one value per key of the farm contract, defaults filled in."""

    folder: Path
    settings: Mapping[str, Any]
    settings_hash: str
    findings: tuple[Finding, ...] = ()
    conventions: Conventions = field(default_factory=Conventions)

    @property
    def conventions_hash(self) -> str:
        """Are the files to be read as they were? Changes with the settings that say how they are written."""
        told = {name: self.settings[name] for name in CONVENTION_KEYS}
        return sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()

    @property
    def ledger(self) -> Path:
        """Where is the ledger?"""
        return self.folder / "ledger.duckdb"

    @property
    def out(self) -> Path:
        """Where do derived files go?"""
        return self.folder / "out"


def is_farm(folder: Path) -> bool:
    """Does this folder hold a farm: a farm.toml, or any of its tables?"""
    if (folder / SETTINGS_FILE).is_file():
        return True
    return any(
        any((folder / f"{name}{suffix}").is_file() for suffix in SUFFIXES) or _folder_files(folder, name)
        for name in ("batches", "harvests")
    )


def find_folder(given: Path | None, start: Path) -> Path:
    """Which folder is the farm? `given` if there is one, else `start` or the nearest folder above it.

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
    """What does this farm's farm.toml say? Raises WrongRequest for a file that cannot be read or a wrong value."""
    path = folder / SETTINGS_FILE
    if not path.is_file():
        return Farm(folder, _defaults(contract("farm")), "")
    try:
        data = path.read_bytes()
        raw = tomllib.loads(data.decode("utf-8-sig"))
    except OSError as problem:
        raise WrongRequest(f"{SETTINGS_FILE} cannot be read: {problem.strerror}.") from problem
    except UnicodeDecodeError as problem:
        raise WrongRequest(f"{SETTINGS_FILE} is not UTF-8 at byte {problem.start}. Save it as UTF-8.") from problem
    except tomllib.TOMLDecodeError as problem:
        raise WrongRequest(f"{SETTINGS_FILE} is not valid TOML: {problem}. Mend that line.") from problem
    settings, findings = read_settings(raw)
    conventions = read_conventions(settings)
    absent = [name for name in conventions.files if not (folder / name).is_file()]
    findings += [
        finding(contract("farm"), SETTINGS_FILE, 0, "files", "absent_file", "warning", name) for name in absent
    ]
    return Farm(folder, settings, sha256(data).hexdigest(), tuple(findings), conventions)


def _defaults(table: Contract) -> dict[str, Any]:
    return {each.name: each.default for each in table.fields}


def read_settings(raw: Mapping[str, Any]) -> tuple[dict[str, Any], list[Finding]]:
    """Which settings does a farm.toml tell, with the defaults for the others, and what is odd about it?"""
    table = contract("farm")
    settings = _defaults(table)
    findings = []
    for key, value in raw.items():
        if key not in table.names:
            findings.append(finding(table, SETTINGS_FILE, 0, "", "unknown_key", "warning", key))
            continue
        settings[key] = _setting(table, key, value)
    return settings, findings


def _setting(table: Contract, key: str, value: Any) -> Any:
    each = table.field(key)
    if each.type == "integer":
        low, high = each.constraints["minimum"], each.constraints["maximum"]
        if type(value) is not int or not low <= value <= high:
            raise WrongRequest(
                f"{SETTINGS_FILE}, {key}: {value!r} is not a whole number from {low} to {high}. Mend it."
            )
        return value
    if each.type == "number":
        low, high = each.constraints["minimum"], each.constraints["maximum"]
        if type(value) not in (int, float) or not low <= value <= high:
            raise WrongRequest(f"{SETTINGS_FILE}, {key}: {value!r} is not a number from {low} to {high}. Mend it.")
        return float(value)
    if each.type == "array":
        if not isinstance(value, list) or not all(isinstance(word, str) for word in value):
            raise WrongRequest(f'{SETTINGS_FILE}, {key}: {value!r} is no list of texts. Write it like ["-", "N/A"].')
        return value
    if each.type == "object":
        if not isinstance(value, dict):
            raise WrongRequest(f"{SETTINGS_FILE}, {key}: {value!r} is no part of its own. Write it as [{key}.NAME].")
        return value
    if not isinstance(value, str):
        raise WrongRequest(f"{SETTINGS_FILE}, {key}: {value!r} is not a text. Put it in quotes.")
    if each.words and value not in each.words:
        meant = nearest(value, each.words)
        hint = f" Did you mean {meant}?" if meant else ""
        known = ", ".join(word or '""' for word in each.words)
        raise WrongRequest(f"{SETTINGS_FILE}, {key}: {value!r} is none of {known}.{hint}")
    return value


# What a table may be kept in.
WORKBOOKS = (".xlsx", ".xlsm")
SUFFIXES = (".csv", ".tsv", *WORKBOOKS)


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


def _folder_files(folder: Path, table: str) -> list[Path]:
    return [path for path in _seen_in(folder / table) if path.suffix.lower() in SUFFIXES and path.is_file()]


def _seen_in(folder: Path) -> list[Path]:
    """What is in this folder, but for what programs hide there?"""
    if not folder.is_dir():
        return []
    return [path for path in folder.iterdir() if not path.name.startswith((".", "~"))]


def unread_files(farm: Farm) -> list[Finding]:
    """Which files lie where tables are kept, or are called like one, and are not read? A notice for each."""
    read = {source.name for source in table_files(farm.folder, farm.conventions.files)}
    found = []
    for table in INPUTS:
        beside = [path for path in _seen_in(farm.folder) if path.stem == table and path.is_file()]
        for path in sorted([*beside, *_seen_in(farm.folder / table)]):
            name = path.relative_to(farm.folder).as_posix()
            if name not in read:
                found.append(finding(contract(table), name, 0, "", "unread_file", "notice"))
    return found


def table_files(folder: Path, named: Mapping[str, FileUse] | None = None) -> list[TableFile]:
    """Which files hold the farm's tables? `TABLE.csv` and `TABLE/*.csv` (or .tsv, .xlsx), and those that farm.toml
    names, sorted by table and name.
    """
    named = named or {}
    found = []
    for table in INPUTS:
        paths = _folder_files(folder, table)
        for suffix in SUFFIXES:
            single = folder / f"{table}{suffix}"
            if single.is_file() or single.is_symlink():
                paths.append(single)
        names = {path.relative_to(folder).as_posix(): path for path in paths}
        found += [TableFile(table, name, path) for name, path in names.items() if name not in named]
        found += [_named_file(folder, table, name, use) for name, use in named.items() if table in use.tables]
    present = (each for each in found if each.name not in named or each.path.is_file())
    return sorted(present, key=lambda each: (INPUTS.index(each.table), each.name))


def _named_file(folder: Path, table: str, name: str, use: FileUse) -> TableFile:
    return TableFile(table, name, folder / name, use.sheets.get(table), use.beside(table))
