"""Rows of whole numbers numbered anew: what numpy finds, whatever way is quicker."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.stats.numbering import MANY_COLUMNS, first_of_each, in_order, numbered, numbered_rows, numbered_together

ROWS = st.integers(1, MANY_COLUMNS + 3).flatmap(
    lambda width: st.lists(st.lists(st.integers(0, 300), min_size=width, max_size=width), min_size=1, max_size=12)
)


@given(ROWS)
@settings(deadline=None)
def test_rows_are_numbered_as_numpy_sorts_them(rows: list[list[int]]) -> None:
    written = np.array([*rows, *rows[:2]], dtype=np.int64)
    _, first, told = np.unique(written, axis=0, return_index=True, return_inverse=True)
    assert [each.tolist() for each in numbered_rows(written)] == [first.tolist(), told.reshape(-1).tolist()]
    assert numbered_together(written.T, len(written)).tolist() == told.reshape(-1).tolist()
    assert numbered(written[:, 0]).tolist() == np.unique(written[:, 0], return_inverse=True)[1].tolist()


@given(st.lists(st.integers(0, 4), min_size=1, max_size=12))
def test_kinds_are_in_the_order_in_which_they_come(codes: list[int]) -> None:
    kinds = numbered(np.array(codes, dtype=np.int64))
    first, ordered = in_order(first_of_each(kinds), kinds)
    place: dict[int, int] = {}
    assert ordered.tolist() == [place.setdefault(code, len(place)) for code in codes]
    assert first.tolist() == [codes.index(code) for code in place]
