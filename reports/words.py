"""How words, days and the texts of cells look on a page."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from datetime import date
from functools import cache

from schemas.contract import BATCHES, FILLINGS, HARVESTS, contract

# Not strftime: its names depend on the machine's language, and the same month must give the same bytes.
MONTH_NAMES = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
WAITS: Mapping[str, str] = {
    "inoculated_to_colonised": "inoculation to colonised",
    "inoculated_to_pins": "inoculation to pins",
    "inoculated_to_first_pick": "inoculation to first picking",
    "opened_to_pins": "opening to pins",
    "pins_to_first_pick": "pins to first picking",
    "cycle": "whole cycle",
}
CODED = {"treatment": BATCHES, "spawn_form": BATCHES, "cap_stage": HARVESTS}
# Causes are open words; the usual ones are written like green_mould.
CAUSE = re.compile("[a-z]+(_[a-z]+)+")
ISO_DAY = re.compile(r"\b\d{4}-\d\d-\d\d\b")
NOT_NOTED = "not noted"
# What a blank says, where it is no gap in the records.
BLANK: Mapping[str, str] = {"lacks": "nothing"}
# Marks that turn the direction of the text around them: of no use in a name, and a way to make one lie.
DIRECTION = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")


def month_name(month: date) -> str:
    """Return a month in words, like September 2026."""
    return f"{MONTH_NAMES[month.month - 1]} {month.year}"


def short_month(month: date) -> str:
    """Return a month in few letters, like Sep 2026."""
    return f"{MONTH_NAMES[month.month - 1][:3]} {month.year}"


def day_name(day: date) -> str:
    """Return a day in words, like 14 September 2026."""
    return f"{day.day} {month_name(day)}"


def with_days_named(text: str) -> str:
    """Return a text with its days in words, like 25 October 2026 for 2026-10-25."""
    return ISO_DAY.sub(lambda found: day_name(date.fromisoformat(found[0])), text)


def short_day(day: date) -> str:
    """Return a day as an axis or a table has it, like 14 Sep."""
    return f"{day.day} {MONTH_NAMES[day.month - 1][:3]}"


def factor_name(factor: str) -> str:
    """Return what varies as a sentence names it: a column of the batches or fillings by its title."""
    tables = (contract(name) for name in (BATCHES, FILLINGS))
    title = next((table.field(factor).title for table in tables if factor in table.names), factor.replace("_", " "))
    return title[0].lower() + title[1:]


@cache
def _known(column: str) -> frozenset[str]:
    return frozenset(contract(CODED[column]).field(column).words) if column in CODED else frozenset()


def spoken(column: str, text: str) -> str:
    """Return the text of a cell as it is shown. Coded words lose their underscores, a blank is said to be one."""
    if not text.strip():
        return BLANK.get(column, NOT_NOTED)
    if column in ("of", "measure"):
        return "BE" if text == "be" else text.replace("_", " ")
    if column == "factor":
        return factor_name(text)
    if column == "wait":
        return WAITS.get(text, text.replace("_", " "))
    coded = text in _known(column) or (column == "cause" and CAUSE.fullmatch(text))
    return visible(text.replace("_", " ") if coded else text)


def visible(text: str) -> str:
    """Return a text that can be shown safely.

    Without marks of direction, with a space or a sign for each control character.
    """
    # Marks of direction and control characters are not printable: hardly any text has to be looked at sign by sign.
    if text.isprintable():
        return text
    plain = DIRECTION.sub("", text)
    return "".join(_shown(sign) for sign in plain)


def _shown(sign: str) -> str:
    if sign in "\t\n\r\x0b\x0c\x85\u2028\u2029":
        return " "
    return "\ufffd" if unicodedata.category(sign) in ("Cc", "Cs") else sign


def isolated(text: str) -> str:
    """Return a name that does not turn the direction of the text around it, where no markup keeps it apart."""
    turns = not text.isascii() and any(unicodedata.bidirectional(sign) in ("R", "AL") for sign in text)
    return f"\u2068{text}\u2069" if turns else text
