"""How an export is known again: the headings of its sheets, and the sheet that tells what they mean."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from schemas.contract import INPUTS, Field, contract

COLUMNS_SHEET = "columns"
# What stands above the settings of an export, by its name in files.
SETTINGS_COLUMNS = {"name": "Setting", "value": "Value", "description": "What it says"}
COLUMNS_HEADER = ("table", "kind", "column", "heading", "type", "unit", "description")
INPUT, RESULT, SETTINGS = "input", "result", "settings"


def heading_of(column: Field) -> str:
    """Return what stands above a column on a sheet: its title and unit."""
    return f"{column.title} ({column.unit})" if column.unit else column.title


def is_export(header: Sequence[str | None]) -> bool:
    """Whether the first row of a sheet called COLUMNS_SHEET is that of an export."""
    return tuple(header[: len(COLUMNS_HEADER)]) == COLUMNS_HEADER


def input_sheets(names: Collection[str]) -> list[str]:
    """Return which sheets of an export hold entries, or settings: the others were worked out from them."""
    return [each for each in names if each in (*INPUTS, SETTINGS)]


def is_settings(header: Sequence[str]) -> bool:
    """Whether these are the headings of settings as they are handed on."""
    return tuple(header) in (tuple(SETTINGS_COLUMNS), tuple(SETTINGS_COLUMNS.values()))


def whole_table(header: Sequence[str]) -> str | None:
    """Return the input table of which these are the headings as it is handed on, all of its columns in their order;
    None of another. Such a table is in order as it lies, and its blank cells are blank.
    """
    for table in INPUTS:
        if tuple(header) in (contract(table).names, tuple(map(heading_of, contract(table).fields))):
            return table
    return None
