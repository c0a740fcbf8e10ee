"""The report of a farm however large: the page stays light, report.json says what it leaves out, and each keeps what
matters.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from report_reader import read_page
from test_report_json import kept, value_of
from test_report_meanings import gathered

from pipeline.demo import write_bench
from reports import long_tables
from reports import report_json as report_json_module
from reports.long_tables import ROWS_KEPT, ROWS_SHOWN
from reports.month import Month
from reports.page import render, sections
from reports.report_json import report_json
from reports.sections.finished import BATCHES_DRAWN
from reports.sections.spawn import POINTS_DRAWN
from reports.tables import FINDINGS_SHOWN, findings_table, waiting_table
from schemas.finding import Finding

PICKINGS, MONTH = 6_000, date(2024, 9, 1)
FEW = ROWS_KEPT // 20
MOST_BYTES, MOST_BYTES_OF_JSON = 2_000_000, 30_000_000
A_BATCH = (
    *("batch_kinds", "spawn_points", "soaks", "today", "finished_units", "finished_batches", "batch_courses"),
    *("batch_pickings", "picking_rows", "outlook_batches", "outlook_by_batch"),
)


def times(month: Month, often: int) -> Month:
    """Returns the month of a farm with so many times the batches: of other names, and found in other rows."""
    tables = dict(month.tables)
    for name in A_BATCH:
        names = [column for column in ("batch", "soak") if any(column in row for row in tables[name])]
        tables[name] = [
            {**row, **{column: f"{row[column]}-{copy}" for column in names if row[column]}}
            for row in tables[name]
            for copy in range(often)
        ]
    found = [replace(each, row=100_000 * copy + each.row) for each in month.findings for copy in range(often)]
    return replace(month, tables=tables, findings=found)


@pytest.fixture(scope="module")
def month(tmp_path_factory: pytest.TempPathFactory) -> Month:
    folder = tmp_path_factory.mktemp("large") / "farm"
    write_bench(folder, PICKINGS, 1)
    (found,) = gathered(folder, [MONTH])
    return found


@pytest.fixture(scope="module")
def large(month: Month) -> Month:
    return times(month, 150)


@pytest.fixture
def few(monkeypatch: pytest.MonkeyPatch) -> None:
    """Keeps a twentieth as many rows, so that a smaller farm is cut as well."""
    for module in (long_tables, report_json_module):
        monkeypatch.setattr(module, "ROWS_KEPT", FEW)


@pytest.fixture
def larger(few: None, month: Month) -> Month:
    return times(month, 8)


@pytest.fixture
def data(few: None, larger: Month) -> dict[str, Any]:
    return kept(report_json(larger))


def test_a_page_grows_with_months_and_recipes_and_not_with_batches(month: Month, large: Month) -> None:
    a_third = len(render(times(month, 50)).encode())
    page = len(render(large).encode())
    assert len(large.rows("spawn_points")) > 10 * POINTS_DRAWN
    assert len(large.rows("finished_batches")) > 5 * BATCHES_DRAWN
    assert page < MOST_BYTES
    assert page < 1.1 * a_third


def test_a_cut_table_says_how_many_rows_there_are_and_what_lists_them(large: Month) -> None:
    shown = {each.id: each for section in sections(large) for each in section.tables}
    soaks, ahead, ended = shown["table-soaks"], shown["table-outlook_batches"], shown["table-finished_units"]
    whole = len(large.rows("soaks"))
    assert soaks.more == f"The last {ROWS_SHOWN} of {whole} rows; gillbook export --month 2024-09 has all."
    expected = [large.rows("outlook_batches")[at]["expected_kg"] or 0.0 for at in ahead.numbers]
    assert expected == sorted(expected, reverse=True)  # type: ignore[type-var]
    assert expected[0] == max(row["expected_kg"] or 0.0 for row in large.rows("outlook_batches"))  # type: ignore[type-var]
    be = [row["be_pct"] for row in large.rows("finished_units") if row["be_pct"]]
    told = [large.rows("finished_units")[at]["be_pct"] for at in ended.numbers]
    assert (told[0], told[-1], len(told)) == (min(be), max(be), ROWS_SHOWN)  # type: ignore[type-var]
    assert ended.more.startswith(f"{ROWS_SHOWN} of {len(large.rows('finished_units'))} rows, the lowest BE of those")
    assert shown["table-warnings"].more.endswith("; gillbook check tells of all.")
    page = read_page(render(large)).text
    assert soaks.more in page
    assert "batches are drawn, evenly spread." in page


def test_the_data_keep_their_contract_and_every_row_that_the_page_tells_of(larger: Month, data: dict[str, Any]) -> None:
    assert data["version"] == 2
    assert {"batch_kinds", "spawn_points", "findings"} <= data["cut"].keys()
    for name, cut in data["cut"].items():
        whole = larger.findings if name == "findings" else larger.rows(name)
        numbers = [at for first, last in cut["kept"] for at in range(first, last + 1)]
        rows = data["findings"] if name == "findings" else data["tables"][name]
        # What the page names is kept, also where it is more.
        assert (cut["rows"], len(rows)) == (len(whole), len(numbers))
        assert FEW <= len(numbers) < 2 * FEW
        if name != "findings":
            assert json.loads(json.dumps([whole[at] for at in numbers], default=str)) == rows
    for figure in (figure for said in data["says"] for figure in said["figures"] if "*" not in figure["inputs"][0]):
        assert figure["value"] == pytest.approx(value_of(data, figure)), figure
    for chart in (chart for chart in data["charts"] if chart["table"] in data["cut"]):
        runs = data["cut"][chart["table"]]["kept"]
        assert all(any(first <= row["row"] <= last for first, last in runs) for row in chart["rows"] if "row" in row)


def test_the_worst_findings_are_kept(larger: Month, data: dict[str, Any]) -> None:
    bad = [each for each in larger.findings if each.level in ("lost", "set_aside")]
    assert 0 < len(bad) <= FEW < len(larger.findings)
    assert sum(each["level"] in ("lost", "set_aside") for each in data["findings"]) == len(bad)


def test_report_json_is_no_longer_than_this(large: Month) -> None:
    data = json.loads(report_json(large))
    assert len(large.rows("spawn_points")) > len(data["tables"]["spawn_points"])
    assert len(json.dumps(data).encode()) < MOST_BYTES_OF_JSON
    rows = {**data["tables"], "findings": data["findings"]}
    assert max(map(len, rows.values())) == ROWS_KEPT


def test_tables_of_a_year_that_nothing_else_lists_are_whole(larger: Month) -> None:
    year = replace(larger, of_span=True)
    told = json.loads(report_json(year))
    assert {name: len(rows) for name, rows in told["tables"].items()} == {
        name: len(rows) for name, rows in year.tables.items()
    }
    assert set(told["cut"]) == {"findings"}


def found_in(row: int, rule: str = "lapsed", parent: int = 1) -> Finding:
    waits = ("batches.csv", parent)
    return Finding("harvests", "harvests.csv", row, "", rule, "warning", None, "is odd", "", "Mend it.", waits)


def test_some_of_each_kind_are_shown_and_those_that_most_waits_for() -> None:
    many = [found_in(row) for row in range(2, 200)] + [found_in(300, "required"), found_in(301, "required")]
    table = findings_table("warnings", "Warnings", many, len(many))
    assert table is not None
    assert len(table.rows) == FINDINGS_SHOWN
    assert [getattr(row[0], "text", "") for row in table.rows[-2:]] == [
        "harvests.csv, row 300",
        "harvests.csv, row 301",
    ]
    assert table.more == f"Some of each kind, {FINDINGS_SHOWN} of {len(many)}; the file .json beside this page has all."
    waiting = [found_in(10 * parent + at, parent=parent) for parent in range(1, 100) for at in range(1 + parent % 7)]
    shown = waiting_table("Waiting", [*waiting, *(found_in(2 * at, parent=500) for at in range(1, 101))], 1)
    assert shown is not None
    assert len(shown.rows) == FINDINGS_SHOWN
    assert shown.more == f"{FINDINGS_SHOWN} of 100, those with most rows; the file .json beside this page has all."
    first = [getattr(cell, "text", "") for cell in shown.rows[0]]
    assert first[0] == "batches.csv, row 500"
    assert first[2].startswith("2, 4, 6")
    assert first[2].endswith("80, and 60 more")


def test_rows_are_chosen_as_said() -> None:
    rows = [{"be": value} for value in (5.0, None, 0.0, 9.0, 1.0, 7.0)]
    assert long_tables.highest(rows, "be", 2) == [3, 5]
    assert long_tables.lowest_and_highest(rows, "be", 3) == [4, 5, 3]
    assert long_tables.lowest_and_highest(rows, "be", 4) == [*range(6)]
    assert long_tables.evenly(range(10), 4) == [0, 2, 5, 7]
    assert long_tables.runs([3, 5, 6, 7]) == [[3, 3], [5, 7]]
    newest = long_tables.rows_to_hold("soaks", ROWS_KEPT + 5, {1})
    assert newest == [1, *range(6, ROWS_KEPT + 5)]
    assert long_tables.rows_to_hold("today", ROWS_KEPT + 5, {ROWS_KEPT + 3}) == [*range(ROWS_KEPT - 1), ROWS_KEPT + 3]
