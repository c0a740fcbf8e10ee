"""What the reference Python implementation of Table Schema (development only) says of the broken files.

It gets the whole farm as a package: our contracts as they are, with their keys between tables; UTF-8, as the standard
has it; and the words that count as blank. What farm.toml says is in no contract, so it knows nothing of it.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from importlib.resources import files
from typing import Any

from pipeline.farm.folder import Farm, table_files
from schemas.cell_format import BLANK_WORDS
from schemas.contract import INPUTS, Contract, contract

# The version 2 of the standard has the exclusive bounds; this names it, and nothing is fetched from there.
STANDARD = "https://datapackage.org/profiles/2.0/datapackage.json"
TYPES = ("date", "number", "integer", "date_order", "date_two_ways", "decimal_mark", "currency")
TYPES += ("date_spelling", "time_spelling", "too_large")
# What we call otherwise than it does. A file that cannot be read is one thing, whatever the reason and the place.
OURS = {
    **dict.fromkeys(TYPES, "type-error"),
    **{"ragged": "extra-cell", "missing_column": "missing-label", "duplicate_column": "duplicate-label"},
    **{"unreadable": "unreadable", "conflicting": "primary-key", "unknown_batch": "foreign-key"},
}
UNREADABLE = ("encoding-error", "source-error", "format-error")


def _descriptor(farm: Farm) -> dict[str, Any]:
    sources = {source.table: source for source in table_files(farm.folder, farm.conventions.files)}
    resources = []
    for table in INPUTS:
        if table not in sources:
            continue
        schema = json.loads(files("schemas").joinpath(f"inputs/{table}.json").read_text(encoding="utf-8"))
        # Columns are told by their names, in any order, and some may be absent.
        schema |= {"missingValues": ["", *BLANK_WORDS], "fieldsMatch": "partial"}
        path = sources[table].name
        text = {"encoding": "utf-8"} if path.endswith(".csv") else {}
        resources.append({"name": table, "path": path, "schema": schema, **text})
    return {"$schema": STANDARD, "resources": resources}


def reference_says(farm: Farm, table: str) -> list[str]:
    """What does the reference implementation find in the file of this table?"""
    from frictionless import Package

    report = Package.from_descriptor(_descriptor(farm), basepath=str(farm.folder)).validate()
    assert not report.errors, report.errors
    errors = [error for task in report.tasks if task.name == table for error in task.errors]
    return [_said(error) for error in errors]


def _said(error: Any) -> str:
    told = error.to_descriptor()
    name = told["type"]
    if name == "constraint-error":
        name = "constraint " + told["note"].split('"')[1]
    return where(told.get("rowNumber", 0), told.get("fieldName") or told.get("label") or "", name)


def where(row: int, column: str, name: str) -> str:
    """One line of a verdict."""
    place = [f"row {row}"] if row else []
    return ", ".join([*place, *([column] if column else [])] or ["the file"]) + f": {name}"


def as_ours(said: list[str]) -> set[str]:
    """The reference's verdict, to be held against ours: what kept it from reading is one thing."""
    return {"the file: unreadable" if line.rpartition(": ")[2] in UNREADABLE else line for line in said}


def we_say(table: str, findings: Sequence[Mapping[str, Any]]) -> tuple[set[str], set[str]]:
    """What we find in a file, in the words of the reference; and by which rules it has no words for. `findings`: those
    of the file in its story.
    """
    said, beyond = set(), set()
    for each in findings:
        name = _as_it_says(contract(table), each["rule"], each["column"], each["level"])
        if name is None:
            beyond.add(each["rule"])
        elif name == "unreadable":
            said.add("the file: unreadable")
        else:
            row = 0 if name.endswith("-label") else each["row"]
            said.add(where(row, "" if name.endswith("-key") else each["column"], name))
    return said, beyond


def _as_it_says(table: Contract, rule: str, column: str, level: str) -> str | None:
    if rule == "repeated" and table.primary_key:
        return "primary-key"
    if rule in OURS:
        return OURS[rule]
    field = table.field(column) if column in table.names else None
    # A bound that only warns is one of `expect`, which is ours.
    if field and rule in field.constraints and (level != "warning" or rule == "required"):
        return f"constraint {rule}"
    return None
