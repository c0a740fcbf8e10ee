"""The table of units, held against their published definitions."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from pipeline.farm.units import UNITS, ZEROS, conversion, units_of

# Pound and ounce: NIST SP 811 (2008), appendix B.8, whose footnote has the exact pound; the international agreement is
# 24 Fed. Reg. 5348 (1959). Gallon: 231 cubic inches exactly, NIST Handbook 44, appendix C; an inch is 2.54 cm.
PUBLISHED = {
    ("lb", "kg"): Fraction("0.45359237"),
    ("oz", "g"): Fraction("28.349523125"),
    ("US gal", "L"): Fraction("3.785411784"),
    # International System of Units: kilo is a thousand.
    ("kg", "g"): Fraction(1000),
    ("g", "kg"): Fraction(1, 1000),
}


@pytest.mark.parametrize(("pair", "factor"), PUBLISHED.items())
def test_factors_are_the_published_ones(pair: tuple[str, str], factor: Fraction) -> None:
    assert conversion(*pair).factor == factor


# NIST SP 811 (2008), appendix B.8: t/C = (t/F - 32) / 1.8. Fixed points: ice and steam, and where both scales meet.
@pytest.mark.parametrize(("fahrenheit", "celsius"), [("32", "0"), ("212", "100"), ("-40", "-40"), ("98.6", "37")])
def test_degrees_are_the_published_ones(fahrenheit: str, celsius: str) -> None:
    of_fahrenheit = conversion("F", "C")
    assert of_fahrenheit.convert(Decimal(fahrenheit)) == Decimal(celsius)
    assert of_fahrenheit.revert(Decimal(celsius)) == Decimal(fahrenheit)


def test_each_unit_is_one_of_itself() -> None:
    for kind in UNITS.values():
        assert {conversion(unit, unit).convert(Decimal("7.25")) for unit in kind} == {Decimal("7.25")}
        assert all(units_of(unit) == tuple(kind) for unit in kind)
    assert set(ZEROS) == {"F"}


def test_units_of_other_kinds_and_a_gallon_that_says_not_which_are_none() -> None:
    assert units_of("gal") == units_of("h") == units_of(None) == ()
    for pair in (("g", "L"), ("gal", "L"), ("C", "F")):
        with pytest.raises(ValueError, match="does not become"):
            conversion(*pair)
