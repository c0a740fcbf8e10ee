"""Headings of money: which currency they name, and what one price is for ("Price (EUR/kg)", "$ per lb")."""

from __future__ import annotations

import re
from dataclasses import dataclass

from pipeline.adopt.unit_words import UNITS
from pipeline.farm.units import units_of
from schemas.currency import known_marks
from schemas.trade_words import plain_word

LETTER = r"[^\W\d_]"
# Signs and codes in capitals; not those that may be something else in a heading, as R or Fr.
CLEAR = [mark for mark in known_marks() if len(mark) > 2 or not mark.isalpha()]
MARK = re.compile(rf"(?<!{LETTER})(?:{'|'.join(map(re.escape, sorted(CLEAR, key=len, reverse=True)))})(?!{LETTER})")
PER = re.compile(
    rf"(?:/|(?<!{LETTER})(?:per|each|pro|je|par|por|al|a|le)\s)\s*(?:1\s*)?({LETTER}+)|_per_({LETTER}+)$", re.IGNORECASE
)
# What a heading is that names nothing but a currency, or that and a unit.
PRICE, AMOUNT = "price", "amount"


@dataclass(frozen=True)
class MoneyHeading:
    """A heading of money without its currency and unit: `words`, in lower case; `mark`, the currency as it is written
    (None: none is named); `per`, the unit that one price is for, ours where it is one of ours (None: none is named).
    """

    words: str
    mark: str | None = None
    per: str | None = None


def parse_money_heading(heading: str) -> MoneyHeading:
    """Return what a heading says beside its currency and its unit."""
    text = heading
    per = next((each for each in PER.finditer(text) if _unit(each) in units_of("g")), None)
    if per:
        text = f"{text[: per.start()]} {text[per.end() :]}"
    mark = MARK.search(text)
    if mark:
        text = f"{text[: mark.start()]} {text[mark.end() :]}"
    words = re.sub(r"^in | in$", "", plain_word(text))
    if mark and not words:
        words = PRICE if per else AMOUNT
    return MoneyHeading(words, mark[0] if mark else None, _unit(per) if per else None)


def _unit(per: re.Match[str]) -> str | None:
    return UNITS.get((per[1] or per[2]).casefold())
