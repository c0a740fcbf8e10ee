"""What stands in a file, read by Python's csv module and judged cell by cell with Decimal and date, from what the
contracts and farm.toml say and not from the code: what the fuzz tests hold the program against.
"""

from __future__ import annotations

import csv
import io
import math
import re
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

from schemas.contract import Contract, Field, contract

# Unicode's property White_Space (PropList.txt). str.strip() would also take the four information separators.
WHITE = "\t\n\v\f\r \x85\xa0\u1680\u2028\u2029\u202f\u205f\u3000" + "".join(map(chr, range(0x2000, 0x200B)))
NO_BREAK = "\u00a0\u2009\u202f"
FORMULA_MARKS = tuple("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20")
BLANK_WORDS = ("-", "\u2013", "\u2014", "N/A", "n/a", "#N/A", "NA", "n.a.")
# International yard and pound agreement 1959; US gallon: 231 cubic inches (NIST Handbook 44, appendix C).
PER_UNIT = {
    **{"g": Fraction(1), "kg": Fraction(1000), "oz": Fraction("28.349523125"), "lb": Fraction("453.59237")},
    **{"L": Fraction(1), "US gal": Fraction("3.785411784")},
}
TIME = r"\d{2}:\d{2}(:\d{2}(\.\d+)?)?(Z|[+-]\d{2}:\d{2})?"
CLOCK = r"( +\d{1,2}:\d{2}(:\d{2})?( ?[AaPp][Mm])?)?"


@dataclass(frozen=True)
class Own:
    """What farm.toml says of how the files are written. `headings`: per table, our column and its unit by heading."""

    decimal_mark: str = "."
    thousands_mark: str = ""
    date_order: str = ""
    blank_words: tuple[str, ...] = BLANK_WORDS
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    headings: Mapping[str, Mapping[str, tuple[str, str | None]]] = field(default_factory=dict)

    def meant(self, table: str, heading: str) -> tuple[str, str | None]:
        """Which column of ours is it, and in which unit, whatever the case and spaces of the farm's own heading? One of
        nobody's stands for itself.
        """
        own = {" ".join(name.split()).casefold(): told for name, told in self.headings.get(table, {}).items()}
        return own.get(" ".join(heading.split()).casefold(), (heading, None))

    def settings(self) -> dict[str, Any]:
        """As farm.toml has it."""
        told = {name: value for name, value in vars(self).items() if name not in ("headings", "blank_words")}
        headings = {
            table: {
                name: {"column": column} | ({"unit": unit} if unit else {}) for name, (column, unit) in mapping.items()
            }
            for table, mapping in self.headings.items()
        }
        return {**told, "blank_words": list(self.blank_words), "headings": headings}


@dataclass(frozen=True)
class Plain:
    """A file as a spreadsheet shows it: its header, and the cells of the rows below by their number. `guarded`: an
    apostrophe may keep a cell from running as a formula, as in CSV files and not in workbooks.
    """

    header: tuple[str, ...]
    rows: Mapping[int, Sequence[str]]
    guarded: bool = True

    def cell(self, row: int, at: int) -> str:
        """What does this cell say? "" for blank or absent."""
        cells = self.rows[row]
        if at >= len(cells):
            return ""
        return said(cells[at]) if self.guarded else cells[at].strip(WHITE)

    def blank(self, row: int) -> bool:
        """Does no cell of the row say anything?"""
        return not any(self.cell(row, at) for at in range(len(self.rows[row])))

    @property
    def filled(self) -> list[int]:
        """Which rows are not blank?"""
        return [row for row in self.rows if not self.blank(row)]


def said(cell: str) -> str:
    """What does a cell say, without white space around it and the apostrophe that keeps a formula from running?"""
    text = cell.strip(WHITE)
    if text[:1] == "'" and text.lstrip("'").startswith(FORMULA_MARKS):
        text = text[1:].strip(WHITE)
    return text


def _same_text(right: str, value: str) -> bool:
    """Are they equal, but for apostrophes that keep what follows from running as a formula within the text?"""
    bare = [re.sub("'+(?=[=+@\uff1d\uff0b\uff0d\uff20-])", "", text) for text in (right, value)]
    return value == value.strip(WHITE) and (right == value or ("'" in right and bare[0] == bare[1]))


