"""Reading: every row keeps the number that the spreadsheet shows, nothing is skipped, and what cannot be read is
refused with its place and the way to mend it.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pipeline.farm.folder import TableFile
from pipeline.files import csv_scan
from pipeline.files.dialect import Dialect
from pipeline.files.read import RawTable, _read_fast, _read_slowly, read_bytes, read_table
from pipeline.files.validate import validate
from pipeline.files.wide import BEYOND_HEADER
from schemas.contract import contract
from schemas.finding import UnreadableFile

HEADER = "picked_on,fresh_weight_g,container"
# What Unicode calls white space: that much is trimmed off a cell, and no more.
SPACE = "\t\n\v\f\r \x85\xa0\u1680\u2028\u2029\u202f\u205f\u3000" + "".join(map(chr, range(0x2000, 0x200B)))


def source(table: str = "harvests") -> TableFile:
    return TableFile(table, f"{table}.csv", Path(f"{table}.csv"))


def read(text: str | bytes, table: str = "harvests") -> RawTable:
    return read_table(source(table), text.encode() if isinstance(text, str) else text)


def well_quoted(data: bytes) -> bool:
    return csv_scan.well_quoted(data, csv_scan.quotation_marks(data))


def refusal(text: str | bytes, table: str = "harvests") -> list[str]:
    with pytest.raises(UnreadableFile) as refused:
        read(text, table)
    return [each.sentence() for each in refused.value.findings]


def places(raw: RawTable) -> list[tuple[object, ...]]:
    return raw.frame.select("row", "container").rows()


BLANKS = f"""{HEADER}
2026-05-01,400,B1

2026-05-02,400,B2
,,
 ,\t,""
2026-05-03,400,B3

"""


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_row_number_is_the_spreadsheets_after_blank_rows_whatever_the_line_ends(end: str) -> None:
    raw = read(BLANKS.replace("\n", end).encode())
    assert places(raw) == [(2, "B1"), (4, "B2"), (7, "B3")]
    assert (raw.rows_in, raw.rows_blank) == (7, 4)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_row_number_is_the_spreadsheets_after_a_quoted_line_break(end: str) -> None:
    text = f'{HEADER},note{end}2026-05-01,400,B1,"wet{end}{end}and cold"{end}2026-05-02,400,B2,"say ""hi"""{end}'
    raw = read(text.encode())
    assert places(raw) == [(2, "B1"), (3, "B2")]
    assert [note.splitlines() for note in raw.frame["note"]] == [["wet", "", "and cold"], ['say "hi"']]


@pytest.mark.parametrize("above", ["\n\n", ",,\n\n", "  \n\t\n", '""\n\r\n', '"\n",,\n\n'])
def test_row_number_counts_the_blank_rows_above_the_header(above: str) -> None:
    raw = read(f"{above}{HEADER}\n\n2026-05-01,400,B1\n")
    assert places(raw) == [(5, "B1")]
    assert (raw.rows_in, raw.rows_blank) == (2, 1)


def test_a_line_break_within_a_cell_of_a_file_with_cr_line_ends_is_no_row() -> None:
    raw = read(f'{HEADER}\r2026-05-01,400,"B\n1"\r2026-05-02,400,B2\r')
    assert places(raw) == [(2, "B\n1"), (3, "B2")]


def test_a_lone_cr_ends_a_row_also_in_a_file_of_lf_lines() -> None:
    assert places(read(f"{HEADER}\n2026-05-01,400,B1\r2026-05-02,400,B2\n")) == [(2, "B1"), (3, "B2")]
    assert places(read(f"{HEADER}\n2026-05-01\r2026-05-02,400,B2\n")) == [(2, None), (3, "B2")]


def test_row_numbers_hold_in_a_large_file_full_of_line_breaks() -> None:
    rows = "".join(f'2026-05-01,{n},"B{n}\n,""\n",\n\n' for n in range(40_000))
    raw = read(f"{HEADER},note\n{rows}")
    assert raw.frame["row"].to_list() == list(range(2, 80_002, 2))
    assert raw.frame["container"][39_999] == 'B39999\n,"'
    assert (raw.rows_in, raw.rows_blank) == (80_000, 40_000)


