"""Cells of the grower's own: the marks and the order of dates that they leave no doubt of, and what is in doubt."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field

from schemas.cell_format import APOSTROPHE, BLANK_WORDS, DATE_ORDERS, NO_BREAK

# Stands for the decimal mark of numbers that a workbook holds as numbers: they are written with the farm's.
NEUTRAL = "\u2396"
MARKS = rf"\d.,'{APOSTROPHE} {NO_BREAK}{NEUTRAL}"
# The digit is looked for ahead, so that a cell of a hundred thousand digits and a letter takes no longer than that.
NUMBER = re.compile(rf"[+-]?(?=\D*\d)[{MARKS}]+")
ISO = re.compile(r"\d{4}-\d{2}-\d{2}([T ].*)?")
YEAR_LAST = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-](\d{4}|\d{2})( .*)?")
YEAR_FIRST = re.compile(r"\d{4}[./-](\d{1,2})[./-](\d{1,2})( .*)?")


def looks_number(cell: str) -> bool:
    """Whether it is a number, whatever its marks."""
    return NUMBER.fullmatch(cell) is not None


def looks_date(cell: str) -> bool:
    """Whether it is a date in any order that can be read."""
    return any(pattern.fullmatch(cell) for pattern in (ISO, YEAR_LAST, YEAR_FIRST))


def filled(cells: Iterable[str | None]) -> list[str]:
    """Return the cells that say anything."""
    return [cell for cell in cells if cell is not None and cell not in BLANK_WORDS]


@dataclass(frozen=True)
class InferredSetting:
    """What the cells show of a setting. `value`: None where they leave it open; `because`: the cell that shows it;
    `doubt`: why it is open although there are cells that need it; `between`: what it may be then, where not all.
    """

    value: str | None = None
    because: str = ""
    doubt: str = ""
    between: tuple[str, ...] = ()


@dataclass(frozen=True)
class InferredMarks:
    """The decimal mark and the mark of thousands."""

    decimal: InferredSetting = field(default_factory=InferredSetting)
    thousands: InferredSetting = field(default_factory=InferredSetting)


def infer_marks(cells: Iterable[tuple[str, str]], known: str | None = None) -> InferredMarks:
    """Return the marks with which these numbers are written. `cells`: where each stands, and its text; `known`: the
    decimal mark, where the grower named it.
    """
    decimals: dict[str, str] = {}
    thousands: dict[str, str] = {}
    unclear: dict[str, str] = {}
    for where, cell in cells:
        if NEUTRAL not in cell and NUMBER.fullmatch(cell):
            _collect_marks(cell, f'"{cell}" in {where}', decimals, thousands, unclear)
    if len(decimals) > 1:
        doubt = f"{' and '.join(decimals.values())} have different decimal marks"
        return InferredMarks(InferredSetting(doubt=doubt))
    decimal = known or next(iter(decimals), None)
    # A comma that parts thousands for sure leaves only the point as decimal mark, and the other way round.
    for mark, other in ((",", "."), (".", ",")):
        if decimal is None and mark in thousands:
            decimal = other
    found = InferredSetting(
        decimal, decimals.get(decimal, thousands.get("." if decimal == "," else ",", "")) if decimal else ""
    )
    open_cells = {mark: where for mark, where in unclear.items() if mark not in thousands and mark != decimal}
    if decimal is None and open_cells:
        where = next(iter(open_cells.values()))
        return InferredMarks(InferredSetting(doubt=f"{where} may have decimals, or thousands"), _thousands(thousands))
    if open_cells:
        where = next(iter(open_cells.values()))
        return InferredMarks(
            found, InferredSetting(doubt=f"{where} may have a mark of thousands, or another decimal mark")
        )
    return InferredMarks(found, _thousands(thousands))


def _thousands(found: dict[str, str]) -> InferredSetting:
    if len(found) > 1:
        return InferredSetting(doubt=f"{' and '.join(found.values())} have different marks of thousands")
    return InferredSetting(*next(iter(found.items()))) if found else InferredSetting()


def _collect_marks(
    cell: str, where: str, decimals: dict[str, str], thousands: dict[str, str], unclear: dict[str, str]
) -> None:
    """Add what one number shows for sure."""
    plain = re.sub(f"[{NO_BREAK}]", " ", cell.lstrip("+-")).replace(APOSTROPHE, "'")
    marks = re.findall(r"[^\d]", plain)
    grouped = r"\d{1,3}(%s\d{3})+"
    for mark in dict.fromkeys(marks[:-1] if len(set(marks)) > 1 or len(marks) == 1 else marks):
        if re.match(grouped % re.escape(mark), plain):
            thousands.setdefault(mark, where)
    if not marks:
        return
    last = marks[-1]
    if last in " '":
        if re.fullmatch(grouped % last, plain):
            thousands.setdefault(last, where)
    elif marks.count(last) == 1 and (len(set(marks)) > 1 or not re.fullmatch(r"[1-9]\d{0,2}[.,]\d{3}", plain)):
        decimals.setdefault(last, where)
    elif len(marks) == 1:
        unclear.setdefault(last, where)


def infer_date_order(cells: Iterable[tuple[str, str]]) -> InferredSetting:
    """Return the order of the parts of these dates. `cells`: where each stands, and its text."""
    found: dict[str, str] = {}
    open_at = ""
    for where, cell in cells:
        last, first = YEAR_LAST.fullmatch(cell), YEAR_FIRST.fullmatch(cell)
        one, two = (int(last[1]), int(last[2])) if last else (0, 0)
        if first and not ISO.fullmatch(cell):
            found.setdefault("year_month_day", f'"{cell}" in {where}')
        elif one > 12 >= two:
            found.setdefault("day_month_year", f'"{cell}" in {where}')
        elif two > 12 >= one:
            found.setdefault("month_day_year", f'"{cell}" in {where}')
        elif last and not open_at:
            open_at = f'"{cell}" in {where}'
    if len(found) > 1:
        return InferredSetting(doubt=f"{' and '.join(found.values())} are written in different orders")
    if found:
        order, where = next(iter(found.items()))
        if order == "year_month_day" and open_at:
            return InferredSetting(doubt=f"{where} and {open_at} are written in different orders")
        return InferredSetting(order, where)
    if not open_at:
        return InferredSetting()
    return InferredSetting(
        doubt=f"{open_at} can be read as two dates, and no other tells more", between=DATE_ORDERS[:2]
    )