def plainly_read(data: bytes, separator: str) -> Plain | None:
    """The file as the csv module reads it; None for what it calls no CSV file."""
    text = data.decode("utf-8").removeprefix("\ufeff")
    if "\n" not in text:
        text = text.replace("\r", "\n")
    text = re.sub(r"\Asep=[,;\t] *(\r\n|\r|\n)", "", text, flags=re.IGNORECASE)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), strict=True, delimiter=separator))
    except csv.Error:
        return None
    first = next(at for at, cells in enumerate(rows) if any(cell.strip() for cell in cells))
    below = dict(enumerate(rows[first + 1 :], start=first + 2))
    return Plain(tuple(cell.strip() for cell in rows[first]), below)


@dataclass(frozen=True)
class Verdict:
    """What a cell holds: `blank` (True), or `value` (None: nothing of its column's type), or, where rounding decides,
    `either` its value or none. `exact` before rounding.
    """

    blank: bool = False
    value: Any = None
    either: bool = False


WRONG, BLANK = Verdict(), Verdict(blank=True)


def verdict(text: str, each: Field, own: Own, unit: str | None = None) -> Verdict:
    """What does this trimmed text hold as a cell of this column?"""
    if not text or text in own.blank_words:
        return BLANK
    if each.type == "date":
        return _bounded(_day(text, own.date_order), each)
    if each.type == "integer":
        plain = None if own.decimal_mark in text else _plain_number(text, own)
        whole = int(plain.partition(".")[0]) if plain and sum(map(str.isdigit, text)) <= 9 else None
        return _bounded(whole, each)
    if each.type == "number":
        return _number(text, each, own, unit)
    return Verdict(value=_word(text, each, own)) if each.words else Verdict(value=text)


def _word(text: str, each: Field, own: Own) -> str | None:
    folded = re.sub(r"[\s-]+", "_", text.lower())
    known = {**{word: word for word in each.words}, **each.synonyms, **own.words.get(each.name, {})}
    return known.get(folded, text if "enum" in each.expect else None)


def _day(text: str, order: str) -> date | None:
    iso = re.fullmatch(rf"([0-9]{{4}})-([0-9]{{2}})-([0-9]{{2}})([T ]{TIME})?", text)
    if iso:
        return _date(*map(int, iso.groups()[:3]))
    if order == "year_month_day":
        told = re.fullmatch(rf"([0-9]{{4}})[./-]([0-9]{{1,2}})[./-]([0-9]{{1,2}}){CLOCK}", text)
        return _date(*map(int, told.groups()[:3])) if told else None
    told = re.fullmatch(rf"([0-9]{{1,2}})[./-]([0-9]{{1,2}})[./-]([0-9]{{4}}|[0-9]{{2}}){CLOCK}", text)
    if not told or not order:
        return None
    first, second, year = map(int, told.groups()[:3])
    day, month = (first, second) if order == "day_month_year" else (second, first)
    return _date(year if year > 99 or len(told[3]) == 4 else 2000 + year, month, day)


