"""The order in which one comes by the containers on the shelves."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import TypeVar

ShelfRow = TypeVar("ShelfRow", bound=Mapping[str, object])
WALK = ("room", "position", "container", "batch")
Natural = tuple[tuple[bool, int, str], ...]


def natural(text: str) -> Natural:
    """Return a sorting key in which numbers count as numbers, so that B2 comes before B10.

    Only 0 to 9 count as digits; letters are compared without regard to case. A key for `sorted`, of any length.
    """
    parts = re.findall(r"[0-9]+|[^0-9]+", text)
    # A number goes by its length, then its digits: no limit on how many, unlike int().
    return tuple(
        (False, len(part.lstrip("0")), part.lstrip("0")) if part[0] in "0123456789" else (True, 0, part.casefold())
        for part in parts
    )


def shelf_place(row: Mapping[str, object]) -> list[tuple[bool, Natural, str]]:
    """Return a sorting key for a row (room, position, container, batch). Blanks come last; what differs only in case or
    leading zeros is in the order of texts, so that the order never depends on the rows'.
    """
    texts = [str(row[name] or "") for name in WALK]
    return [(not text, natural(text), text) for text in texts]


def in_order_of_shelves(rows: Iterable[ShelfRow]) -> list[ShelfRow]:
    """Return these rows in the order of the shelves: see `shelf_place`."""
    return sorted(rows, key=shelf_place)
