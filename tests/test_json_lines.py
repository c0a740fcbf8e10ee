"""Rows as lines of JSON, worked out by columns, are what the encoder makes of each row by itself."""

from __future__ import annotations

import json
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.json_lines import in_json, json_lines

CELLS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(),
    st.dates(),
    st.tuples(st.text(), st.integers()),
)
NUMBERS = st.integers() | st.booleans() | st.floats(allow_nan=False, allow_infinity=False)
# A column mostly holds one kind; a table is drawn as rows of such columns.
COLUMN = st.sampled_from(
    [st.floats(allow_nan=False, allow_infinity=False), st.integers(), NUMBERS, st.none(), st.text(), st.dates(), CELLS]
)
ROWS = st.lists(COLUMN, max_size=4).flatmap(
    lambda of: st.lists(
        st.fixed_dictionaries({f"c%s{at}%": st.none() | kind for at, kind in enumerate(of)}), max_size=8
    )
)


@given(ROWS)
def test_each_line_is_what_the_encoder_makes_of_the_row(rows: list[dict[str, object]]) -> None:
    lines = json_lines(rows)
    assert lines == [in_json(row) for row in rows]
    plain = {date: date.isoformat, tuple: list}
    told = [{name: plain.get(type(cell), lambda same: same)(cell) for name, cell in row.items()} for row in rows]
    assert [json.loads(line) for line in lines] == told


def test_rows_of_several_columns_keep_their_own() -> None:
    assert json_lines([{"a": 1}, {"a": "x", "b": None}, {}]) == ['{"a": 1}', '{"a": "x", "b": null}', "{}"]


@pytest.mark.parametrize("cell", [float("nan"), float("inf")])
def test_a_number_without_end_is_refused(cell: float) -> None:
    with pytest.raises(ValueError, match="JSON compliant"):
        json_lines([{"a": 1.5}, {"a": cell}])
