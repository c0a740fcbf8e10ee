"""Files as spreadsheets of many countries write them: each is read as it stands, or told with the way to mend it, and
no cell is ever read in another way than farm.toml tells.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from own_files import conventions, load, refusal, rules, told, values

H = "picked_on,fresh_weight_g,container\n"
MAY_1 = date(2026, 5, 1)
OTHER_MARK = (
    "has another decimal mark than farm.toml tells (a point, where it tells none). "
    "Write it with that mark; or set decimal_mark and thousands_mark in farm.toml: they hold for all files."
)


@pytest.mark.parametrize("mark", ["\ufeff", ""])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("hint", [False, True])
def test_a_file_says_the_same_however_it_is_saved(mark: str, separator: str, end: str, hint: bool) -> None:
    lines = ["picked_on;fresh_weight_g;container;note", "2026-05-01;412.5;007;", ";;;", "", '2026-05-02;.5;B;"x\ny"']
    text = end.join(line.replace(";", separator) for line in lines)
    raw, done = load(mark + (f"sep={separator}{end}" if hint else "") + text)
    assert values(done, "picked_on", "fresh_weight_g", "container") == [
        (2, MAY_1, Decimal("412.500"), "007"),
        (5, date(2026, 5, 2), Decimal("0.500"), "B"),
    ]
    word = {";": "semicolons", "\t": "tabs"}.get(separator)
    said = f'harvests.csv, row 1: "{word}" stand between the columns of this file. Nothing to do.'
    assert told(raw, done) == ([said] if word else [])


def test_the_separator_is_told_by_own_headings_too_and_by_a_header_with_a_line_break() -> None:
    own = conventions(
        headings={"harvests": {"Day": "picked_on", "Weight g": "fresh_weight_g", "Tub, no.": "container"}}
    )
    _, done = load('"Weight\ng";Day;Tub, no.\n400;2026-05-01;B1\n', own)
    assert values(done, "picked_on", "container") == [(2, MAY_1, "B1")]


def test_a_header_of_unknown_columns_is_cut_where_it_is_cut_most() -> None:
    assert "which it is: Tag, Gewicht." in refusal("Tag;Gewicht\n1;2\n")


DECIMAL_COMMA = conventions(decimal_mark=",")
COMMA_AND_POINT = conventions(decimal_mark=",", thousands_mark=".")
COMMA_AND_SPACE = conventions(decimal_mark=",", thousands_mark=" ")
POINT_AND_COMMA = conventions(thousands_mark=",")
POINT_AND_MARK = conventions(thousands_mark="'")


@pytest.mark.parametrize(
    ("own", "cell", "value"),
    [
        (None, "412.5", "412.5"),
        (None, "1,5", None),
        (None, "1,234.5", None),
        (None, "1 234", None),
        (None, "1\u00a0234", None),
        (None, "1\u202f234.5", None),
        (None, "1'234", None),
        (DECIMAL_COMMA, "412,5", "412.5"),
        (DECIMAL_COMMA, "-,5", "-0.5"),
        (DECIMAL_COMMA, "1.5", None),
        (DECIMAL_COMMA, "1.500", None),
        (DECIMAL_COMMA, "1.234,5", None),
        (DECIMAL_COMMA, "1 234,5", None),
        (COMMA_AND_POINT, "1.234,5", "1234.5"),
        (COMMA_AND_POINT, "1.234", "1234"),
        (COMMA_AND_POINT, "1.234.567,25", "1234567.25"),
        (COMMA_AND_POINT, "1.23", None),
        (COMMA_AND_POINT, "12.34.567", None),
        (COMMA_AND_POINT, "1234.567", None),
        (COMMA_AND_POINT, "1,234.5", None),
        (COMMA_AND_SPACE, "1 234,5", "1234.5"),
        (COMMA_AND_SPACE, "1\u00a0234,5", "1234.5"),
        (COMMA_AND_SPACE, "12\u202f345", "12345"),
        (COMMA_AND_SPACE, "1\u2009234", "1234"),
        (COMMA_AND_SPACE, "1 23", None),
        (POINT_AND_COMMA, "1,234.5", "1234.5"),
        (POINT_AND_COMMA, "1,5", None),
        (POINT_AND_MARK, "1'234.5", "1234.5"),
        (POINT_AND_MARK, "1\u2019234.5", "1234.5"),
        (POINT_AND_MARK, "1,234.5", None),
    ],
)
def test_a_number_is_read_with_the_marks_of_farm_toml_and_told_with_any_other(own, cell, value) -> None:  # type: ignore[no-untyped-def]
    raw, done = load(f'picked_on;fresh_weight_g;container\n2026-05-01;"{cell}";B1\n', own)
    if value is None:
        assert values(done, "fresh_weight_g", "faulty") == [(2, None, True)]
        assert told(raw, done)[1:] == [f'harvests.csv, row 2, fresh_weight_g: "{cell}" {OTHER_MARK}']
    elif value[0] == "-":
        assert rules(done) == [(2, "fresh_weight_g", "minimum", "set_aside")]
    else:
        assert values(done, "fresh_weight_g", "faulty") == [(2, Decimal(value), False)]


def test_a_decimal_comma_may_stand_in_quotation_marks_between_commas() -> None:
    _, done = load(f'{H}2026-05-01,"412,5",B1\n2026-05-02,412,5,B1\n', DECIMAL_COMMA)
    assert values(done, "fresh_weight_g", "faulty") == [(2, Decimal("412.5"), False), (3, Decimal(412), True)]
    assert rules(done) == [(3, "", "ragged", "set_aside")]


ORDERS = {
    "day_month_year": [
        "13/5/2026",
        "13.05.2026",
        "13-5-2026",
        "13/05/26",
        "13.5.26",
        "13/5/2026 9:05",
        "13.05.26 09:05",
    ],
    "month_day_year": ["5/13/2026", "05.13.2026", "5-13-2026", "05/13/26", "5/13/2026 9:05 PM", "5/13/2026 09:05:30"],
    "year_month_day": ["2026/5/13", "2026.05.13", "2026-5-13", "2026/05/13", "2026/5/13 9:05"],
}


@pytest.mark.parametrize("order", ORDERS)
def test_dates_are_read_in_the_order_of_farm_toml_whatever_stands_between_their_parts(order: str) -> None:
    cells = [*ORDERS[order], "2026-05-13", "2026-05-13 10:00", "2026-05-13T10:00:00Z"]
    rows = "".join(f"{cell},1,B1\n" for cell in cells)
    _, done = load(H + rows, conventions(date_order=order))
    assert values(done, "picked_on") == [(row, date(2026, 5, 13)) for row in range(2, len(cells) + 2)]
    timed = [row for row, cell in enumerate(cells, 2) if ":" in cell]
    assert rules(done) == [(row, "picked_on", "time_dropped", "notice") for row in timed]


@pytest.mark.parametrize("order", ORDERS)
def test_a_date_in_another_order_is_not_read_even_where_it_could_be_told(order: str) -> None:
    others = [cell for other, cells in ORDERS.items() if other != order for cell in cells]
    _, done = load(H + "".join(f"{cell},1,B1\n" for cell in others), conventions(date_order=order))
    year_first = ORDERS["year_month_day"]
    assert rules(done) == [
        (row, "picked_on", "date_spelling" if cell in year_first else "date_order", "set_aside")
        for row, cell in enumerate(others, 2)
    ]


@pytest.mark.parametrize("cell", ["31/2/2026", "0/5/2026", "1/1/1", "5 May 2026", "1/5", "46143", "1/5/2026 noon"])
def test_what_is_no_day_is_told(cell: str) -> None:
    _, done = load(f"{H}{cell},1,B1\n", conventions(date_order="day_month_year"))
    assert rules(done) == [(2, "picked_on", "date", "set_aside")]


def test_without_an_order_a_date_that_reads_two_ways_is_refused_and_so_is_one_that_does_not() -> None:
    raw, done = load(f"{H}3/4/2026,1,B1\n13/4/2026,1,B1\n4.13.26 10:00,1,B1\n2026/4/3,1,B1\n")
    assert values(done, "picked_on", "faulty") == [(row, None, True) for row in range(2, 6)]
    assert [rule for _, _, rule, _ in rules(done)] == ["date_two_ways", "date_order", "date_order", "date_spelling"]
    assert told(raw, done)[0] == (
        'harvests.csv, row 2, picked_on: "3/4/2026" can be read as two dates. Write year-month-day, like 2026-05-14; '
        "or set date_order in farm.toml: it holds for all files."
    )


def test_a_time_of_day_is_dropped_and_told() -> None:
    raw, done = load(f"{H}2026-05-01 10:30,1,B1\n")
    assert values(done, "picked_on", "faulty") == [(2, MAY_1, False)]
    assert told(raw, done) == [
        'harvests.csv, row 2, picked_on: "2026-05-01 10:30" has a time of day, which is not used. Nothing to do.'
    ]


@pytest.mark.parametrize("word", ["-", "\u2013", "N/A", "n/a", "NA"])
def test_a_word_for_blank_counts_as_blank_and_is_told(word: str) -> None:
    raw, done = load(f"{H[:-1]},culled_g,note\n2026-05-01,400,B1,{word},{word}\n2026-05-02,{word},B1,,\n")
    assert values(done, "culled_g", "note", "faulty") == [(2, None, None, False), (3, None, None, True)]
    assert rules(done) == [
        (2, "culled_g", "blank_word", "notice"),
        (2, "note", "blank_word", "notice"),
        (3, "fresh_weight_g", "blank_word", "notice"),
        (3, "fresh_weight_g", "required", "set_aside"),
    ]
    assert f'"{word}" is taken as blank. Nothing to do.' in told(raw, done)[0]


def test_words_for_blank_are_the_farms_own() -> None:
    _, done = load(f"{H}2026-05-01,400,none\n2026-05-01,400,-\n", conventions(blank_words=["none"]))
    assert values(done, "container") == [(2, None), (3, "-")]


TOTALS = ["Total", "TOTALS:", "Sum", "grand total", "Total kg", "\u03a3", "Average:"]


@pytest.mark.parametrize("word", TOTALS)
@pytest.mark.parametrize("place", [0, 2])
def test_a_row_at_the_end_that_sums_up_the_others_is_no_picking(word: str, place: int) -> None:
    last = ["", "812", ""]
    last[place] = word
    raw, done = load(f"{H}2026-05-01,400,B1\n2026-05-02,412,B2\n\n{','.join(last)}\n,,\n")
    assert [faulty for _, faulty in values(done, "faulty")] == [False, False, True]
    assert rules(done) == [(5, "", "totals_row", "set_aside")]
    assert told(raw, done)[0].startswith("harvests.csv, row 5: sums up the rows above, so it is no entry. ")


def test_only_rows_at_the_end_without_a_day_sum_up_and_there_may_be_several() -> None:
    _, done = load(f"{H}2026-05-01,400,total\nTotal,400,\n2026-05-02,1,B1\nTotal,401,\nMean,200.5,\n")
    assert rules(done) == [
        (3, "picked_on", "date", "set_aside"),
        (5, "", "totals_row", "set_aside"),
        (6, "", "totals_row", "set_aside"),
    ]


@pytest.mark.parametrize(
    ("table", "text"),
    [
        ("batches", "batch,inoculated_on,strain,substrate,spawn_kg\nA,2026-01-01,grey,straw,1\nTotal,,,,1\n"),
        ("fillings", "batch,container,fill_kg,note\nA,1,5,total of two bags\n,Total,5,\n"),
        ("observations", "seen_on,event,batch,count\n2026-01-01,emptied,A,2\nTotal,,,2\n"),
    ],
)
def test_every_table_may_end_with_a_row_that_sums_up(table: str, text: str) -> None:
    _, done = load(text, name=f"{table}.csv", table=table)
    assert rules(done) == [(3, "", "totals_row", "set_aside")]


@pytest.mark.parametrize(
    ("data", "place"),
    [
        (f"{H}2026-05-01,400,K\u00fcche\n".encode("cp1252"), "row 2: is not UTF-8 text (byte 52, value 0xfc)"),
        (f'{H}2026-05-01,400,"a\nb"\n,,\u20ac\n'.encode("cp1252"), "row 3: is not UTF-8 text (byte 59, value 0x80)"),
        (f"{H}2026-05-01,400,B1\n".encode("utf-16"), "row 1: is not UTF-8 text (byte 1, value 0xff)"),
        (f"{H}2026-05-01,400,B1\n".encode("utf-16-le"), "row 1: is not UTF-8 text (byte 2, value 0x00)"),
    ],
)
def test_text_that_is_not_utf8_stops_with_byte_row_and_remedy(data: bytes, place: str) -> None:
    assert refusal(data) == f"harvests.csv, {place}. In the spreadsheet choose Save as: CSV UTF-8."
