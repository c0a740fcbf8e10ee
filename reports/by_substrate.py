"""What the sections by substrate share: the name of a substrate, and why a figure of one is missing."""

from __future__ import annotations

from collections.abc import Sequence

from reports.figures import Name, Sentence, named
from reports.month import Month
from reports.words import spoken
from schemas.result_rows import text_of

NAMED = 4
CURVES_SHOWN = 6


def substrate_name(month: Month, table: str, at: int) -> Name:
    """Return the substrate of this row as a sentence names it."""
    return named(spoken("substrate", text_of(month.rows(table)[at], "substrate")))


def reasons(month: Month, table: str, column: str, start: str) -> Sequence[Sentence]:
    """Return a sentence per reason for a missing figure, with the substrates that it holds for."""
    by_flush = table == "another_flush"
    groups: dict[str, dict[str, None]] = {}
    for row in month.rows(table):
        if row[column]:
            flush = f", flush {row['flush']}" if by_flush else ""
            name = f"{spoken('substrate', text_of(row, 'substrate'))}{flush}"
            groups.setdefault(text_of(row, column), {})[name] = None
    found = []
    for reason, names in groups.items():
        listed = list(names)
        more = f" and {len(listed) - NAMED} more" if len(listed) > NAMED else ""
        found.append((start, Name("; ".join(listed[:NAMED]) + more), ": ", Name(reason), "."))
    return found
