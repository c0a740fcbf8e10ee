"""How a farm writes its cells: decimal mark, dates, its own words, its own units, as farm.toml has it.

Nothing here is guessed: a cell that is written otherwise is a finding, never read another way.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction

# What spreadsheets and people write where there is no value: common practice, no source.
BLANK_WORDS = ("-", "\u2013", "\u2014", "N/A", "n/a", "#N/A", "NA", "n.a.")
# Spaces that do not break, which spreadsheets put between thousands: U+00A0, U+2009, U+202F.
NO_BREAK = "\u00a0\u2009\u202f"
# How spreadsheets print the ' between thousands.
APOSTROPHE = "\u2019"
# The orders of day, month and year that a date may be written in, beside year-month-day (ISO 8601), which always works.
DATE_ORDERS = ("day_month_year", "month_day_year", "year_month_day")


@dataclass(frozen=True)
class Conversion:
    """From the unit that a column is written in to the contract's: (number - zero) x factor, exactly. `zero`: where the
    contract's zero stands in this unit.
    """

    unit: str
    factor: Fraction
    zero: int = 0

    def convert(self, number: Decimal) -> Decimal:
        """Return this number in the contract's unit, to 28 digits where it has more."""
        return (number - self.zero) * self.factor.numerator / self.factor.denominator

    def revert(self, number: Decimal) -> Decimal:
        """Return this number of the contract's unit in the unit that the column is written in, to 28 digits."""
        return number * self.factor.denominator / self.factor.numerator + self.zero


@dataclass(frozen=True)
class CellFormat:
    """How cells are written. `words`: per coded column, the farm's words (lower case, one _ for spaces and hyphens) and
    the contract's, and per column of free text one spelling for another; `blanks`: per column of text, what a blank
    cell stands for; `conversions`: per column written in another unit; `currency`: the farm's, whose sign may
    stand beside amounts of money.
    """

    decimal_mark: str = "."
    thousands_mark: str = ""
    date_order: str = ""
    blank_words: tuple[str, ...] = BLANK_WORDS
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    blanks: Mapping[str, str] = field(default_factory=dict)
    conversions: Mapping[str, Conversion] = field(default_factory=dict)
    currency: str = ""

    @property
    def plain_numbers(self) -> bool:
        """Whether numbers are written as programs write them: a decimal point, and no mark of thousands."""
        return self.decimal_mark == "." and not self.thousands_mark

    @property
    def number_pattern(self) -> str:
        """A regular expression of the texts that are numbers. The digits of other scripts are none to the ledger."""
        mark = "[.]" if self.decimal_mark == "." else self.decimal_mark
        plain = rf"[0-9]+{mark}?[0-9]*|{mark}[0-9]+"
        if not self.thousands_mark:
            return rf"^[+-]?({plain})$"
        return rf"^[+-]?({plain}|[0-9]{{1,3}}([{self.thousands_mark}][0-9]{{3}})+({mark}[0-9]*)?)$"

    @property
    def foreign_number_pattern(self) -> str:
        """A regular expression of the texts that are numbers with marks other than the farm's."""
        marks = rf".,'{APOSTROPHE} {NO_BREAK}"
        return rf"^[+-]?[0-9][0-9{marks}]*$" if self.plain_numbers else rf"^[+-]?[0-9.,][0-9{marks}]*$"


PLAIN = CellFormat()
