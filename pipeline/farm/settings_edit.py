"""Changing one line of farm.toml, and nothing else of it: comments and order stay."""

from __future__ import annotations

import json
import re

from pipeline.farm.settings import SETTINGS_FILE, parse_settings, read_settings
from schemas.contract import Field, contract
from schemas.finding import WrongRequest
from schemas.phrases import did_you_mean


def setting_field(key: str) -> Field:
    """Return the setting of this name. Raises WrongRequest for a name that is none, and for one of several lines."""
    known = {each.name: each for each in contract("farm").fields}
    if key not in known:
        raise WrongRequest(f"settings {key}: there is no such setting.{did_you_mean(key, known)}")
    if known[key].type in ("object", "array"):
        shown = "\n  ".join(known[key].example or [f"{key} = {json.dumps(list(known[key].default or []))}"])
        raise WrongRequest(f"settings {key}: it takes several lines. Open {SETTINGS_FILE} and write it like\n  {shown}")
    return known[key]


def literal(each: Field, text: str) -> str:
    """Return the value as farm.toml writes it. Raises WrongRequest for a number that is none."""
    if not each.is_number:
        return json.dumps(text, ensure_ascii=False)
    number = text.strip().replace(",", ".") if re.fullmatch(r"\d+,\d{1,2}", text.strip()) else text.strip()
    if not re.fullmatch(r"-?\d+(\.\d+)?", number, re.ASCII):
        raise WrongRequest(f"settings {each.name} {text}: that is no number.")
    return number


def line_of(text: str, key: str) -> tuple[int, str] | None:
    """Return the number and text of the line that sets this key; None where none does."""
    for number, line in enumerate(text.split("\n"), start=1):
        if line.lstrip().startswith("["):
            return None
        if re.match(rf"\s*{key}\s*=", line):
            return number, line
    return None


def with_setting(text: str, key: str, value: str) -> str:
    """Return the text of farm.toml with this setting: in its line, in place of its comment, or before the first part.

    Raises WrongRequest where the value is none that the setting can have, or the line cannot be changed alone.
    """
    lines = text.split("\n")
    new = f"{key} = {value}"
    found = line_of(text, key)
    end = next((at for at, line in enumerate(lines) if line.lstrip().startswith("[")), len(lines))
    comment = next((at for at, line in enumerate(lines[:end]) if re.match(rf"#\s*{key}\s*=", line)), None)
    if found:
        behind = re.search(r"""(\s+#[^"']*)$""", found[1])
        lines[found[0] - 1] = new + (behind[1] if behind else "")
    elif comment is not None:
        lines[comment] = new
    else:
        lines[end:end] = [new, ""] if end < len(lines) else [new]
        if end == len(lines) and len(lines) > 1 and not lines[end - 1]:
            lines[end - 1 : end + 1] = [new, ""]
    changed = "\n".join(lines)
    _refuse_other(text, changed, key)
    return changed


def _refuse_other(before: str, after: str, key: str) -> None:
    """Raise WrongRequest where anything but this key would be read in another way."""
    try:
        was, now = parse_settings(before), parse_settings(after)
    except WrongRequest as problem:
        raise WrongRequest(f"{problem} It cannot be changed here: open it and change {key}.") from problem
    read_settings(now)
    if {**was, key: None} != {**now, key: None}:
        raise WrongRequest(f"{SETTINGS_FILE} cannot be changed here without changing more. Open it and change {key}.")
