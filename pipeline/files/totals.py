"""Rows below the last entry that sum up the others: spreadsheets have them, and they are no entries."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from schemas.contract import Contract

# What such a row is called, alone or with more words: common practice, no source.
TOTALS = re.compile(r"((grand |sub-?)?totals?|sums?|averages?|avg\.?|means?|\u03a3|\u00f8)\s*($|[:(=])|totals?\b", re.I)
# So many rows at the end are looked at.
TOTALS_AT_MOST = 10


def sums_up(cell: str) -> bool:
    """Return whether this cell says that its row adds up those above it."""
    return TOTALS.match(cell) is not None


def totals_at_end(table: Contract, rows: Iterable[Mapping[str, str | None]]) -> int:
    """Return how many rows at the end of a file sum up the others: they say so and have no day of their own.

    `rows`: the file's rows that are not blank, the last first, each by the columns of the table (other columns under
    any other name); None for blank.
    """
    days = [each.name for each in table.fields if each.type == "date"]
    count = 0
    for cells in rows:
        texts = {name: str(cell) for name, cell in cells.items() if cell is not None and name != "note"}
        sums = [name for name, cell in texts.items() if sums_up(cell)]
        if not sums or any(name in texts and name not in sums for name in days):
            break
        count += 1
    return count
