"""Colours: one meaning each, on every chart of the page. The style sheet gives each its value, light and dark."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from reports.figures import Name, named
from reports.month import Month
from reports.words import spoken
from schemas.confidence import LEVEL, percent
from schemas.result_rows import text_of

# As many strains as can be distinguished at a glance; further ones share a grey. Our choice, no source.
STRAINS_COLOURED = 4
OTHER_STRAINS = "strain-other"

# key of the style sheet: what it means wherever it stands
MEANINGS: Mapping[str, str] = {
    "mass": "picked",
    "late": "picked late",
    "unnoted": "cap stage not noted",
    "known": "known",
    "not-yet": "not known yet",
    "lost": "lost without a picking",
    "kept": "gave a picking",
    "group": "all its containers together (sum over sum)",
    "interval": f"{percent(LEVEL)} interval, where there is one",
    "estimate": "estimate",
    "band": f"{percent(LEVEL)} interval",
    "band-wide": "80 % band",
    "pinned": "with pins",
    "small": "too small to act on (farm.toml)",
    "batch": "a batch",
    "came": "what came",
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


def strain_colours(month: Month) -> Mapping[str, str]:
    """Return the colour of each strain. By name among those with most picked, so that a strain keeps its colour."""
    picked = [text_of(row, "strain") for row in month.rows("strains")]
    others = sorted({text_of(row, "strain") for row in month.rows("finished_units")} - set(picked))
    strains = [*picked, *others]
    chosen = sorted(strains[:STRAINS_COLOURED])
    return {name: f"strain-{chosen.index(name) + 1}" if name in chosen else OTHER_STRAINS for name in strains}


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
