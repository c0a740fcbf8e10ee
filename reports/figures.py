"""Figures: numbers on the page that know which cell of which result table they show, or what they were made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

from reports.month import Month
from reports.words import day_name, isolated, short_day, visible
from schemas.contract import BATCHES, Field, contract
from schemas.result_rows import number_if_known, number_of

# A mass is shown in kg everywhere on the page. unit of the contract: (unit shown, divisor, decimals)
SHOWN_UNITS: Mapping[str | None, tuple[str, float, int]] = {
    "g": ("kg", 1000, 2),
    "%": ("%", 1, 1),
    "d": ("d", 1, 1),
    "kg": ("kg", 1, 2),
    "g/d": ("g/d", 1, 1),
    "currency": ("", 1, 2),
    "currency/d": ("a day", 1, 2),
    "currency/kg": ("a kg", 1, 2),
    "points of BE": ("points", 1, 1),
    "points^2": ("points\u00b2", 1, 1),
    "that of the column unit": ("", 1, 1),
    None: ("", 1, 2),
}
NO_BREAK = "\u00a0"
NOTHING = "\u2013"


@dataclass(frozen=True)
class Figure:
    """A number as shown (`text`, `unit`) and as it is (`value`, in the unit of its contract).

    `formula` is "cell" (value is that cell), or difference, change_pct, sum, count, count_positive; `inputs` names the
    cells as table/row/column, with * for all rows.
    """

    text: str
    value: float | int | None
    inputs: tuple[str, ...]
    formula: str = "cell"
    unit: str = ""

    @property
    def place(self) -> tuple[str, str, str]:
        """The table, row and column that the first input names."""
        table, row, column = self.inputs[0].split("/")
        return table, row, column

    @property
    def full(self) -> str:
        """The figure with its unit, as it is read aloud."""
        return f"{self.text}{NO_BREAK}{self.unit}" if self.unit else self.text


@dataclass(frozen=True)
class Name:
    """Text that comes from a cell: shown apart from the sentence around it, never as markup."""

    text: str


# Longer names are cut short in sentences and keys; the tables have them in full. Our choice, no source.
LONGEST_NAME = 48


def named(text: str) -> Name:
    """Return a name for a sentence or a key, cut short where a long one would drown the rest."""
    return Name(text if len(text) <= LONGEST_NAME else f"{text[: LONGEST_NAME - 1]}\u2026")


@dataclass(frozen=True)
class Day:
    """A day of the calendar."""

    day: date
    short: bool = False

    @property
    def text(self) -> str:
        """The day in words."""
        return f"{short_day(self.day)} {self.day.year}" if self.short else day_name(self.day)


Part = str | Figure | Name | Day
Sentence = tuple[Part, ...]


def plain(sentence: Sentence) -> str:
    """Return a sentence as text alone, for an alternative text."""
    return "".join(_plain(part) for part in sentence)


def _plain(part: Part) -> str:
    if isinstance(part, Figure):
        return part.full
    return isolated(visible(part.text)) if isinstance(part, Name) else part if isinstance(part, str) else part.text


def field_of(table: str, column: str) -> Field:
    """Return the field that describes this column.

    Columns that a result was grouped by are described with the batches.
    """
    own = contract(table)
    return own.field(column) if column in own.names else contract(BATCHES).field(column)


def shown_unit(each: Field) -> str:
    """Return the unit in which the column is shown."""
    return SHOWN_UNITS[each.unit][0]


def number(value: float | int, each: Field) -> str:
    """Return a value of this column as text, in the unit shown."""
    _, divisor, decimals = SHOWN_UNITS[each.unit]
    if each.type == "integer" or (each.unit == "d" and value == int(value)):
        decimals = 0
    rounded = round(value / divisor, decimals) + 0.0  # no -0.0
    return f"{rounded:,.{decimals}f}".replace(",", "\u202f")


def cell(month: Month, table: str, row: int, column: str) -> Figure:
    """Return the number of this cell, shown without its unit, as in a table."""
    value = number_if_known(month.rows(table)[row], column)
    text = NOTHING if value is None else number(value, field_of(table, column))
    return Figure(text, value, (f"{table}/{row}/{column}",))


def measured(month: Month, table: str, row: int, column: str) -> Figure:
    """Return the number of this cell, shown with its unit, as in a sentence."""
    return replace(cell(month, table, row, column), unit=shown_unit(field_of(table, column)))


def without_sign(figure: Figure) -> Figure:
    """Return a difference as words like more and less tell it: shown without its sign."""
    return replace(figure, text=figure.text.lstrip("-"))


def not_nothing(figure: Figure) -> Figure:
    """Return a figure that is rounded to 0.0 with its first digit, 0.05: a limit beside nothing is no nothing."""
    if not figure.value or figure.text.strip("-0."):
        return figure
    return replace(figure, text=f"{abs(figure.value):.1g}")


def within(month: Month, table: str, row: int, low: str, high: str) -> Sentence:
    """Return the limits of a figure, " (4 to 9)"; nothing where one of them is missing."""
    ends = cell(month, table, row, low), cell(month, table, row, high)
    if any(each.value is None for each in ends):
        return ()
    return (" (", ends[0], " to ", ends[1], ")")


DIGITS_THAT_MATTER = 3


def brief(sentence: Sentence) -> Sentence:
    """Return a sentence whose figures have three digits, as one says them; the tables have more."""
    return tuple(shortened(part) if isinstance(part, Figure) else part for part in sentence)


def shortened(figure: Figure) -> Figure:
    """Return the figure with three digits, but with all that stand before the point; nothing is 0 without a point."""
    if not figure.value and figure.value is not None:
        return replace(figure, text="0")
    whole, point, decimals = figure.text.lstrip("-").replace("\u202f", "").partition(".")
    places = max(0, DIGITS_THAT_MATTER - len(whole.lstrip("0")))
    if not point or figure.value is None or places >= len(decimals):
        return figure
    table, _, column = figure.place
    value = figure.value / SHOWN_UNITS[field_of(table, column).unit][1]
    if not figure.text.startswith("-"):
        value = abs(value)
    return replace(figure, text=f"{round(value, places) + 0.0:,.{places}f}".replace(",", "\u202f"))


def count(month: Month, column: str) -> Figure:
    """Return one of the counts beside the result tables."""
    value = month.counts[column]
    return Figure(str(value), value, (f"month/0/{column}",))


def difference(left: Figure, right: Figure) -> Figure:
    """Return how much the left is more than the right. Shown without its sign."""
    each = field_of(left.place[0], left.place[2])
    value = _value(left) - _value(right)
    return Figure(number(abs(value), each), value, (*left.inputs, *right.inputs), "difference", left.unit)


def change(now: Figure, then: Figure) -> Figure:
    """Return by how many per cent it is more now than then. Shown without its sign."""
    value = 100 * (_value(now) - _value(then)) / _value(then)
    return Figure(f"{abs(value):.0f}", value, (*now.inputs, *then.inputs), "change_pct", "%")


def total(month: Month, table: str, column: str) -> Figure:
    """Return what all rows of the column add up to."""
    value = sum(number_of(row, column) for row in month.rows(table))
    return Figure(number(value, field_of(table, column)), value, (f"{table}/*/{column}",), "sum")


def rows_of(month: Month, table: str) -> Figure:
    """Return how many rows the table has."""
    value = len(month.rows(table))
    return Figure(str(value), value, (f"{table}/*/*",), "count")


def positive(month: Month, table: str, column: str) -> Figure:
    """Return in how many rows of the table the column is true, or above 0."""
    value = sum(1 for row in month.rows(table) if row[column])
    return Figure(str(value), value, (f"{table}/*/{column}",), "count_positive")


def _value(figure: Figure) -> float:
    if figure.value is None:
        raise ValueError(f"{figure.inputs} has no value")
    return float(figure.value)


def several(figure: Figure, one: str, more: str | None = None) -> tuple[Part, ...]:
    """Return a number of things in words: 1 container, 2 containers."""
    return (figure, f" {one}" if figure.value == 1 else f" {more or one + 's'}")
