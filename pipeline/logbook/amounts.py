"""Amounts as a grower types them: `412`, `0.41 kg`, `1lb 2oz`, `20 L`; and the same amounts in the unit of a column."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal

from pipeline.farm.units import conversion, units_of
from schemas.cell_format import CellFormat
from schemas.finding import WrongRequest

# What people type for each unit; compared without regard to case.
TYPED = {
    "g": "g", "gr": "g", "gram": "g", "grams": "g",
    "kg": "kg", "kgs": "kg", "kilo": "kg", "kilos": "kg",
    "lb": "lb", "lbs": "lb", "pound": "lb", "pounds": "lb",
    "oz": "oz", "ounce": "oz", "ounces": "oz",
    "l": "L", "litre": "L", "litres": "L", "liter": "L", "liters": "L",
    "gal": "US gal", "us gal": "US gal", "gallon": "US gal", "gallons": "US gal",
}  # fmt: skip
# Two parts make one amount only where the second is the smaller unit of the same kind.
PAIRS = {("lb", "oz"), ("kg", "g")}
# A mass is kept to a thousandth of a gram; in another unit this many decimals tell which thousandth it is.
DECIMALS = {"g": 3, "oz": 5, "lb": 6, "kg": 6, "L": 6, "US gal": 6, "C": 6, "F": 6}
# The ledger holds masses below 10^15 g.
WHOLE_DIGITS = 15
# More than one weighing can be: our choice, no source.
MOST = {"g": Decimal(1_000_000), "kg": Decimal(1_000_000), "L": Decimal(1_000_000)}


@dataclass(frozen=True)
class Amount:
    """What was typed, in the contract's unit: `exact`, `value` as finely as the ledger keeps it, `typed` as words."""

    exact: Decimal
    value: Decimal
    typed: str

    def less(self, other: Amount) -> Amount:
        """Return what remains when `other` is taken off."""
        return Amount(self.exact - other.exact, self.value - other.value, f"{self.typed} - {other.typed}")


def in_unit(value: Decimal, unit: str, ours: str) -> Decimal:
    """Return this value of the contract's unit `ours` in `unit`, so finely that reading it gives the same."""
    if unit in units_of(ours):
        value = conversion(unit, ours).revert(value)
    return rounded(value, DECIMALS.get(unit, 6))


def in_ours(number: Decimal, unit: str, ours: str) -> Decimal:
    """Return this number of `unit` in the contract's unit `ours`, exactly."""
    return conversion(unit, ours).convert(number) if unit in units_of(ours) else number


def rounded(value: Decimal, decimals: int) -> Decimal:
    """Return the value with at most so many decimals, half to even, without zeros at the end."""
    return plain(value.quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_EVEN))


def plain(value: Decimal) -> Decimal:
    """Return the value without zeros at the end and without an exponent."""
    short = value.normalize()
    return short.quantize(Decimal(1)) if short == short.to_integral_value() else short


def translated(text: str, cell_format: CellFormat) -> str | None:
    """Return the number that is written here as programs write it; None where it is not written as the farm does."""
    plain_text = re.sub("[\u00a0\u2009\u202f]", " ", text.strip())
    if not re.match(cell_format.number_pattern, plain_text):
        return None
    plain_text = plain_text.replace(cell_format.thousands_mark, "") if cell_format.thousands_mark else plain_text
    return plain_text.replace(cell_format.decimal_mark, ".")


def number(text: str, cell_format: CellFormat) -> Decimal | None:
    """Return the number that is written here; None where it is none as the farm writes them, or too large a one."""
    digits = translated(text, cell_format)
    value = None if digits is None else Decimal(digits)
    return value if value is not None and value.adjusted() < WHOLE_DIGITS else None


