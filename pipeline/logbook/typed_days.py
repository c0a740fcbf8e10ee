"""Days as they are typed: 2026-05-31, yesterday, mon, -2d, or in the farm's own order of dates."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, timedelta

from schemas.finding import WrongRequest

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
NEAR = {"today": 0, "yesterday": -1, "tomorrow": 1}
STEP = re.compile(r"(?P<sign>[+-])(?P<count>\d{1,3})(?P<unit>[dw]?)\Z", re.ASCII)
PARTS = re.compile(r"(\d{1,4})[./-](\d{1,2})[./-](\d{1,4})\Z", re.ASCII)
# Where day, month and year stand among three parts, by the settings of date_order.
ORDERS = {"day_month_year": (0, 1, 2), "month_day_year": (1, 0, 2), "year_month_day": (2, 1, 0)}
HOW = "Write year-month-day, like 2026-05-31."


def typed_month(what: str, text: str) -> date:
    """Return the first day of the month that is typed as year-month. `what`: the option, as messages name it, or "".
    Raises WrongRequest for a text that is no month.
    """
    try:
        if len(text) == len("2026-05"):
            return date.fromisoformat(f"{text}-01")
    except ValueError:
        pass
    raise WrongRequest(f"{what} {text}".lstrip() + ": that is not a month. Write year-month, like 2026-05.")


def typed_day(what: str, text: str, today: date, date_order: Callable[[], str], ahead: bool = False) -> date:
    """Return the day that is typed. A weekday is the last one up to `today`, or, `ahead`, the next one from today on.

    `what`: the option, as messages name it; `date_order`: gives the farm's setting of that name, and is called only for
    a date that may be written in several orders. Raises WrongRequest for what is no day, and for what may be two.
    """
    word = " ".join(text.split()).lower()
    if word in NEAR:
        return today + timedelta(days=NEAR[word])
    weekday = next((at for at, name in enumerate(WEEKDAYS) if word in (name, name[:3])), None)
    if weekday is not None:
        away = (weekday - today.weekday()) % 7 if ahead else -((today.weekday() - weekday) % 7)
        return today + timedelta(days=away)
    step, parts = STEP.match(word), PARTS.match(word)
    if step:
        days = int(step["count"]) * (7 if step["unit"] == "w" else 1)
        return today + timedelta(days=days if step["sign"] == "+" else -days)
    iso = re.match(r"\d{4}-\d{2}-\d{2}\Z", word, re.ASCII)
    if parts is None or (word[4:5] == "-" and not iso):
        raise WrongRequest(f"{what} {text}: that is not a date. {HOW}")
    numbers = (parts[1], parts[2], parts[3])
    day = _read(numbers, "year_month_day") if iso else _of_parts(what, text, numbers, date_order())
    if day is None:
        raise WrongRequest(f"{what} {text}: that is not a date. {HOW}")
    return day


def _of_parts(what: str, text: str, parts: tuple[str, str, str], date_order: str) -> date:
    """Return the day of three numbers: in the farm's order, else in the only order in which they are a day."""
    readings = {order: day for order in ORDERS if (day := _read(parts, order)) is not None}
    if date_order:
        if date_order in readings:
            return readings[date_order]
        raise WrongRequest(f"{what} {text}: that is not a date as {date_order} of farm.toml has it. {HOW}")
    days = sorted(set(readings.values()))
    if len(days) > 1:
        shown = " or ".join(each.isoformat() for each in days)
        raise WrongRequest(
            f"{what} {text}: that may be two days. Write {shown}; or say once which order you write: "
            "gillbook settings date_order day_month_year (or month_day_year)."
        )
    if not days:
        raise WrongRequest(f"{what} {text}: that is not a date. {HOW}")
    return days[0]


def _read(parts: tuple[str, str, str], date_order: str) -> date | None:
    day, month, year = (parts[at] for at in ORDERS[date_order])
    if len(year) not in (2, 4) or len(day) > 2:
        return None
    try:
        return date(int(year) if len(year) == 4 else 2000 + int(year), int(month), int(day))
    except ValueError:
        return None
