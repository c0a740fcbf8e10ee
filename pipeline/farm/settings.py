"""The settings of a farm: what its farm.toml says, read and held against the farm contract."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping

from schemas.contract import Contract, Field, contract
from schemas.finding import Finding, WrongRequest, finding
from schemas.phrases import did_you_mean

SETTINGS_FILE = "farm.toml"
# One value per key of the farm contract.
Settings = Mapping[str, object]
# No key of ours has more parts. The reader of TOML takes the more time, the more there are: our choice, no source.
MOST_PARTS = 100
# What may hold points without being a key: texts in quotation marks, and a comment.
NO_KEY = re.compile(r"""\"(?:[^"\\]|\\.)*\"|'[^']*'|\#.*""")


def parse_settings(text: str) -> dict[str, object]:
    """Return what a farm.toml holds, unread. Raises WrongRequest for a text that is no TOML, or none of a farm."""
    for number, line in enumerate(text.split("\n"), start=1):
        if line.count(".") > MOST_PARTS and NO_KEY.sub("", line).count(".") > MOST_PARTS:
            raise WrongRequest(
                f"{SETTINGS_FILE}, line {number}: no key has more than {MOST_PARTS} parts. Mend that line."
            )
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise WrongRequest(f"{SETTINGS_FILE} is not valid TOML: {problem}. Mend that line.") from problem
    except RecursionError as problem:
        raise WrongRequest(
            f"{SETTINGS_FILE} has lists or parts within each other, too deep to read. Mend it."
        ) from problem
    except ValueError as problem:
        raise WrongRequest(f"{SETTINGS_FILE} holds a number of more digits than any has. Mend it.") from problem


def default_settings() -> dict[str, object]:
    """Return the settings of a farm without a farm.toml."""
    return {each.name: each.default for each in contract("farm").fields}


def number(settings: Settings, key: str) -> float:
    """Return a setting that is a number. Raises TypeError where it is none."""
    value = settings[key]
    if not isinstance(value, int | float):
        raise TypeError(f"{key} is no number: {value!r}")
    return float(value)


def whole(settings: Settings, key: str) -> int:
    """Return a setting that is a whole number. Raises TypeError where it is none."""
    value = settings[key]
    if not isinstance(value, int):
        raise TypeError(f"{key} is no whole number: {value!r}")
    return value


def number_or_none(settings: Settings, key: str) -> float | None:
    """Return a setting that is a number, None where the farm does not have it."""
    return None if settings[key] is None else number(settings, key)


def text(settings: Settings, key: str) -> str:
    """Return a setting that is a text, blank where the farm does not have it."""
    return str(settings[key] or "")


def words(settings: Settings, key: str) -> tuple[str, ...]:
    """Return a setting that is a list of texts. Raises TypeError where it is none."""
    value = settings[key]
    if not isinstance(value, list | tuple):
        raise TypeError(f"{key} is no list: {value!r}")
    return tuple(map(str, value))


def parts(settings: Settings, key: str) -> Mapping[str, Mapping[str, object]]:
    """Return a setting that is written in parts, each as [key.NAME]: by their names. Raises WrongRequest for one that
    is no part.
    """
    value = settings[key] or {}
    if not isinstance(value, dict):
        raise TypeError(f"{key} has no parts: {value!r}")
    for name, inner in value.items():
        if not isinstance(inner, dict):
            raise _wrong(key, f"{name!r} is no part of its own. Write it as [{key}.NAME].")
    return value


def read_settings(raw: Mapping[str, object]) -> tuple[dict[str, object], list[Finding]]:
    """Return the settings of a farm.toml, with the defaults for the others, and the findings on it."""
    table = contract("farm")
    settings = default_settings()
    findings = []
    for key, value in raw.items():
        if key not in table.names:
            findings.append(finding(table, SETTINGS_FILE, 0, "", "unknown_key", "warning", key))
            continue
        settings[key] = _setting(table, key, value)
    return settings, findings


def _setting(table: Contract, key: str, value: object) -> object:
    each = table.field(key)
    if each.is_number:
        return _number(each, value)
    if each.type == "array":
        if not isinstance(value, list) or not all(isinstance(word, str) for word in value):
            raise _wrong(key, f'{value!r} is no list of texts. Write it like ["-", "N/A"].')
        return value
    if each.type == "object":
        if not isinstance(value, dict):
            raise _wrong(key, f"{value!r} is no part of its own. Write it as [{key}.NAME].")
        return value
    return _text(each, value)


def _number(each: Field, value: object) -> object:
    low, high = each.constraints["minimum"], each.constraints["maximum"]
    if each.type == "integer":
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise _wrong(each.name, f"{value!r} is not a whole number from {low} to {high}. Mend it.")
        return value
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise _wrong(each.name, f"{value!r} is not a number from {low} to {high}. Mend it.")
    return float(value)


def _text(each: Field, value: object) -> str:
    if not isinstance(value, str):
        raise _wrong(each.name, f"{value!r} is not a text. Put it in quotes.")
    if each.words and value not in each.words:
        known = ", ".join(word or '""' for word in each.words)
        raise _wrong(each.name, f"{value!r} is none of {known}.{did_you_mean(value, each.words)}")
    return value


def _wrong(key: str, what: str) -> WrongRequest:
    return WrongRequest(f"{SETTINGS_FILE}, {key}: {what}")
