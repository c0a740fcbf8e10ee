"""Cells of result rows, read by their type."""

from __future__ import annotations

import pytest

from schemas.result_rows import texts_of


def test_texts_of_columns_are_those_of_each_cell_blank_where_there_is_none() -> None:
    rows = [{"batch": "A", "soak": None, "units": 1}, {"batch": "B", "soak": "S1", "units": 2}]
    assert texts_of(rows, "soak", "batch") == [["", "S1"], ["A", "B"]]
    assert texts_of([], "soak", "batch") == [[], []]


def test_what_is_no_text_is_named() -> None:
    with pytest.raises(TypeError, match="units is no text: 2"):
        texts_of([{"batch": "A", "units": None}, {"batch": "B", "units": 2}], "batch", "units")
