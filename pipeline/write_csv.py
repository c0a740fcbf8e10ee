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


def write_csv(path: Path, records: Sequence[Mapping[str, Any]], header: Sequence[str] = FINDING_HEADER) -> None:
    """Writes one row per record under the header, UTF-8, in one rename."""
    draft = path.with_name(path.name + ".new")
    with open(draft, "w", encoding="utf-8", newline="") as out:
        writer = csv.DictWriter(out, fieldnames=list(header), lineterminator="\n")
        writer.writeheader()
        writer.writerows(records)
    os.replace(draft, path)