def test_a_byte_order_mark_is_no_part_of_the_first_column() -> None:
    raw = read(f"\ufeff{HEADER}\n2026-05-01,400,B1\n")
    assert raw.frame.columns == ["row", *HEADER.split(",")]
    assert raw.notices == ()


def test_cells_and_column_names_are_trimmed_and_blank_cells_are_empty() -> None:
    raw = read('" picked_on ",fresh_weight_g\t, container\n  2026-05-01\u00a0,"\n400 ", \n')
    assert raw.frame.rows() == [(2, "2026-05-01", "400", None)]


def test_a_short_row_is_read_with_its_last_cells_blank() -> None:
    assert read(f"{HEADER}\n2026-05-01\n2026-05-02,400,B2\n").frame.row(0) == (2, "2026-05-01", None, None)


WHITE_ROWS = [["2026-05-01", '5" pot', " a\nb ", ""], ["", " \u2003", "\x85", ""], ["x", "", "", ""]]


# With LF as the line end, Python's writer may leave a cell of one CR unquoted, which nobody could read back.
WAYS_TO_WRITE = [("\r\n", csv.QUOTE_MINIMAL), ("\n", csv.QUOTE_ALL)]


@given(st.lists(st.lists(st.text(max_size=6), min_size=4, max_size=4), max_size=6), st.sampled_from(WAYS_TO_WRITE))
@example(WHITE_ROWS, WAYS_TO_WRITE[0])
@settings(max_examples=300, deadline=None, derandomize=True)
def test_what_a_csv_writer_wrote_is_read_back_trimmed_and_counted(rows: list[list[str]], way: tuple[str, Any]) -> None:
    rows = [[cell.replace("\0", "").encode("utf-8", "ignore").decode() for cell in cells] for cells in rows]
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator=way[0], quoting=way[1]).writerows([[*HEADER.split(","), "note"], *rows])
    raw = read(text.getvalue().encode())
    trimmed = [tuple(cell.strip(SPACE) or None for cell in cells) for cells in rows]
    assert raw.frame.rows() == [(row, *cells) for row, cells in enumerate(trimmed, 2) if any(cells)]
    assert raw.rows_in == len(rows)
    assert raw.rows_blank == sum(not any(cells) for cells in trimmed)


@given(st.text(alphabet='"",\n\r ax', max_size=24))
@example('a,b\n"x\r"\n')
@example("a\ra,b,c\n")
@example('"",""\r\n\r\n"a""\n",x')
@settings(max_examples=1500, deadline=None, derandomize=True)
def test_both_ways_of_reading_agree_on_every_text_that_counts_as_well_quoted(text: str) -> None:
    if well_quoted(text.encode()):
        dialect = Dialect(",", "\n", 1, ("a", "b", "c"), 0)
        slow = _read_slowly(contract("harvests"), "harvests.csv", text.encode(), ["a", "b", "c"], dialect)
        fast = _read_fast(text.encode(), ["a", "b", "c"], ",")
        if fast is None:
            assert any(len(cells) > 3 for cells in csv.reader(io.StringIO(text, newline="")))
        else:
            assert blank_is_none(fast).equals(blank_is_none(slow))