def typed_number(text: str, cell_format: CellFormat) -> Decimal | None:
    """Return the number that is typed here, by a person and not in a file: with the other decimal mark too, where that
    leaves one reading. None for what is no number, or may be two.
    """
    plain_text = text.strip()
    other = re.fullmatch(r"([+-]?)(\d+)[.,](\d+)", plain_text, re.ASCII)
    # A mark between thousands has three digits behind it, and no 0 before it.
    if other and (len(other[3]) != 3 or other[2].startswith("0") or len(other[2]) > 3):
        plain_text = f"{other[1]}{other[2]}{cell_format.decimal_mark}{other[3]}"
    return number(plain_text, cell_format)


def two_readings(text: str, cell_format: CellFormat) -> str:
    """Return what is to be typed for a number like 1,234, which may be two; "" for any other text."""
    found = re.search(r"(\d{1,3})[.,](\d{3})(?!\d)", text, re.ASCII)
    if not found or found[0].startswith("0"):
        return ""
    whole, parted = f"{found[1]}{found[2]}", f"{found[1]}{cell_format.decimal_mark}{found[2]}"
    return f"{found[0]} may be {whole} or {parted}, for the decimal mark of this farm is {cell_format.decimal_mark}. "


def written(value: Decimal, cell_format: CellFormat) -> str:
    """Return this number as the farm writes it, without marks between thousands, which no reader needs."""
    return f"{plain(value):f}".replace(".", cell_format.decimal_mark)


def amount(what: str, text: str, ours: str, default: str, cell_format: CellFormat) -> Amount:
    """Return the amount that is typed here. `what` names it in messages; `default` is the unit of a number without one;
    `ours` the contract's. Raises WrongRequest for what is no amount, or not above 0.
    """
    parts = _parts(text, cell_format)
    if parts is None:
        raise WrongRequest(f"{what} {text}: {_why_not(text, ours, cell_format)}")
    known = units_of(ours)
    parts = [(number_, unit or default) for number_, unit in parts]
    foreign = next((unit for _, unit in parts if unit not in known), None)
    if foreign is not None:
        raise WrongRequest(f"{what} {text}: it cannot be in {foreign}. Write it in {', '.join(sorted(known))}.")
    exact = sum((in_ours(number_, unit, ours) for number_, unit in parts), Decimal(0))
    value = rounded(exact, DECIMALS[ours])
    if value <= 0:
        raise WrongRequest(f"{what} {text}: it must be more than 0. Weigh again.")
    if value > MOST[ours]:
        raise WrongRequest(f"{what} {text}: no scale goes that far. Weigh again.")
    shown = " ".join(f"{written(number_, cell_format)} {unit}" for number_, unit in parts)
    return Amount(exact, value, shown)


def _parts(text: str, cell_format: CellFormat) -> list[tuple[Decimal, str]] | None:
    """Return the numbers and units that stand here; None where anything else does."""
    found: list[tuple[Decimal, str]] = []
    pieces = re.findall(r"([^a-zA-Z]+)([a-zA-Z][a-zA-Z ]*)?", text.strip())
    if not pieces or "".join(a + b for a, b in pieces) != text.strip():
        return None
    for digits, word in pieces:
        value, unit = typed_number(digits, cell_format), TYPED.get(" ".join(word.split()).lower(), "") if word else ""
        if value is None or (word and not unit):
            return None
        found.append((value, unit))
    if len(found) == 1:
        return found
    pair = tuple(unit for _, unit in found)
    return found if pair in PAIRS and found[0][0] == found[0][0].to_integral_value() else None


def _why_not(text: str, ours: str, cell_format: CellFormat) -> str:
    shown = {"g": "412, 412g, 0.41 kg, 14.5oz, 1lb 2oz", "kg": "6.5, 6500g, 14 lb", "L": "20, 20 L, 5 gal"}[ours]
    shown = ", ".join(each.replace(".", cell_format.decimal_mark) for each in shown.split(", "))
    if two := two_readings(text, cell_format):
        return f"{two}Write it without the mark, or like {shown}."
    if text.strip().startswith("-"):
        return "it must be more than 0. Weigh again."
    return f"that is no amount. Write it like {shown}."
