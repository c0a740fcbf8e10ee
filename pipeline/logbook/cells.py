"""One cell at a time: what its text says as the farm writes cells, and how a value is written in it.

The same rules as schemas/values.py, which judges whole columns with a library that takes long to import; a test holds
the two against each other.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from decimal import Decimal

from pipeline.files.write_csv import guarded, unguarded
from pipeline.logbook.amounts import number, translated
from schemas.cell_format import CellFormat
from schemas.contract import Field

ISO = re.compile(r"\d{4}-\d{2}-\d{2}(?:[T ]\d{2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?:Z|[+-]\d{2}:\d{2})?)?\Z", re.ASCII)
TIME = r"(?: +\d{1,2}:\d{2}(?::\d{2})?(?: ?[AaPp][Mm])?)?"
YEAR_LAST = re.compile(rf"(\d{{1,2}})[./-](\d{{1,2}})[./-](\d{{4}}|\d{{2}}){TIME}\Z", re.ASCII)
YEAR_FIRST = re.compile(rf"(\d{{4}})[./-](\d{{1,2}})[./-](\d{{1,2}}){TIME}\Z", re.ASCII)
# Where year, month and day stand among the three parts.
ORDERS = {
    "day_month_year": (YEAR_LAST, (3, 2, 1)),
    "month_day_year": (YEAR_LAST, (3, 1, 2)),
    "year_month_day": (YEAR_FIRST, (1, 2, 3)),
}
INTEGER = re.compile(r"[+-]?\d{1,9}\Z", re.ASCII)
EARLIEST = date(1900, 1, 1)


def text(cell: str, cell_format: CellFormat) -> str:
    """Return the text of this cell; "" for a blank one."""
    trimmed = cell.strip()
    return "" if trimmed in cell_format.blank_words else unguarded(trimmed)


def day(cell: str, cell_format: CellFormat) -> date | None:
    """Return the day that is written here; None for a blank cell and for what is no day."""
    trimmed = cell.strip()
    parts: tuple[int, int, int]
    if ISO.match(trimmed):
        parts = (int(trimmed[:4]), int(trimmed[5:7]), int(trimmed[8:10]))
    else:
        pattern, places = ORDERS.get(cell_format.date_order, (None, (0, 0, 0)))
        found = pattern.match(trimmed) if pattern else None
        if found is None:
            return None
        year = found[places[0]]
        parts = (int(year if len(year) == 4 else f"20{year}"), int(found[places[1]]), int(found[places[2]]))
    try:
        read = date(*parts)
    except ValueError:
        return None
    return read if read >= EARLIEST else None


def quantity(cell: str, cell_format: CellFormat) -> Decimal | None:
    """Return the number that is written here; None for a blank cell and for what is no number."""
    return None if cell.strip() in cell_format.blank_words else number(cell, cell_format)


def whole(cell: str, cell_format: CellFormat) -> int | None:
    """Return the whole number that is written here; None for a blank cell and for what is none."""
    digits = None if cell.strip() in cell_format.blank_words else translated(cell, cell_format)
    return int(digits) if digits is not None and INTEGER.match(digits) else None


def word(cell: str, each: Field, cell_format: CellFormat) -> str | None:
    """Return the word of the column that is meant, whatever its case, spaces or hyphens; None for another one."""
    own = cell_format.words.get(each.name, {})
    known = {**{word: word for word in each.words}, **each.synonyms, **own}
    return known.get(re.sub(r"[\s\-]+", "_", text(cell, cell_format).lower()))


def written_word(meant: str, column: str, own: Mapping[str, Mapping[str, object]]) -> str:
    """Return this word of the column as the farm writes it. `own`: its words as farm.toml has them."""
    return next((name for name, ours in own.get(column, {}).items() if ours == meant), meant)


def written_day(value: date, alike: str, cell_format: CellFormat) -> str:
    """Return this day as a file writes it whose days look like `alike` ("" where none is there).

    With the same marks in the farm's order; year-month-day where the file writes that or nothing.
    """
    pattern, places = ORDERS.get(cell_format.date_order, (None, (0, 0, 0)))
    found = pattern.match(alike.strip()) if pattern and not ISO.match(alike.strip()) else None
    if found is None:
        return value.isoformat()
    wide = len(found[places[1]]) == 2 and len(found[places[2]]) == 2
    parts = {places[0]: f"{value.year:04}"}
    parts[places[1]], parts[places[2]] = (f"{part:02}" if wide else str(part) for part in (value.month, value.day))
    mark = alike.strip()[len(found[1])]
    return mark.join(parts[at] for at in (1, 2, 3))


def written_text(typed: str) -> str:
    """Return this typed text so written that no spreadsheet runs it and it stays on one line."""
    return guarded(" ".join(typed.split()))
