"""The settings of a farm whose export is read again: those that are not what every farm has without them."""

from __future__ import annotations

import json
from collections.abc import Sequence

from pipeline.adopt.cells import InferredSetting
from pipeline.adopt.sheets import SourceSheet
from pipeline.farm.settings import default_settings, read_settings
from schemas.contract import Field, contract
from schemas.exported import SETTINGS, is_settings
from schemas.finding import WrongRequest

# How the farm's own files were written: an export is written in one way alone.
OF_FILES = ("decimal_mark", "thousands_mark", "date_order")
NOTHING = "null"


def settings_handed_on(sheets: Sequence[SourceSheet]) -> tuple[dict[str, InferredSetting], list[str]]:
    """Return the settings that the sheets of an export hand on, and a sentence for each that cannot be taken."""
    found: dict[str, InferredSetting] = {}
    left_out = []
    for sheet in sheets:
        for name, value in _said(sheet):
            try:
                read = _value(contract("farm").field(name), value)
                settings, _ = read_settings({name: read})
            except (WrongRequest, ValueError):
                left_out.append(f'{sheet.called}: {name} is not taken: "{value}" is no value of it.')
                continue
            if settings[name] != default_settings()[name]:
                shown = json.dumps(settings[name]) if contract("farm").field(name).is_number else value
                found[name] = InferredSetting(shown, f"From the {SETTINGS} of your export ({sheet.called}).")
    return found, left_out


def _said(sheet: SourceSheet) -> list[tuple[str, str]]:
    """The names and values of a sheet of settings, of those that can be taken."""
    if not is_settings(sheet.header):
        return []
    known = [each.name for each in contract("farm").fields if each.type in ("string", "number", "integer")]
    pairs = [(cells[0] or "", cells[1] or "") for cells in sheet.rows if len(cells) > 1]
    return [pair for pair in pairs if pair[0] in known and pair[0] not in OF_FILES and pair[1] not in ("", NOTHING)]


def _value(column: Field, text: str) -> object:
    """What this text is in farm.toml. Raises ValueError for a number that is none."""
    if column.type == "integer":
        return int(text)
    return float(text) if column.is_number else text
