"""Number formats of workbooks: what a cell shows beside its digits, and by how many powers of ten it shows it.

Formats are codes as ECMA-376, part 1, 18.8.31 has them: sections parted by semicolons, literals in quotation marks.
"""

from __future__ import annotations

import operator
import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass

# Formats that have a number and no code of their own, of those that change what a number is (18.8.30).
BUILT_IN = {9: "0%", 10: "0.00%"}
TOKEN = re.compile(
    r'"(?P<quoted>[^"]*)"|\\(?P<escaped>.)|(?P<blank>[_*].)|\[\$(?P<sign>[^\]-]*)[^\]]*\]|\[(?P<bracket>[^\]]*)\]'
    r"|(?P<digits>[0#?][0#?.,/]*|\.[0#?]+)|(?P<general>General)|(?P<power>[Ee][+-])|(?P<other>.)",
    re.DOTALL | re.IGNORECASE,
)
SECTION = re.compile(r'(?:"[^"]*"|\\.|\[[^\]]*\]|[^;"\\\[])+|(?<=;)(?=;|$)', re.DOTALL)
CONDITION = re.compile(r"\[(<=|>=|<>|<|>|=)\s*(-?[0-9]+(?:\.[0-9]+)?)\]")
COMPARED: dict[str, Callable[[float, float], bool]] = {
    "<": operator.lt,
    ">": operator.gt,
    "<=": operator.le,
    ">=": operator.ge,
    "=": operator.eq,
    "<>": operator.ne,
}
# How units are written in formats; the farm's word for each.
WRITTEN = {
    **dict.fromkeys(("g", "gr", "gram", "grams"), "g"),
    **dict.fromkeys(("kg", "kgs", "kilo", "kilos"), "kg"),
    **dict.fromkeys(("oz", "ounce", "ounces"), "oz"),
    **dict.fromkeys(("lb", "lbs", "pound", "pounds"), "lb"),
    **dict.fromkeys(("l", "liter", "liters", "litre", "litres"), "L"),
    **dict.fromkeys(("c", "\u00b0c"), "C"),
    **dict.fromkeys(("f", "\u00b0f"), "F"),
}


@dataclass(frozen=True)
class Shown:
    """How a number is shown: times ten to the power of `power`, with `unit` beside it ("" for none)."""

    power: int = 0
    unit: str = ""


AS_IT_IS = Shown()


def shown_by(code: str, number: float) -> Shown:
    """Return how a format of this code shows this number."""
    return _of_section(_section(code, number))


def changes_numbers(code: str) -> bool:
    """Whether any section of this format shows a unit, or another number than the cell's."""
    return any(_of_section(section) != AS_IT_IS for section in SECTION.findall(code))


def unit_called(text: str) -> str:
    """Return the farm's word for a unit as a format writes it; the text itself where it is none that is known."""
    return WRITTEN.get(text.casefold(), text)


def _section(code: str, number: float) -> str:
    """The section of the code by which this number is shown: by its sign, or by the conditions that it names."""
    sections: list[str] = SECTION.findall(code) or [""]
    conditions = [CONDITION.search(section) for section in sections]
    if any(conditions):
        for section, condition in zip(sections, conditions, strict=True):
            if condition is None or COMPARED[condition[1]](number, float(condition[2])):
                return section
        return sections[-1]
    at = 1 if number < 0 else 2 if number == 0 else 0
    return sections[at] if at < min(len(sections), 3) else sections[0]


def _of_section(section: str) -> Shown:
    literals, power, digits = [], 0, False
    for token in TOKEN.finditer(section):
        if token["digits"]:
            digits = True
            commas = re.search(r"(,+)(?:\.|$)", token["digits"])
            power -= 3 * len(commas[1]) if commas else 0
        elif token["general"]:
            digits = True
        elif token["other"] == "%":
            power += 2
            literals.append("%")
        else:
            literals.append(token["quoted"] or token["escaped"] or token["sign"] or token["other"] or "")
    unit = "".join(literals).strip(" ()+-.\u00a0\u202f")
    if not digits:
        return AS_IT_IS
    said = unit == "%" or any(letter.isalpha() or unicodedata.category(letter) == "Sc" for letter in unit)
    return Shown(power, unit if said else "")
