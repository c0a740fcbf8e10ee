"""Rows of a model as typed arrays: one per column, in a frozen dataclass that names the columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any, Self, get_args, get_type_hints

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import duckdb

Numbers = NDArray[np.float64]  # nan where the ledger has nothing
Days = NDArray[np.float32] | Numbers  # whole ones need half the memory
Whole = NDArray[np.int64]
Lines = NDArray[np.uint64]  # lines of the ledger: see stage
Flags = NDArray[np.bool_]
Texts = NDArray[np.object_]  # None where the ledger has nothing
Arrays = dict[str, NDArray[Any]]


@dataclass(frozen=True)
class UnitArrays:
    """Rows of a model, one array per column, all of one length. A subclass names the columns that it reads as fields,
    each of one of the types above.
    """

    @classmethod
    def of(cls, columns: Arrays) -> Self:
        """Return the columns that this class names, each of the type of its field. Raises TypeError where one is not
        so: a number that may be missing is no whole one.
        """
        kinds = get_type_hints(cls)
        return cls(**{each.name: _typed(columns[each.name], kinds[each.name]) for each in fields(cls)})

    def __len__(self) -> int:
        return len(getattr(self, fields(self)[0].name))

    def where(self, chosen: Flags | Whole | slice) -> Self:
        """Return the chosen rows: by their places, or by yes and no."""
        return type(self)(*(getattr(self, each.name)[chosen] for each in fields(self)))

    def parts(self, keys: Whole | Lines) -> Iterator[Self]:
        """Yield the rows of each key, keys rising, rows in their order. keys: one per row."""
        ordered = self
        if (keys[1:] < keys[:-1]).any():
            order = np.argsort(keys, kind="stable")
            ordered, keys = self.where(order), keys[order]
        starts = (np.flatnonzero(keys[1:] != keys[:-1]) + 1).tolist()
        for first, last in zip([0, *starts], [*starts, len(keys)], strict=True):
            if last > first:
                yield ordered.where(slice(first, last))


def _typed(cells: NDArray[np.generic], kind: object) -> NDArray[np.generic]:
    (dtype,) = get_args(get_args(kind)[1])
    return cells.astype(dtype, casting="same_kind", copy=False)


def read(con: duckdb.DuckDBPyConnection, query: str, columns: Sequence[str] = ()) -> Arrays:
    """Return the rows of a query as arrays. One array per column: numbers with nulls as floats (nan for null), texts as
    objects (None for null), days with NaT, anything else as the ledger holds it. columns: which of them, in the order
    of the first, for DuckDB works out no others; all of them where none is named.
    """
    if columns:
        found = con.query(query).project(", ".join(columns)).order(columns[0]).fetchnumpy()
    else:
        found = con.execute(query).fetchnumpy()
    # One by one, so that never all are there twice.
    return {name: _filled(found.pop(name)) for name in [*found]}


def _filled(cells: NDArray[np.generic]) -> NDArray[np.generic]:
    if not isinstance(cells, np.ma.MaskedArray):
        return np.asarray(cells)
    if cells.dtype == object:
        # filled(None) would fill in "?", which numpy takes for objects.
        texts: Texts = np.array(cells.data, dtype=object)
        texts[np.ma.getmaskarray(cells)] = None
        return texts
    if cells.dtype.kind == "M":
        return np.asarray(cells.filled(np.datetime64("NaT")))
    numbers: Numbers = cells.data.astype(float)
    numbers[np.ma.getmaskarray(cells)] = np.nan
    return numbers


def numbered(keys: Whole | Lines) -> Whole:
    """Return the number, from 0, of each key. Alike for alike."""
    _, found = np.unique(keys, return_inverse=True)
    return found.astype(np.int64)
