"""Whole numbers numbered anew, so that they stay small."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

Places = NDArray[np.int64]


def numbered(codes: Places) -> Places:
    """Return each code's place among those that occur, rising. codes: from 0."""
    most = int(codes.max(initial=0)) + 1
    if most > 8 * len(codes):
        return np.asarray(np.unique(codes, return_inverse=True)[1])
    occurs = np.zeros(most, dtype=bool)
    occurs[codes] = True
    return np.asarray((np.cumsum(occurs) - 1)[codes])


MANY_COLUMNS = 8  # from so many on rows are sorted whole, which is quicker than column by column


def numbered_rows(rows: Places) -> tuple[Places, Places]:
    """Return where the first of each unlike row is, and the place of each row among the unlike ones, by the first
    column first. rows: one row each, whole numbers from 0.
    """
    # As bytes with the highest one first they rise as the numbers do.
    whole = np.ascontiguousarray(rows.astype(">i8"))
    keys = whole.view(np.dtype((np.void, whole.itemsize * whole.shape[1])))[:, 0]
    _, first, found = np.unique(keys, return_index=True, return_inverse=True)
    return first, np.asarray(found)


def numbered_together(columns: Iterable[Places], length: int) -> Places:
    """Return the place of each row of these columns among those that occur, by the first column first. length: how many
    rows there are.
    """
    found = np.zeros(length, dtype=np.int64)
    columns = list(columns)
    if length == 1:
        return found
    if len(columns) >= MANY_COLUMNS and length:
        return numbered_rows(np.column_stack(columns))[1]
    for codes in columns:
        # Numbered anew after every column, so that they stay small.
        found = numbered(found * (int(codes.max(initial=0)) + 1) + codes)
    return found


def first_of_each(kinds: Places) -> Places:
    """Return where the first row of each kind is. kinds: numbers from 0, all of which occur."""
    found = np.zeros(int(kinds.max(initial=-1)) + 1, dtype=np.int64)
    found[kinds[::-1]] = np.arange(len(kinds))[::-1]
    return found


def in_order(first: Places, kinds: Places) -> tuple[Places, Places]:
    """Return where the first row of each kind is, rising, and the kind of each row, kinds in this order. first, kinds:
    the same in another order.
    """
    order = np.argsort(first, kind="stable")
    place = np.empty(len(first), dtype=np.int64)
    place[order] = np.arange(len(first))
    return first[order], place[kinds]
