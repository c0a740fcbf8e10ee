"""Number formats of workbooks: a number is what its cell shows, in the unit that it shows."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from own_files import conventions, load, told, values, workbook

from pipeline.files.workbook_formats import Shown, shown_by

NAME = "harvests.xlsx"
DAY = date(2026, 5, 1)


def weighed(number: float, code: str, *more: tuple[float, str]) -> bytes:
    """A workbook of pickings whose weights have these formats."""

    def fill(sheet) -> None:  # type: ignore[no-untyped-def]
        for row, (_, each) in enumerate([(number, code), *more], start=2):
            sheet.cell(row, 2).number_format = each

    return workbook((DAY, number, "B1"), *((DAY, each, "B2") for each, _ in more), fill=fill)


@pytest.mark.parametrize(
    ("code", "number", "power", "unit"),
    [
        ("General", 5, 0, ""),
        ("#,##0.00", 5, 0, ""),
        ("0.00E+00", 5, 0, ""),
        ("# ?/?", 0.5, 0, ""),
        ('0.000" kg"', 0.411, 0, "kg"),
        ("0.0\\ \\o\\z", 14.5, 0, "oz"),
        ('General" g"', 5, 0, "g"),
        ("0,", 411000, -3, ""),
        ("#,##0,,", 4e6, -6, ""),
        ('0.0,"kg"', 411, -3, "kg"),
        ("0,.00", 411, -3, ""),
        ("0%", 0.41, 2, "%"),
        ("0.0 %", 0.41, 2, "%"),
        ('0.0" kg";-0.0" kg";"none"', 5, 0, "kg"),
        ('0.0" kg";-0.0" kg";"none"', 0, 0, ""),
        ('0" g";-0" mg"', -5, 0, "mg"),
        ('[>=1000]0.0,"kg";0"g"', 1500, -3, "kg"),
        ('[>=1000]0.0,"kg";0"g"', 400, 0, "g"),
        ('[Red]0" g"', 400, 0, "g"),
        ("[$\u20ac-407] 0.00", 4, 0, "\u20ac"),
        ('_-* #,##0.00_-;-* #,##0.00_-;_-* "-"??_-;_-@_-', 4, 0, ""),
        ("@", 4, 0, ""),
    ],
)
def test_a_format_says_by_how_much_and_in_which_unit(code: str, number: float, power: int, unit: str) -> None:
    assert shown_by(code, number) == Shown(power, unit)


@pytest.mark.parametrize(
    ("number", "code", "grams"),
    [
        (0.411, '0.000" kg"', "411"),
        (14.5, '0.0" oz"', "411.068"),
        (411000, "0,", "411"),
        (411, '0.000," kg"', "411"),
        (411, '0" g"', "411"),
        (411, "General", "411"),
    ],
)
def test_a_weight_is_read_in_the_unit_that_its_cell_shows(number: float, code: str, grams: str) -> None:
    _, done = load(weighed(number, code), name=NAME)
    ((_, read),) = values(done, "fresh_weight_g")
    assert round(read, 3) == Decimal(grams)


@pytest.mark.parametrize(("number", "code"), [(0.411, '0.000" kg"'), (0.411, "General"), (411, '0" g"')])
def test_a_column_in_a_unit_of_the_farms_own_is_converted_once(number: float, code: str) -> None:
    own = conventions(headings={"harvests": {"fresh_weight_g": {"column": "fresh_weight_g", "unit": "kg"}}})
    assert values(load(weighed(number, code), own, name=NAME)[1], "fresh_weight_g") == [(2, Decimal(411))]


def test_an_unknown_unit_is_a_faulty_cell_and_never_a_number() -> None:
    _, done = load(weighed(3, '0" boxes"'), name=NAME)
    assert values(done, "fresh_weight_g") == [(2, None)]


def test_what_is_shown_is_said_and_half_a_column_is_warned_of() -> None:
    raw, done = load(weighed(0.411, '0.000" kg"', (0.3, '0.000" kg"')), name=NAME)
    assert told(raw, done)[1:] == [
        'harvests.xlsx, row 2, fresh_weight_g: "kg" is how cells of this column are shown by their format, and they '
        "are read as shown. Nothing to do, if that is meant."
    ]
    raw, done = load(weighed(0.411, '0.000" kg"', (0.3, "General")), name=NAME)
    assert [(each.row, each.rule, each.level, each.value) for each in raw.notices[1:]] == [
        (3, "mixed_formats", "warning", "kg")
    ]


def test_a_share_shown_in_per_cent_is_read_in_per_cent() -> None:
    import openpyxl
    from own_files import saved

    book = openpyxl.Workbook()
    book.active.append(["batch", "inoculated_on", "strain", "substrate", "substrate_wet_kg", "moisture_pct"])
    book.active.append(["A", DAY, "grey", "straw", 10, 0.41])
    book.active["F2"].number_format = "0 %"
    _, done = load(saved(book), name="batches.xlsx", table="batches")
    assert values(done, "moisture_pct") == [(2, Decimal(41))]


def test_a_container_is_its_number_whatever_its_format() -> None:
    def fill(sheet) -> None:  # type: ignore[no-untyped-def]
        sheet["C2"].number_format = '0" L"'

    assert values(load(workbook((DAY, 400, 7), fill=fill), name=NAME)[1], "container") == [(2, "7")]
