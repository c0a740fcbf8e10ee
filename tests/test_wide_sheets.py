"""One sheet that holds several tables: each row is counted for the tables that it says something for, and what stands
on several rows is told once.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

from ledgers import here
from own_files import conventions, load, refusal, rules, values, workbook

from pipeline.farm.conventions import Conventions
from pipeline.farm.folder import table_files
from pipeline.files.read import RawTable
from pipeline.files.validate import ValidatedRows

TABLES = ("batches", "fillings", "harvests")
OWN_HEADINGS = {
    "batches": {"Mix": "batch", "Made": "inoculated_on", "Kind": "strain", "Base": "substrate"},
    "fillings": {"Mix": "batch", "Tub": "container", "Fill": "fill_kg"},
    "harvests": {"Mix": "batch", "Tub": "container", "Day": "picked_on", "Grams": "fresh_weight_g"},
}
OWN = conventions(headings=OWN_HEADINGS)
HEADER = "Mix,Made,Kind,Base,Tub,Fill,Day,Grams\n"


def part(
    table: str, text: str | bytes, own: Conventions = OWN, name: str = "log.csv"
) -> tuple[RawTable, ValidatedRows]:
    """What the sheet says for this table."""
    return load(text, own, name, table, beside=[other for other in TABLES if other != table])


def of_all(text: str | bytes, **columns: str) -> dict[str, list[tuple[Any, ...]]]:
    """The rows of each table, with these columns."""
    found = {table: values(part(table, text)[1], *columns[table].split()) for table in columns}
    raws = [part(table, text)[0] for table in TABLES]
    assert all(
        raw.rows_in == raw.frame.height + raw.rows_blank == raws[0].rows_blank + raws[0].frame.height for raw in raws
    )
    return found


COLUMNS = {
    "batches": "batch strain",
    "fillings": "batch container fill_kg",
    "harvests": "batch container fresh_weight_g",
}


def test_what_is_repeated_on_each_row_is_told_once() -> None:
    text = f"{HEADER}A,2026-04-01,grey,straw,1,5,2026-05-01,400\nA,2026-04-01,grey,straw,1,5,2026-05-09,300\n"
    assert of_all(text, **COLUMNS) == {
        "batches": [(2, "A", "grey")],
        "fillings": [(2, "A", "1", Decimal(5))],
        "harvests": [(2, "A", "1", Decimal(400)), (3, "A", "1", Decimal(300))],
    }


def test_what_stands_on_one_row_only_is_told_wherever_it_stands() -> None:
    text = f"{HEADER}A,,,,1,,2026-05-01,400\nA,2026-04-01,grey,straw,1,5,2026-05-09,300\nA,,grey,,2,,,\n"
    assert of_all(text, **COLUMNS) == {
        "batches": [(3, "A", "grey")],
        "fillings": [(3, "A", "1", Decimal(5)), (4, "A", "2", None)],
        "harvests": [(2, "A", "1", Decimal(400)), (3, "A", "1", Decimal(300))],
    }


def test_a_word_for_blank_says_nothing() -> None:
    text = f"{HEADER}A,2026-04-01,grey,straw,1,5,2026-05-01,400\nA,-,-,-,1,-,2026-05-09,300\nA,-,-,-,2,6,-,-\n"
    assert of_all(text, **COLUMNS) == {
        "batches": [(2, "A", "grey")],
        "fillings": [(2, "A", "1", Decimal(5)), (4, "A", "2", Decimal(6))],
        "harvests": [(2, "A", "1", Decimal(400)), (3, "A", "1", Decimal(300))],
    }


def test_what_is_told_in_two_ways_stays_twice_so_that_the_ledger_tells_of_it() -> None:
    text = f"{HEADER}A,2026-04-01,grey,straw,1,5,2026-05-01,400\nA,2026-04-01,blue,straw,1,6,2026-05-09,300\n"
    told = of_all(text, **COLUMNS)
    assert told["batches"] == [(2, "A", "grey"), (3, "A", "blue")]
    assert told["fillings"] == [(2, "A", "1", Decimal(5)), (3, "A", "1", Decimal(6))]


def test_a_name_that_is_missing_is_told_where_its_facts_stand() -> None:
    _, done = part("batches", f"{HEADER},2026-04-01,grey,straw,1,5,2026-05-01,400\n")
    assert rules(done) == [(2, "batch", "required", "set_aside")]
    _, done = part("fillings", f"{HEADER}A,2026-04-01,grey,straw,,5,2026-05-01,400\nA,,,,,,,\n")
    assert rules(done) == [(2, "container", "required", "set_aside")]


def test_a_batch_that_is_only_named_may_stand_in_another_file() -> None:
    assert part("batches", f"{HEADER}B,,,,1,5,2026-05-01,400\n")[0].rows_blank == 1


def test_two_equal_pickings_stay_two_and_what_no_table_reads_still_tells_them_apart() -> None:
    text = f"{HEADER[:-1]},Sky\nA,,,,1,,2026-05-01,400,sun\nA,,,,1,,2026-05-01,400,rain\n"
    assert part("harvests", text)[1].frame["other_cells"].to_list() == ["(Sky)=sun", "(Sky)=rain"]


def test_a_row_of_sums_at_the_end_is_an_entry_of_no_table() -> None:
    text = f"{HEADER}A,2026-04-01,grey,straw,1,5,2026-05-01,400\nTotal,,,,,5,,400\n"
    assert [rules(part(table, text)[1]) for table in TABLES] == [
        [],
        [(3, "", "totals_row", "set_aside")],
        [(3, "", "totals_row", "set_aside")],
    ]
    assert part("batches", text)[0].rows_blank == 1


def test_a_row_with_a_cell_too_many_is_set_aside_in_each_table_that_it_says_something_for() -> None:
    text = f"{HEADER}A,2026-04-01,grey,straw,1,5,2026-05-01,400,x\n"
    assert [rules(part(table, text)[1]) for table in TABLES] == [[(2, "", "ragged", "set_aside")]] * 3


def test_what_is_true_of_the_whole_sheet_is_told_once() -> None:
    text = f"{HEADER[:-1]};Sky;note;\nA;2026-04-01;grey;straw;1;5;2026-05-01;400;sun;x;y\n".replace(",", ";")
    told = [[each.rule for each in part(table, text)[0].notices] for table in TABLES]
    assert told == [["separator", "unknown_column", "shared_column", "unnamed_column"], [], []]
    assert part("batches", text)[0].notices[2].sentence() == (
        'log.csv, row 1, note: "note" is a column of several tables of this sheet, and is not read. '
        "Say in farm.toml to which of them it belongs, under [headings.TABLE]."
    )


def test_a_column_of_several_tables_is_read_for_the_one_that_farm_toml_names() -> None:
    own = conventions(
        headings={"harvests": {"note": "note", "Mix": "batch", "Day": "picked_on", "Grams": "fresh_weight_g"}}
    )
    text = "Mix,Day,Grams,note\nA,2026-05-01,400,x\n"
    raw, done = load(text, own, "log.csv", "harvests", beside=["fillings"])
    assert values(done, "note") == [(2, "x")]
    assert raw.notices == ()


def test_a_heading_that_stands_twice_is_refused_by_the_table_that_reads_it() -> None:
    text = "Mix,Made,Kind,Base,Tub,Day,Grams,Grams\nA,2026-04-01,grey,straw,1,2026-05-01,400,1\n"
    said = "log.csv, row 1, fresh_weight_g: stands twice in the header. Rename or delete one of them."
    for table in TABLES:
        beside = [other for other in TABLES if other != table]
        if table == "harvests":
            assert refusal(text, OWN, "log.csv", table, beside=beside) == said
        else:
            assert load(text, OWN, "log.csv", table, beside=beside)[0].frame.height == 1


def test_a_workbook_holds_each_table_in_a_sheet_of_its_own_or_all_in_one(tmp_path: Path) -> None:
    data = workbook((date(2026, 5, 1), 400, "1"))
    (tmp_path / "log.xlsx").write_bytes(data)
    told = {
        "log.xlsx": {"tables": ["fillings", "harvests", "batches"], "sheet": {"harvests": "Sheet", "batches": "Mix"}}
    }
    found = {each.table: each for each in table_files(tmp_path, conventions(files=told).files)}
    assert {table: (each.sheet, each.beside) for table, each in found.items()} == {
        "batches": ("Mix", ()),
        "fillings": (None, ()),
        "harvests": ("Sheet", ()),
    }
    told["log.xlsx"]["sheet"] = "Sheet"
    found = {each.table: each for each in table_files(tmp_path, conventions(files=told).files)}
    assert {(each.sheet, each.beside) for each in found.values()} == {
        ("Sheet", ("fillings", "harvests")),
        ("Sheet", ("fillings", "batches")),
        ("Sheet", ("harvests", "batches")),
    }


def test_of_the_tables_on_one_row_only_the_one_that_others_wait_for_tells_how_many(tmp_path: Path) -> None:
    told = as_toml(OWN_HEADINGS)
    (tmp_path / "farm.toml").write_text(
        f'[files."log.csv"]\ntables = ["batches", "fillings", "harvests"]\n{told}', "utf-8"
    )
    (tmp_path / "log.csv").write_text(
        f"{HEADER}A,2026-04-01,grey,straw,1,5,2026-05-01,400\nA,2026-04-01,blue,straw,1,5,2026-05-09,300\n", "utf-8"
    )
    said = here("check", "--farm", tmp_path, "--json").json
    assert sorted((each["table"], each["row"], each["rule"], each["rows_waiting"]) for each in said) == [
        ("batches", 2, "conflicting", 3),
        ("batches", 3, "conflicting", 0),
        ("fillings", 2, "waiting", 0),
        ("harvests", 2, "waiting", 0),
        ("harvests", 3, "waiting", 0),
    ]
    counts = here("refresh", "--farm", tmp_path).out
    assert [line.split("  ")[0] for line in counts.splitlines()[2:]] == [
        "log.csv (batches)",
        "log.csv (fillings)",
        "log.csv (harvests)",
    ]


def as_toml(headings: dict[str, dict[str, str]]) -> str:
    """These headings as farm.toml tells them."""
    return "\n".join(
        f"[headings.{table}]\n" + "\n".join(f'{name} = "{column}"' for name, column in told.items())
        for table, told in headings.items()
    )
