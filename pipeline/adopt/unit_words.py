"""How people write the units that stand in headings and cells."""

from __future__ import annotations

# How people write the units that a column may be in; no source. A bare "gal" is no unit: there are two gallons.
UNIT_WORDS = {
    "g": ("g", "gr", "gm", "gms", "gram", "grams", "gramme", "grammes", "gramos", "gramas", "gramm"),
    "kg": ("kg", "kgs", "kilo", "kilos", "kilogram", "kilograms", "kilogramm"),
    "oz": ("oz", "ozs", "ounce", "ounces", "onzas"),
    "lb": ("lb", "lbs", "pound", "pounds", "libras"),
    "L": ("l", "ltr", "litre", "litres", "liter", "liters", "litros"),
    "US gal": ("us gal", "us gallon", "us gallons", "gal us", "gallons us"),
    "C": ("c", "\u00b0c", "deg c", "degrees c", "celsius", "degrees celsius"),
    "F": ("f", "\u00b0f", "deg f", "degrees f", "fahrenheit", "degrees fahrenheit"),
    "%": ("%", "percent", "pct", "per cent"),
    "h": ("h", "hr", "hrs", "hour", "hours"),
    "g/L": ("g/l", "g / l", "g_per_l", "g per l", "g per litre", "g per liter"),
}
UNITS = {word: unit for unit, words in UNIT_WORDS.items() for word in words}
# Units that stand in headings and that no column can be written in: they are named, not left out of account.
FOREIGN = (
    "gal",
    "gallon",
    "gallons",
    "mg",
    "t",
    "ton",
    "tons",
    "tonnes",
    "st",
    "ml",
    "cl",
    "qt",
    "quarts",
    "min",
    "days",
)
