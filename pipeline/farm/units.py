"""The units that a column may be written in, and how they become the contract's."""

from __future__ import annotations

from decimal import Decimal
from functools import cache

from schemas.cell_format import Conversion

# Our word for a unit, and what the library of units calls it. A US gallon is not the imperial one, so it says which.
UNITS = {
    "mass": {"g": "gram", "kg": "kilogram", "oz": "ounce", "lb": "pound"},
    "volume": {"L": "liter", "US gal": "US_liquid_gallon"},
    "temperature": {"C": "degree_Celsius", "F": "degree_Fahrenheit"},
}


def units_of(ours: str | None) -> tuple[str, ...]:
    """Which units may stand for the contract's unit `ours`? None for a column that has no unit to choose."""
    for kind in UNITS.values():
        if ours in kind:
            return tuple(kind)
    return ()


@cache
def conversion(unit: str, ours: str) -> Conversion:
    """How does a number in `unit` become one in `ours`? Both are words of one kind of UNITS."""
    # Takes half a second, so only farms with units of their own pay for it.
    import pint

    names = {word: name for kind in UNITS.values() for word, name in kind.items()}
    registry: pint.UnitRegistry[Decimal] = pint.UnitRegistry(non_int_type=Decimal)

    def told(number: int) -> Decimal:
        return Decimal(str(registry.Quantity(Decimal(number), names[unit]).to(names[ours]).magnitude))

    offset = told(0)
    return Conversion(unit, told(1) - offset, offset)
