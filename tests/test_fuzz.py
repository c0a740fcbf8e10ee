"""Whatever stands in a table or in the bytes of a file: it is read whole or refused in the program's own words, no row
is lost, and a value read is the value in the cell.
"""

from __future__ import annotations

from collections import defaultdict

import polars as pl
from fuzzed_cells import own_ways
from fuzzed_files import Written, csv_files, mutated
from fuzzed_reading import Own, Plain, faults, plainly_read
from fuzzed_settings import fuzzed
from fuzzed_workbooks import crafted_references, mutated_parts, workbooks
from hypothesis import strategies as st
from own_files import conventions, load, workbook

from pipeline.files.read import RawTable
from pipeline.files.validate import ValidatedRows
from schemas.contract import INPUTS, contract
from schemas.finding import UnreadableFile

TABLES = st.sampled_from(INPUTS)


def read(table: str, data: bytes, own: Own, name: str | None = None) -> tuple[RawTable, ValidatedRows]:
    return load(data, conventions(**own.settings()), name or f"{table}.csv", table)


def read_or_refused(
    table: str, data: bytes, own: Own, name: str | None = None
) -> tuple[RawTable, ValidatedRows] | None:
    """The file as read; None where it is refused, which says why."""
    try:
        return read(table, data, own, name)
    except UnreadableFile as problem:
        reasons = [each for each in problem.findings if each.level == "set_aside"]
    assert reasons
    assert all(each.sentence() and each.fix for each in reasons)
    return None


def must_agree(table: str, plain: Plain, own: Own, raw: RawTable, validated: ValidatedRows) -> None:
    """Every row is there once, and each of its values is the value in its cell or told of."""
    frame = validated.frame.with_columns((pl.col("line") % (1 << 32)).alias("row"))
    assert frame["row"].to_list() == plain.filled
    assert (raw.rows_in, raw.rows_blank) == (len(plain.rows), len(plain.rows) - len(plain.filled))
    found: dict[tuple[int, str], set[str]] = defaultdict(set)
    grave = set()
    for row, column, rule, level in validated.findings.select("row", "column_name", "rule", "level").iter_rows():
        found[row, column].add(rule)
        grave |= {row} if level == "set_aside" else set()
    assert grave == set(frame.filter("faulty")["row"])
    wrong = []
    for record in frame.iter_rows(named=True):
        row = record["row"]
        whole = found.get((row, ""), set())
        if "totals_row" not in whole:
            beyond = range(len(plain.header), len(plain.rows[row]))
            assert ("ragged" in whole) == any(plain.cell(row, at) for at in beyond)
        if not whole:
            values = {name: record[name] for name in contract(table).names}
            wrong += faults(contract(table), plain, own, row, values, found)
    assert not wrong, "\n".join(wrong)


@fuzzed(0.45, data=st.data(), table=TABLES, own=own_ways(), tame=st.sampled_from([9, 5, 2]))
def test_every_value_read_is_the_value_in_its_cell(data: st.DataObject, table: str, own: Own, tame: int) -> None:
    file: Written = data.draw(csv_files(table, own, tame, 12))
    raw, validated = read(table, file.data, own)
    must_agree(table, file.plain, own, raw, validated)
    again = plainly_read(file.data, file.separator)
    assert again is not None
    # A row of one blank cell is written as an empty line, which holds none.
    assert {row: [*cells] or [""] for row, cells in again.rows.items()} == {
        row: cells or [""] for row, cells in file.plain.rows.items()
    }


@fuzzed(0.25, data=st.data(), table=TABLES, own=own_ways())
def test_any_bytes_are_read_as_the_csv_module_reads_them_or_refused(data: st.DataObject, table: str, own: Own) -> None:
    well: Written = data.draw(csv_files(table, own, 9))
    file = data.draw(st.one_of(mutated(well.data), mutated(well.data), st.binary(max_size=300)))
    done = read_or_refused(table, file, own)
    if done is None:
        return
    raw, validated = done
    told = {each.value: each.rule for each in raw.notices}
    separators = {"semicolons": ";", "tabs": "\t"}
    separator = next((mark for word, mark in separators.items() if told.get(word) == "separator"), ",")
    plain = plainly_read(file, separator)
    assert plain is not None
    must_agree(table, plain, own, raw, validated)


@fuzzed(0.06, data=st.data(), table=TABLES, own=own_ways())
def test_every_value_read_from_a_sheet_is_the_value_in_its_cell(data: st.DataObject, table: str, own: Own) -> None:
    file: Written = data.draw(workbooks(table, own))
    raw, validated = read(table, file.data, own, f"{table}.xlsx")
    must_agree(table, file.plain, own, raw, validated)


A_WORKBOOK = workbook(
    ("2026-01-05", 412.5, "B1"), (None, None, None), ("2026-01-06", "x", "=1"), ("Total", 412.5, None)
)


@fuzzed(0.06, file=st.one_of(mutated(A_WORKBOOK), mutated_parts(A_WORKBOOK), crafted_references(A_WORKBOOK)))
def test_any_bytes_of_a_workbook_are_read_or_refused(file: bytes) -> None:
    done = read_or_refused("harvests", file, Own(), "harvests.xlsx")
    if done is not None:
        raw, validated = done
        assert raw.rows_in == validated.frame.height + raw.rows_blank
