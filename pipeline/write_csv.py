"""Writing CSV files of our own: whole or not at all."""

from __future__ import annotations

import csv
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

FINDING_HEADER = (
    "level",
    "table",
    "file",
    "row",
    "column",
    "rule",
    "value",
    "message",
    "expected",
    "fix",
    "rows_waiting",
    "waits_for_file",
    "waits_for_row",
)


# A spreadsheet takes a cell that begins with one of these as a formula (OWASP, "CSV Injection"); the last four are
# their full-width forms, which some spreadsheets take alike.
FORMULA_MARKS = "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20"
GUARD = "'"


def guarded(text: str) -> str:
    """How is this text written so that no spreadsheet runs it? With an apostrophe before what would begin a formula;
    reading takes it off again (unguarded).
    """
    return GUARD + text if text.lstrip(GUARD)[:1] in tuple(FORMULA_MARKS) else text


def unguarded(text: str) -> str:
    """Which text was written so (see guarded)?"""
    return text[1:] if text[:1] == GUARD and text.lstrip(GUARD)[:1] in tuple(FORMULA_MARKS) else text


def guarded_row(record: Mapping[str, Any]) -> dict[str, Any]:
    """How is this record written so that no spreadsheet runs a text of it (see guarded)?"""
    return {name: guarded(cell) if isinstance(cell, str) else cell for name, cell in record.items()}


def write_csv(path: Path, records: Sequence[Mapping[str, Any]], header: Sequence[str] = FINDING_HEADER) -> None:
    """Writes one row per record under the header, UTF-8, in one rename. No cell of it runs in a spreadsheet."""
    draft = path.with_name(path.name + ".new")
    with open(draft, "w", encoding="utf-8", newline="") as out:
        writer = csv.DictWriter(out, fieldnames=list(header), lineterminator="\n")
        writer.writeheader()
        for each in records:
            writer.writerow(guarded_row(each))
    os.replace(draft, path)