def blank_is_none(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.with_columns(pl.all().replace("", None))


@pytest.mark.parametrize("text", ['a,"b""c"\n', '"a\nb",c\r\n', '"",""', '"a"\n'])
def test_usual_quoting_takes_the_fast_way(text: str) -> None:
    assert well_quoted(text.encode())


@pytest.mark.parametrize("text", ['5" pot,b\n', ' "a",b\n', '"a" ,b\n', '"a\n', "a\rb\n", '"a"b"\n'])
def test_unusual_quoting_takes_the_careful_way(text: str) -> None:
    assert not well_quoted(text.encode())


def test_an_inch_mark_within_a_cell_is_text() -> None:
    assert places(read(f'{HEADER}\n2026-05-01,400,5" pot\n2026-05-02,400,B2\n')) == [(2, '5" pot'), (3, "B2")]


def test_a_row_longer_than_the_header_is_set_aside_and_told() -> None:
    raw = read(f"{HEADER}\n2026-05-01,1,250,B1\n2026-05-02,400,B2,,\n")
    done = validate([raw])
    assert done.frame.select(pl.col("line") % (1 << 32), "faulty").rows() == [(2, True), (3, False)]
    told = done.findings.filter(rule="ragged").select("row", "column_name", "value", "level")
    assert told.rows() == [(2, "", "B1", "set_aside")]


MEND = 'A cell that begins with " ends with "; within it, write each " twice.'


@pytest.mark.parametrize(
    ("text", "row"),
    [
        (f'{HEADER}\n2026-05-01,400,B1\n\n2026-05-02,400,"B2\n2026-05-03,400,B3\n', 4),
        (f'{HEADER}\n2026-05-01,400,"B\n1"\n2026-05-02,"400,B2\n', 3),
        (f"\n{HEADER.replace('fresh', chr(34) + 'fresh')}\n2026-05-01,400,B1\n", 2),
    ],
)
def test_an_unclosed_quotation_mark_is_refused_with_the_row_where_it_opened(text: str, row: int) -> None:
    said = f"harvests.csv, row {row}: has a quotation mark that opens a cell and never closes. {MEND}"
    assert refusal(text) == [said]


def test_text_after_a_closing_quotation_mark_is_refused_with_its_row() -> None:
    said = refusal(f'{HEADER},note\n2026-05-01,400,B1,ok\n2026-05-02,400,B2,"big" and wet\n')
    assert said == [f"harvests.csv, row 3: has more text in a cell after its closing quotation mark. {MEND}"]


@pytest.mark.parametrize(("mark", "word"), [(";", "semicolons"), ("\t", "tabs")])
@pytest.mark.parametrize("quoted", ["", '"'])
def test_another_separator_is_told_by_the_header_and_said(mark: str, word: str, quoted: str) -> None:
    header = mark.join(f"{quoted}{name}{quoted}" for name in HEADER.split(","))
    raw = read(f"\n{header}\n2026-05-01{mark}400{mark}{quoted}B1{quoted}\n\n2026-05-02{mark} 1,5 {mark}B2\n")
    assert raw.frame.rows() == [(3, "2026-05-01", "400", "B1"), (5, "2026-05-02", "1,5", "B2")]
    assert [told.sentence() for told in raw.notices] == [
        f'harvests.csv, row 2: "{word}" stand between the columns of this file. Nothing to do.'
    ]


def test_a_first_line_that_tells_the_separator_is_no_row() -> None:
    assert places(read("sep=;\r\npicked_on;fresh_weight_g;container\r\n2026-05-01;400;B1\r\n")) == [(2, "B1")]


def test_bars_are_refused_by_name() -> None:
    assert refusal("picked_on|fresh_weight_g|container\n2026-05-01|400|B1\n") == [
        "harvests.csv, row 1: is separated by bars. Save it with commas, semicolons or tabs between the columns."
    ]


@pytest.mark.parametrize("text", ["", "\n\r\n \t\n", "\ufeff", "\ufeff\n"])
def test_an_empty_file_is_refused_with_the_header_to_put_in(text: str) -> None:
    header = "picked_on,fresh_weight_g,container,flush,cap_stage"
    assert refusal(text) == [f"harvests.csv: is empty. Put a header line in it: {header}"]


def test_a_file_of_blank_rows_only_has_no_header() -> None:
    header = "seen_on,event,container"
    assert refusal(",,\n,,\n", "observations") == [f"observations.csv: has no header line. Put one in: {header}"]


@pytest.mark.parametrize("end", ["", "\n", "\r\n"])
def test_a_header_alone_is_a_table_without_rows(end: str) -> None:
    raw = read(f"{HEADER}{end}")
    assert (raw.frame.height, raw.rows_in, raw.rows_blank, raw.notices) == (0, 0, 0, ())
    assert validate([raw]).frame.height == 0


@pytest.mark.parametrize(
    ("data", "byte", "value", "row"),
    [
        (f"{HEADER}\n2026-05-01,400,K\u00fcche\n".encode("latin-1"), 52, "0xfc", 2),
        (f'{HEADER}\n\n2026-05-01,400,"a\nb"\n,,K\u00fc'.encode("latin-1"), 61, "0xfc", 4),
        (f"{HEADER}\r2026-05-01,400,B1\r,,\u00e4\r".encode("latin-1"), 56, "0xe4", 3),
        (f"{HEADER}\n2026-05-01,400,B1\n".encode("utf-16"), 1, "0xff", 1),
        (f"{HEADER}\n2026-05-01,400,B1\n".encode("utf-16-le"), 2, "0x00", 1),
        (f"{HEADER}\n2026-05-01,400,B1\n".encode("utf-16-be"), 1, "0x00", 1),
    ],
)
def test_what_is_not_utf8_is_refused_with_its_byte_and_row(data: bytes, byte: int, value: str, row: int) -> None:
    assert refusal(data) == [
        f"harvests.csv, row {row}: is not UTF-8 text (byte {byte}, value {value}). "
        "In the spreadsheet choose Save as: CSV UTF-8."
    ]


def test_a_file_that_the_system_does_not_give_is_refused_with_its_reason(tmp_path: Path) -> None:
    with pytest.raises(UnreadableFile, match=r"harvests.csv: cannot be opened \(Is a directory\)"):
        read_bytes(TableFile("harvests", "harvests.csv", tmp_path))


def test_missing_columns_are_told_each_with_the_name_that_may_be_meant() -> None:
    assert refusal("Picked on,weight,bucket\n2026-13-45,-1,\n") == [
        "harvests.csv, row 1, picked_on: the column is missing. "
        'If it is the one called "Picked on", rename that, or tell it in farm.toml under [headings.harvests]; '
        "if not, add it.",
        "harvests.csv, row 1, fresh_weight_g: the column is missing. "
        'If it is the one called "weight", rename that, or tell it in farm.toml under [headings.harvests]; '
        "if not, add it.",
        "harvests.csv, row 1, container or batch: the column is missing. "
        "Add a column container or batch to the header, or tell in farm.toml under [headings.harvests] which it is: "
        "Picked on, weight, bucket.",
    ]


def test_a_column_that_stands_twice_is_refused() -> None:
    assert refusal("batch,container,batch\nA,1,B\n", "fillings") == [
        "fillings.csv, row 1, batch: stands twice in the header. Rename or delete one of them."
    ]


def test_header_problems_come_alone_without_findings_on_cells_or_unknown_columns() -> None:
    said = refusal("picked_on,container,container,remark\nyesterday,B1,B1,x\n")
    assert [sentence.split(":")[0] for sentence in said] == [
        "harvests.csv, row 1, container",
        "harvests.csv, row 1, fresh_weight_g",
    ]


# "row" is a column of the reader's own, "faulty" of the check's; under the third the end of a long row is kept.
@pytest.mark.parametrize("name", ["cap_stge", "row", "faulty", BEYOND_HEADER])
def test_an_unknown_column_is_told_and_does_no_harm(name: str) -> None:
    raw = read(f"{name},{HEADER}\nx,2026-05-01,400,B1\n")
    assert places(raw) == [(2, "B1")]
    fix = "Did you mean cap_stage?" if name == "cap_stge" else "Nothing to do."
    said = f'harvests.csv, row 1, {name}: "{name}" is no column that gillbook knows and is not read. {fix}'
    assert [each.sentence() for each in raw.notices] == [said]
    assert validate([raw]).frame["other_cells"].to_list() == [f"({name})=x"]


def test_a_column_without_a_name_is_told_only_when_it_has_cells() -> None:
    assert read(f"{HEADER},,\n2026-05-01,400,B1,,\n").notices == ()
    assert [each.sentence() for each in read(f"{HEADER},,\n2026-05-01,400,B1,,wet\n").notices] == [
        'harvests.csv, row 1: "column 5" has cells but no name in the header, and is not read. '
        "Name the column in the header, or clear its cells."
    ]
