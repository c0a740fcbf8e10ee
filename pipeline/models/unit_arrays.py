"""The unit tables of growth: made from those of the measures, and read into arrays."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import duckdb

Arrays = dict[str, NDArray[Any]]


def read(con: duckdb.DuckDBPyConnection, query: str) -> Arrays:
    """Return the rows of a query as arrays. One array per column: numbers with nulls as floats (nan for null), texts as
    objects (None for null), anything else as the ledger holds it.
    """
    return {name: _filled(cells) for name, cells in con.execute(query).fetchnumpy().items()}


def _filled(cells: Any) -> NDArray[Any]:
    if not isinstance(cells, np.ma.MaskedArray):
        return np.asarray(cells)
    texts = cells.dtype == object
    return np.asarray(cells.filled(None) if texts else np.ma.filled(cells.astype(float), np.nan))


def where(table: Arrays, chosen: NDArray[Any]) -> Arrays:
    """Return the chosen rows of the arrays. By their places, or by yes and no."""
    return {name: cells[chosen] for name, cells in table.items()}


def parts(table: Arrays, key: str) -> Iterator[Arrays]:
    """Yield the rows that belong together. The rows of each value of the column `key`, values rising, rows in their
    order.
    """
    order = np.argsort(table[key], kind="stable")
    ordered = where(table, order)
    starts = np.flatnonzero(np.diff(ordered[key])) + 1
    for first, last in zip([0, *starts.tolist()], [*starts.tolist(), len(order)], strict=True):
        if last > first:
            yield {name: cells[first:last] for name, cells in ordered.items()}


def numbered(keys: NDArray[Any]) -> NDArray[np.int64]:
    """Return the number, from 0, of each key. Alike for alike."""
    _, found = np.unique(keys, return_inverse=True)
    return found.astype(np.int64)
