"""The units that a column may be written in, and how they become the contract's: exactly, as fractions."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from functools import cache

from schemas.cell_format import Conversion

# The international avoirdupois pound, exact since 1959 (NIST SP 811, 2008, appendix B.8); an ounce is its sixteenth.
POUND_G = Fraction("453.59237")
# 231 cubic inches of 2.54 cm each, exact (NIST SP 811, 2008, appendix B.8: 3.785411784 L).
US_GALLON_L = 231 * Fraction("0.254") ** 3
# How much of the first unit of its kind one of each is. A gallon says which, for the imperial one is another.
UNITS: Mapping[str, Mapping[str, Fraction]] = {
    "mass": {"g": Fraction(1), "kg": Fraction(1000), "oz": POUND_G / 16, "lb": POUND_G},
    "volume": {"L": Fraction(1), "US gal": US_GALLON_L},
    # A step of one degree (NIST SP 811, 2008, appendix B.8).
    "temperature": {"C": Fraction(1), "F": Fraction(5, 9)},
}
# Where the zero of the kind's first unit stands in this one, where it is not 0.
ZEROS = {"F": 32}


def units_of(ours: str | None) -> tuple[str, ...]:
    """The units that may stand for the contract's unit `ours`: none for a column that has no unit to choose."""
    return next((tuple(kind) for kind in UNITS.values() if ours in kind), ())


@cache
def conversion(unit: str, ours: str) -> Conversion:
    """Return how a number in `unit` becomes one in `ours`, the unit of a contract.

    Raises ValueError for two units of different kinds, and for an `ours` whose zero is not its kind's.
    """
    kind = next((kind for kind in UNITS.values() if unit in kind and ours in kind), None)
    if kind is None or (ours in ZEROS and unit != ours):
        raise ValueError(f"{unit} does not become {ours}")
    return Conversion(unit, kind[unit] / kind[ours], 0 if unit == ours else ZEROS.get(unit, 0))
