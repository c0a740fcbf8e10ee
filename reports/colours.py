"""Colours: one meaning each, on every chart of the page. The style sheet gives each its value, light and dark."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from reports.figures import Name, named
from reports.month import Month
from reports.words import spoken
from schemas.confidence import LEVEL, percent
from schemas.result_rows import text_of

# As many strains as can be distinguished at a glance; further ones share a grey. Our choice, no source.
STRAIN_COLOURS = ("strain-blue", "strain-golden", "strain-green", "strain-sky", "strain-pink", "strain-grey")
NAMED_ONLY = ("strain-pink", "strain-grey")  # only of strains that are called so
OTHER_STRAINS = "strain-other"
# The strongest shade that words are read on, in the light scheme and in the dark one (WCAG 1.4.3: 4.5 to 1).
STRONGEST = 0.55
# A word in a strain's name: the colour that it tells. Of other words for colours, the neutral one.
COLOUR_WORDS: Mapping[str, str] = {
    **dict.fromkeys(("blue", "azul", "bleu", "bleue", "blau", "blauer"), "strain-blue"),
    **dict.fromkeys(("golden", "gold", "yellow", "amber", "dorado", "amarillo", "jaune", "gelb"), "strain-golden"),
    **dict.fromkeys(("green", "verde", "vert", "grün"), "strain-green"),
    **dict.fromkeys(("pink", "rosa", "rose", "salmon"), "strain-pink"),
    **dict.fromkeys(("grey", "gray", "gris", "grau", "cinza"), "strain-grey"),
    **dict.fromkeys(("white", "black", "brown", "red", "orange", "violet", "purple"), OTHER_STRAINS),
    **dict.fromkeys(("blanco", "negro", "blanc", "noir", "weiß", "schwarz", "branco", "preto"), OTHER_STRAINS),
}

# key of the style sheet: what it means wherever it stands
MEANINGS: Mapping[str, str] = {
    "mass": "picked",
    "late": "picked late",
    "known": "known",
    "not-yet": "not known yet",
    "lost": "lost without a picking",
    "kept": "gave a picking",
    "group": "all its containers together",
    "interval": f"likely range ({percent(LEVEL)})",
    "estimate": "best guess",
    "band": f"likely range ({percent(LEVEL)})",
    "band-wide": "in four of five cases",
    "pinned": "with pins",
    "small": "too small to act on (farm.toml)",
    "batch": "a batch",
    "colonising": "colonising",
    "fruiting": "from the first pins on",
    "came": "what came",
    "few": "too few soaks for a range",
    "clean": "clean BE, without those thrown out for contamination",
}


@dataclass(frozen=True)
class Key:
    """One entry of a chart's key: the colour's key in the style sheet, what it means, and the shape it has there."""

    colour: str
    means: str | Name
    shape: str = "block"


def paint(colour: str) -> str:
    """Return the value that stands for this colour in a chart.

    A variable of the style sheet, so that it follows the scheme.
    """
    return f"var(--{colour})"


@lru_cache(maxsize=1)
def strain_colours(month: Month) -> Mapping[str, str]:
    """Return the colour of each strain.

    In the order in which the farm began them, so that a strain keeps its colour from month to month. One named after
    a colour has that colour or none: where the page has no such colour, or an older strain has it, it is neutral.
    """
    colours: dict[str, str] = {}
    for name in _in_order(month):
        free = [each for each in STRAIN_COLOURS if each not in colours.values()]
        own = _colour_named(name)
        if own:
            colours[name] = own if own in free else OTHER_STRAINS
        else:
            colours[name] = next((each for each in free if each not in NAMED_ONLY), OTHER_STRAINS)
    return colours


def _in_order(month: Month) -> list[str]:
    begun = [text_of(row, "strain") for row in month.rows("strains_begun")]
    shown = {text_of(row, "strain") for table in ("strains", "finished_units") for row in month.rows(table)}
    return [*begun, *sorted(shown - set(begun))]


def _colour_named(strain: str) -> str | None:
    """Return the colour that the name of a strain tells; None where it tells none."""
    named = [COLOUR_WORDS[word] for word in re.findall(r"[^\W\d_]+", strain.casefold()) if word in COLOUR_WORDS]
    return named[0] if named else None


def strain_keys(month: Month, strains: set[str]) -> list[Key]:
    """Return the entries of a key that these strains need."""
    colours = strain_colours(month)
    keys = [
        Key(colours[name], named(spoken("strain", name))) for name in sorted(strains, key=lambda n: (colours[n], n))
    ]
    own = [key for key in keys if key.colour != OTHER_STRAINS]
    rest = len(keys) - len(own)
    if rest == 1:
        return keys
    return [*own, Key(OTHER_STRAINS, "further strains")] if rest else own


def plain_key(colour: str, means: str = "", shape: str = "block") -> Key:
    """The entry of a key for a colour with one meaning."""
    return Key(colour, means or MEANINGS[colour], shape)
