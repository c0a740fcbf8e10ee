"""Days that a sheet does not name: so many after one that it does, in the order in which it writes days."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, timedelta

from pipeline.adopt.block import Block
from pipeline.adopt.cells import ISO, infer_date_order
from pipeline.adopt.days import iso
from pipeline.adopt.dialogue import Dialogue


def days_later(day: str, days: int, order: str | None) -> str | None:
    """Return the day so many days after this one, which is written year first or in this order of its parts. None for
    another.
    """
    written = _year_first(day, order)
    return (date.fromisoformat(written) + timedelta(days)).isoformat() if written else None


def _year_first(day: str, order: str | None) -> str | None:
    if ISO.fullmatch(day):
        return day[:10]
    numbers = [int(part) for part in re.findall(r"\d+", day)[:3]]
    if order is None or len(numbers) < 3:
        return None
    part = dict(zip(order.split("_"), numbers, strict=True))
    return iso(part["year"] if part["year"] > 99 else 2000 + part["year"], part["month"], part["day"])


def order_of_days(block: Block, places: Sequence[int], where: str, imperial: bool, talk: Dialogue) -> str | None:
    """Return the order of the parts of the days in these columns: by what they show, else asked."""
    cells = [(where, cell) for at in places for cell in block.column(at)]
    found = infer_date_order(cells)
    if found.value or not found.between:
        return found.value
    default, other = ("month first", "day first") if imperial else ("day first", "month first")
    text = f"Days in {where} can be read two ways. What comes first in them?"
    first = talk.choose(f"order of days in {where}", text, (default, other))
    return "month_day_year" if first == "month first" else "day_month_year"