def _date(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


def _number(text: str, each: Field, own: Own, unit: str | None) -> Verdict:
    plain = _plain_number(text, own)
    if plain is None:
        return WRONG
    exact = _converted(Fraction(Decimal(plain)), each, unit)
    if each.decimals is not None:
        half = Fraction(1, 2 * 10**each.decimals)
        if abs(exact) >= 10 ** (18 - each.decimals) - half:
            return Verdict(value=exact, either=True) if abs(exact) < 10 ** (18 - each.decimals) else WRONG
        return _bounded(exact, each, half)
    if abs(exact) > Fraction(sys.float_info.max):
        return WRONG
    if unit:
        # Exact in the ledger's digits but not in ours: the bound itself may fall on either side.
        return _bounded(exact, each, Fraction(1, 10**9))
    return _bounded(float(plain), each)


def _plain_number(text: str, own: Own) -> str | None:
    """The number as Python writes it; None where it is not written in the farm's manner."""
    sign, rest = (text[0], text[1:]) if text[0] in "+-" else ("", text)
    if own.thousands_mark or own.decimal_mark != ".":
        for mark in NO_BREAK:
            rest = rest.replace(mark, " ")
        rest = rest.replace("\u2019", "'")
    whole, point, fraction = rest.partition(own.decimal_mark)
    if own.thousands_mark and own.thousands_mark in whole:
        first, *groups = whole.split(own.thousands_mark)
        if not (1 <= len(first) <= 3 and all(len(group) == 3 for group in groups)):
            return None
        whole = first + "".join(groups)
    digits = whole + fraction
    if not digits.isascii() or not digits.isdigit() or (not whole and not point):
        return None
    return f"{sign}{whole or '0'}.{fraction or '0'}"


def _converted(number: Fraction, each: Field, unit: str | None) -> Fraction:
    if unit is None or unit == each.unit:
        return number
    if each.unit == "C":
        return (number - 32) * 5 / 9
    return number * PER_UNIT[unit] / PER_UNIT[str(each.unit)]


def _bounded(value: Any, each: Field, within: Fraction | None = None) -> Verdict:
    """Nothing where the value breaks a constraint; either where it is so near that rounding decides (`within`)."""
    if value is None:
        return WRONG
    breaks = {
        "minimum": lambda bound: value < bound,
        "exclusiveMinimum": lambda bound: value <= bound,
        "maximum": lambda bound: value > bound,
        "exclusiveMaximum": lambda bound: value >= bound,
    }
    bounds = {rule: _bound(each, rule) for rule in breaks if rule in each.constraints}
    if within is not None and any(abs(value - bound) <= within for bound in bounds.values()):
        return Verdict(value=value, either=True)
    return WRONG if any(breaks[rule](bound) for rule, bound in bounds.items()) else Verdict(value=value)


def _bound(each: Field, rule: str) -> Any:
    bound = each.constraints[rule]
    return date.fromisoformat(bound) if each.type == "date" else bound


def columns_of(table: str, plain: Plain, own: Own) -> dict[str, tuple[int, str | None]]:
    """Where does each column of ours stand in the file (from 0), and in which unit?"""
    meant = [own.meant(table, heading) for heading in plain.header]
    return {column: (at, unit) for at, (column, unit) in enumerate(meant) if column in contract(table).names}


Found = Mapping[tuple[int, str], set[str]]


def faults(table: Contract, plain: Plain, own: Own, row: int, values: Mapping[str, Any], found: Found) -> list[str]:
    """Where do the values of one row differ from its cells without a finding that says so? `found`: the rules told of
    each row and column.
    """
    places = columns_of(table.name, plain, own)
    wrong = []
    for name, value in values.items():
        each = table.field(name)
        at, unit = places.get(name, (len(plain.rows[row]), None))
        text = plain.cell(row, at)
        right = verdict(text, each, own, unit)
        rules = found.get((row, name), set())
        if not _told(text, right, value, each, rules, unit):
            wrong.append(f"row {row}, {name}: {text!r} became {value!r}, told {sorted(rules)}")
    return wrong


def _told(text: str, right: Verdict, value: Any, each: Field, rules: set[str], unit: str | None) -> bool:
    if right.blank:
        needed = {"required"} if each.required else set()
        needed |= {"blank_word"} if text else set()
        return value is None and needed <= rules
    if value is None:
        return bool(rules) and (right.either or right.value is None)
    if right.value is None:
        return False
    if each.type == "number":
        return _same_number(right.value, value, each, rules, unit)
    if each.type == "string":
        return _same_text(right.value, value)
    return bool(type(value) is type(right.value) and value == right.value)


def _same_number(right: Any, value: Any, each: Field, rules: set[str], unit: str | None) -> bool:
    if each.decimals is None:
        return bool(math.isclose(float(right), value, rel_tol=1e-12) if unit else right == value)
    apart = abs(Fraction(value) - right)
    return apart <= Fraction(1, 2 * 10**each.decimals) and (apart == 0 or bool(unit) or "too_fine" in rules)
