"""The order in which one comes by the containers on the shelves."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import TypeVar

ShelfRow = TypeVar("ShelfRow", bound=Mapping[str, object])
WALK = ("room", "position", "container", "batch")
PARTS = re.compile(r"[0-9]+|[^0-9]+")
Natural = tuple[tuple[bool, int, str], ...]


def natural(text: str) -> Natural:
    """Return a sorting key in which numbers count as numbers, so that B2 comes before B10.

    Only 0 to 9 count as digits; letters are compared without regard to case. A key for `sorted`, of any length.
    """
    return tuple([_judged_part(part) for part in PARTS.findall(text)])


def _judged_part(part: str) -> tuple[bool, int, str]:
    if part[0] in "0123456789":
        # A number goes by its length, then its digits: no limit on how many, unlike int().
        digits = part.lstrip("0")
        return False, len(digits), digits
    return True, 0, part.casefold()


def shelf_place(row: Mapping[str, object]) -> list[tuple[bool, Natural, str]]:
    """Return a sorting key for a row (room, position, container, batch). Blanks come last; what differs only in case or
    leading zeros is in the order of texts, so that the order never depends on the rows'.
    """
    return [_judged(str(row[name] or "")) for name in WALK]


def _judged(text: str) -> tuple[bool, Natural, str]:
    return not text, natural(text), text


def in_order_of_shelves(rows: Iterable[ShelfRow]) -> list[ShelfRow]:
    """Return these rows in the order of the shelves: see `shelf_place`. A name is judged once, wherever it stands."""
    listed = [*rows]
    places = [(name, _places({str(row[name] or "") for row in listed})) for name in WALK]
    return sorted(listed, key=lambda row: [places_of[str(row[name] or "")] for name, places_of in places])


def _places(texts: Iterable[str]) -> dict[str, int]:
    """Return at which place each of these texts comes among them."""
    return {text: place for place, text in enumerate(sorted(texts, key=_judged))}
