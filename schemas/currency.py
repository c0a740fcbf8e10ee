"""Currencies as people write them beside an amount: which signs and codes are one, and amounts without them."""

from __future__ import annotations

import re

# Signs, and the codes (ISO 4217) of the currencies that are written with them. From memory, the usual ones.
SIGNS = {
    "\u20ac": ("EUR",),
    "\u00a3": ("GBP",),
    "$": ("USD", "CAD", "AUD", "NZD", "MXN", "ARS", "CLP", "COP", "SGD", "HKD"),
    "US$": ("USD",),
    "C$": ("CAD",),
    "A$": ("AUD",),
    "NZ$": ("NZD",),
    "R$": ("BRL",),
    "\u00a5": ("JPY", "CNY"),
    "\u20b9": ("INR",),
    "\u20a9": ("KRW",),
    "\u20aa": ("ILS",),
    "\u20ba": ("TRY",),
    "\u20b4": ("UAH",),
    "\u20bd": ("RUB",),
    "\u20ab": ("VND",),
    "\u20b1": ("PHP",),
    "kr": ("SEK", "NOK", "DKK", "ISK"),
    "z\u0142": ("PLN",),
    "K\u010d": ("CZK",),
    "Ft": ("HUF",),
    "Fr.": ("CHF",),
    "Fr": ("CHF",),
    "R": ("ZAR",),
    "S/": ("PEN",),
}
# Words that people write beside amounts of the first of these.
NAMED = {"EUR": ("euro", "euros"), "USD": ("dollar", "dollars"), "GBP": ("pound sterling",)}
PER_KG = r"(?:\s*(?:/|per|pro|par|por)\s*(?:1\s*)?kg)?"


def written_so(currency: str) -> tuple[str, ...]:
    """Return how the farm's currency may be written beside an amount: as farm.toml has it, by its sign, by its code."""
    own = currency.strip()
    if not own:
        return ()
    codes = {own.upper()} if len(own) == 3 and own.isalpha() else set()
    of_sign = next((known for sign, known in SIGNS.items() if sign.casefold() == own.casefold()), ())
    codes |= {*of_sign} if len(of_sign) == 1 else set()
    signs = [sign for sign, known in SIGNS.items() if codes & {*known}]
    return tuple(
        dict.fromkeys([own, *sorted(codes), *signs, *(word for code in codes for word in NAMED.get(code, ()))])
    )


def known_marks() -> tuple[str, ...]:
    """Return every sign, code and word of a currency that is known."""
    codes = [code for known in SIGNS.values() for code in known]
    return tuple(dict.fromkeys([*SIGNS, *codes, *(word for words in NAMED.values() for word in words)]))


def one_of(marks: tuple[str, ...]) -> str:
    """Return a regular expression of any of these marks, the longest first, whatever its case."""
    return "(?i:" + "|".join(re.escape(mark) for mark in sorted(marks, key=len, reverse=True)) + ")"


def amount_with(marks: tuple[str, ...], a_kg: bool) -> str:
    """Return a regular expression of an amount with one of these marks before or behind it; its groups are the sign
    before, the digits behind a mark, and the digits before one. a_kg: it may say that it is of a kilogram.
    """
    digits, per = r"[0-9.,][^A-Za-z/$]*?", PER_KG if a_kg else ""
    mark = one_of(marks)
    return rf"^([+-]?)\s*(?:{mark}\s*({digits})|({digits})\s*{mark}){per}\s*$"


def mark_in(text: str) -> str | None:
    """Return the mark of a currency that stands beside the number of this text, as it is written; None for none."""
    found = AMOUNT.match(text.strip())
    return (found["before"] or found["behind"]) if found else None


def own_amount(text: str, currency: str, a_kg: bool) -> str | None:
    """Return the number of this amount, which may stand with a mark of the farm's currency, and say that it is of a
    kilogram (a_kg). None where another mark stands there, or one that farm.toml does not tell.
    """
    if mark_in(text) is None:
        return text
    found = re.match(amount_with(marks, a_kg), text.strip()) if (marks := written_so(currency)) else None
    return "".join(part for part in found.groups() if part) if found else None


def without_mark(text: str) -> str:
    """Return the number of this text without the mark of a currency that stands beside it; else the text."""
    found = AMOUNT.match(text.strip())
    return (found["right"] or found["left"]).strip() if found else text


_ANY = one_of(known_marks())
AMOUNT = re.compile(
    rf"[+-]?\s*(?:(?P<before>{_ANY})\s*(?P<right>[0-9.,][^A-Za-z/$]*?)|(?P<left>[0-9.,][^A-Za-z/$]*?)\s*(?P<behind>{_ANY}))"
    rf"(?:\s*(?:/|per|pro|par|por)\s*(?:1\s*)?(?P<per>[^\W\d_]+))?\s*"
)
