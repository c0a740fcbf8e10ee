"""How numbers, levels and soaks are written in a sentence."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from pipeline.compare.cells import Cell

MOST_NAMED = 4  # soaks named one by one; more are counted


def number(value: float, unit: str = "") -> str:
    """A number with one decimal, and its unit: -0.04 is 0.0."""
    shown = f"{value:.1f}"
    shown = "0.0" if shown == "-0.0" else shown
    return f"{shown} {unit}" if unit else shown


def counted(count: int, one: str, many: str = "") -> str:
    """1 soak, 3 soaks."""
    return f"1 {one}" if count == 1 else f"{count} {many or one + 's'}"


def listed(names: Sequence[str], last: str = "and") -> str:
    """a, b and c."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {last} {names[-1]}" if names else ""


def soak_name(key: str) -> str:
    """What is a soak called? The key says whether it is a soak or a batch without one."""
    return key.split(" ", 1)[1]


def named_soaks(cells: Iterable[Cell]) -> str:
    """Which soaks are these? The first few by name."""
    names = list(dict.fromkeys(soak_name(cell.soak) for cell in cells))
    if len(names) <= MOST_NAMED:
        return listed(names)
    return f"{', '.join(names[:MOST_NAMED])} and {len(names) - MOST_NAMED} more"


def label(text: str) -> str:
    """A level or a label in a sentence; blank cells have a name."""
    return text or "(blank)"


def either(labels: Sequence[str]) -> str:
    """One of these labels: a, b or c."""
    return listed([label(each) for each in labels], "or")


def sentence(text: str) -> str:
    """With a capital first letter, unless it begins with a name, and a full stop."""
    return text if text.endswith((".", "?")) else f"{text}."
