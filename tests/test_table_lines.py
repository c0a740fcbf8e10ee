"""Tables and JSON are made column by column: the text is the same as cell by cell, whatever stands in the cells."""

from __future__ import annotations

import json
import math
import textwrap
from collections.abc import Sequence
from datetime import date, datetime, time
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.cli.cell_texts import column_texts, json_line, printable
from pipeline.cli.cut_texts import cut_apart
from pipeline.cli.show import Column, print_table
from pipeline.cli.table_lines import TextColumn, table_lines, wrapped

# Letters as wide as two, as none, marks of direction, of lines, of the terminal; and plain ones, to be alike in.
LETTERS = "ab -~灰平\u0301é\U0001d530\u200b\u202e\u00a0\u3000\t\n\r\x1b\x7f\x00'\"\\"
WORDS = st.text(st.sampled_from(LETTERS), max_size=30)
NUMBERS = st.one_of(
    st.floats(),
    st.floats(-3000, 3000),
    st.integers(-(10**18), 10**18),
    st.sampled_from([-0.0, 0, 0.05, 0.5, 1.5, 2.5, -0.04, 1e300]),
)
DECIMALS = st.decimals(-5000, 5000, places=3)
DAYS = st.one_of(st.dates(), st.datetimes(), st.times())
CELLS = st.one_of(st.none(), NUMBERS, WORDS, DECIMALS, DAYS, st.booleans(), st.lists(st.integers(), max_size=2))
COLUMNS = st.one_of(*(st.lists(st.none() | cells, max_size=12) for cells in (NUMBERS, WORDS, DECIMALS, CELLS)))


def one_cell(value: object, decimals: int | None, scale: float) -> str:
    """A cell as it is shown, said plainly."""
    if isinstance(value, Decimal):
        value = float(value)
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return "-"
    if isinstance(value, date | datetime | time):
        return value.isoformat()
    if decimals is not None and isinstance(value, int | float):
        return f"{value * scale:.{decimals}f}"
    return printable(str(value))


def one_row(row: dict[str, object]) -> str:
    """A row of JSON, said plainly: read again it has the same values."""
    plain: dict[str, object] = {}
    for key, value in row.items():
        known = value is None or isinstance(value, str | bool | int | float)
        number = float(value) if isinstance(value, Decimal) else value
        day = value.isoformat() if isinstance(value, date | datetime | time) else str(value)
        plain[key] = number if known or isinstance(value, Decimal) else day
        if isinstance(number, float) and not math.isfinite(number):
            plain[key] = None
    return json.dumps(plain, ensure_ascii=False)


@settings(deadline=None, derandomize=True)
@given(COLUMNS, st.sampled_from([None, 0, 1, 2]), st.sampled_from([1.0, 0.001]))
def test_a_column_is_shown_as_each_of_its_cells_is(
    values: Sequence[object], decimals: int | None, scale: float
) -> None:
    assert column_texts(values, decimals, scale) == [one_cell(value, decimals, scale) for value in values]


@settings(deadline=None, derandomize=True)
@given(st.dictionaries(st.text("abc", min_size=1), CELLS, max_size=6))
def test_a_row_of_json_says_what_the_row_holds_and_steers_no_terminal(row: dict[str, object]) -> None:
    line = json_line(row)
    assert line.isprintable()
    assert json.loads(line) == json.loads(one_row(row))
    assert line == one_row(row) or not one_row(row).isprintable()


def lines_cell_by_cell(columns: Sequence[TextColumn], width: int) -> list[str]:
    """A table put together cell by cell."""
    depth = max(len(column.heading) for column in columns)
    heads = [[""] * (depth - len(column.heading)) + [*column.heading] for column in columns]
    widths = [max(len(text) for text in (*column.heading, *column.cells)) for column in columns]
    for _ in range(sum(widths)):
        longest = max((at for at, column in enumerate(columns) if column.cut), key=lambda at: widths[at], default=None)
        if sum(widths) + 2 * (len(widths) - 1) <= width or longest is None or widths[longest] <= 4:
            break
        widths[longest] -= 1
    count = len(columns[0].cells)
    if sum(widths) + 2 * (len(widths) - 1) > width:
        names = [" ".join(head).strip().replace("- ", "") for head in heads]
        size = min(max(map(len, names)), width // 2)
        found = []
        for number in range(count):
            for name, column in zip(names, columns, strict=True):
                shown = name if len(name) <= size else name[: size - 1] + "~"
                for at, line in enumerate(textwrap.wrap(column.cells[number], width - size - 2) or [""]):
                    found.append(f"{shown if at == 0 else '':{size}}  {line}".rstrip())
            found.append("")
        return found
    shown_as = [
        cut_apart([*head, "-" * size, *column.cells], size)
        for head, column, size in zip(heads, columns, widths, strict=True)
    ]
    rows = [[head[at] for head in heads] for at in range(depth)]
    rows += [["-" * size for size in widths]]
    rows += [[column.cells[number] for column in columns] for number in range(count)]
    return [
        "  ".join(
            named[text].rjust(size) if column.right else named[text].ljust(size)
            for text, named, size, column in zip(row, shown_as, widths, columns, strict=True)
        ).rstrip()
        for row in rows
    ]


@st.composite
def tables(draw: st.DrawFn) -> list[TextColumn]:
    """Columns of as many cells each, as they are printed."""
    count, found = draw(st.integers(0, 6)), []
    for _ in range(draw(st.integers(1, 6))):
        right = draw(st.booleans())
        cells = draw(st.lists(WORDS.map(printable), min_size=count, max_size=count))
        heading = draw(st.lists(st.text("ab- ", max_size=8), min_size=1, max_size=3))
        found.append(TextColumn(heading, cells, right, cut=not right and draw(st.booleans())))
    return found


@settings(max_examples=60, deadline=None, derandomize=True)
@given(tables(), st.sampled_from([40, 80, 132]))
def test_a_table_stands_as_if_put_together_cell_by_cell(columns: list[TextColumn], width: int) -> None:
    lines = table_lines(columns, width)
    assert lines == lines_cell_by_cell(columns, width)
    assert all(len(line) <= width for line in lines)


@settings(deadline=None, derandomize=True)
@given(WORDS.map(printable), st.integers(18, 40))
def test_a_text_that_fits_is_broken_as_any_other(text: str, width: int) -> None:
    assert wrapped(text, width) == (textwrap.wrap(text, width) or [""])


def test_a_table_of_many_columns_without_a_row_prints_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    print_table([], [Column(f"column_{number}", f"column {number}", 0) for number in range(30)])
    assert capsys.readouterr().out == ""
    print_table([], [Column("a", "a")])
    assert capsys.readouterr().out == "a\n-\n"
