"""Writing CSV files of our own: whole or not at all."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from pipeline.files.replace import replacing
from schemas.pickings import FORMULA_MARKS, GUARD, WITHIN

FINDING_HEADER = (
    "level",
    "table",
    "file",
    "row",
    "column",
    "heading",
    "place",
    "rule",
    "value",
    "message",
    "expected",
    "fix",
    "rows_waiting",
    "waits_for_file",
    "waits_for_row",
    "like_it",
)


_TO_GUARD = re.compile(WITHIN % ("", ""))
_GUARDED = re.compile(WITHIN % (GUARD, GUARD))


def guarded(text: str) -> str:
    """Return this text so that no spreadsheet runs it: with an apostrophe before what would begin a formula;
    reading takes it off again (unguarded).
    """
    text = _TO_GUARD.sub(lambda found: f"{found[1] or found[3]}{GUARD}{found[2] or found[4]}", text)
    return GUARD + text if text.lstrip(GUARD)[:1] in tuple(FORMULA_MARKS) else text


def unguarded(text: str) -> str:
    """Return the text that was written so (see guarded)."""
    if text[:1] == GUARD and text.lstrip(GUARD)[:1] in tuple(FORMULA_MARKS):
        text = text[1:]
    return _GUARDED.sub(lambda found: (found[1] or found[3]) + (found[2] or found[4]), text)


def guarded_row(record: Mapping[str, object]) -> dict[str, object]:
    """Return this record so that no spreadsheet runs a text of it (see guarded)."""
    return {name: guarded(cell) if isinstance(cell, str) else cell for name, cell in record.items()}


def write_csv(path: Path, records: Sequence[Mapping[str, object]], header: Sequence[str] = FINDING_HEADER) -> None:
    """Writes one row per record under the header, UTF-8, in one rename. No cell of it runs in a spreadsheet."""
    with replacing(path) as out:
        out.writelines(line.encode() for line in csv_lines(records, header))


def csv_lines(records: Sequence[Mapping[str, object]], header: Sequence[str]) -> Iterator[str]:
    """Yield the header and a line for each record. No cell of them runs in a spreadsheet."""
    yield _line([guarded(name) for name in header])
    for each in records:
        record = guarded_row(each)
        yield _line([record[name] for name in header])


def _line(cells: Sequence[object]) -> str:
    """These cells as a line. The csv module quotes a CR or LF only where it ends the lines, so both do."""
    line = io.StringIO()
    csv.writer(line, lineterminator="\r\n").writerow(cells)
    return line.getvalue().removesuffix("\r\n") + "\n"
