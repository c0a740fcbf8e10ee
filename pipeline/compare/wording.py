"""How numbers, levels and soaks are written in a sentence."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from pipeline.compare.design import DesignCell
from schemas.phrases import counted, listed

MOST_NAMED = 4  # soaks named one by one; more are counted


def number(value: float, unit: str = "", decimals: int = 1) -> str:
    """Return a number with so many decimals, and its unit: -0.04 is 0.0."""
    shown = f"{value:.{decimals}f}"
    shown = shown.lstrip("-") if not float(shown) else shown
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


def still_running(cells: Iterable[DesignCell]) -> str:
    """Return what is said of soaks that count although some of their containers still run; empty for none."""
    found = list(cells)
    running = sum(cell.units_not_yet for cell in found)
    still = f"{running} still {'runs' if running == 1 else 'run'}"
    if len(found) == 1:
        finished = found[0].units + found[0].units_without
        of = counted(finished + running, "container")
        return f"of {soak_name(found[0].soak)}, {finished} of {of} are finished and count; {still}"
    return f"of {named_soaks(found)} the finished containers count; {still}" if found else ""


def label(text: str) -> str:
    """Return a level or a label as a sentence says it; blank cells have a name."""
    return text or "(blank)"


def either(labels: Sequence[str]) -> str:
    """Return one of these labels: a, b or c."""
    return listed([label(each) for each in labels], "or")
