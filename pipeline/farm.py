"""The farm folder: where it is, what its farm.toml says, and which files hold its tables."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any

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
    return any((folder / f"{name}.csv").is_file() or _folder_files(folder, name) for name in ("batches", "harvests"))


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
    settings, findings = _read_settings(raw)
    return Farm(folder, settings, sha256(data).hexdigest(), tuple(findings))


def _defaults(table: Contract) -> dict[str, Any]:
    return {each.name: each.default for each in table.fields}


def _read_settings(raw: Mapping[str, Any]) -> tuple[dict[str, Any], list[Finding]]:
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
    if not isinstance(value, str):
        raise WrongRequest(f"{SETTINGS_FILE}, {key}: {value!r} is not a text. Put it in quotes.")
    if each.words and value not in each.words:
        meant = nearest(value, each.words)
        hint = f" Did you mean {meant}?" if meant else ""
        raise WrongRequest(f"{SETTINGS_FILE}, {key}: {value!r} is none of {', '.join(each.words)}.{hint}")
    return value


@dataclass(frozen=True)
class TableFile:
    """One CSV file of one table: `name` is its path within the farm folder, with forward slashes."""

    table: str
    name: str
    path: Path = field(compare=False)


def _folder_files(folder: Path, table: str) -> list[Path]:
    inside = folder / table
    if not inside.is_dir():
        return []
    return [
        path
        for path in inside.iterdir()
        if path.suffix.lower() == ".csv" and not path.name.startswith((".", "~")) and path.is_file()
    ]


def table_files(folder: Path) -> list[TableFile]:
    """Which files hold the farm's tables? `TABLE.csv` and `TABLE/*.csv`, sorted by table and name."""
    found = []
    for table in INPUTS:
        paths = _folder_files(folder, table)
        single = folder / f"{table}.csv"
        if single.is_file() or single.is_symlink():
            paths.append(single)
        found += [TableFile(table, path.relative_to(folder).as_posix(), path) for path in paths]
    return sorted(found, key=lambda each: (INPUTS.index(each.table), each.name))
