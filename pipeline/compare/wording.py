"""How numbers, levels and soaks are written in a sentence."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from pipeline.compare.design import DesignCell
from schemas.phrases import listed

MOST_NAMED = 4  # soaks named one by one; more are counted


def number(value: float, unit: str = "") -> str:
    """Return a number with one decimal, and its unit: -0.04 is 0.0."""
    shown = f"{value:.1f}"
    shown = "0.0" if shown == "-0.0" else shown
    return f"{shown} {unit}" if unit else shown


def soak_name(key: str) -> str:
    """Return what a soak is called, of its key, which says whether it is a soak or a batch without one."""
    return key.split(" ", 1)[1]


def named_soaks(cells: Iterable[DesignCell]) -> str:
    """Return the names of these soaks, of many the first few."""
    names = list(dict.fromkeys(soak_name(cell.soak) for cell in cells))
    if len(names) <= MOST_NAMED:
        return listed(names)
    return f"{', '.join(names[:MOST_NAMED])} and {len(names) - MOST_NAMED} more"


def label(text: str) -> str:
    """Return a level or a label as a sentence says it; blank cells have a name."""
    return text or "(blank)"


def either(labels: Sequence[str]) -> str:
    """Return one of these labels: a, b or c."""
    return listed([label(each) for each in labels], "or")
