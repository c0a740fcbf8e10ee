"""What the page leaves to report.json, so that it stays light: it says of how many it shows some, and which."""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from report_months import CASES, Unit, a_month, page_of
from report_reader import read_page
from test_report_meanings import gathered

from reports.figures import plain
from reports.month import Month
from reports.page import labels, main_sections, render
from reports.report_json import report_json
from reports.sections import losses, outlook, recipes
from reports.soaks_chart import soaks_chart
from reports.tables import ROWS_SHOWN

DEMO = Path(__file__).resolve().parents[1] / "demo_data"
MOST_BYTES_OF_DEMO = 1_000_000
MOST_BYTES = {"no_tables": 500_000, "one_batch": 700_000, "sixty_batches": 1_300_000}
SOAKS = 1500


@pytest.fixture(scope="module")
def many_soaks() -> Month:
    first = date(2020, 1, 1)
    soaks = [
        {"soak": f"S{at}", "inoculated_on": first + timedelta(days=at), "units": 10, "lost": at % 4}
        | {"lost_pct": 10.0 * (at % 4)}
        for at in range(SOAKS)
    ]
    month = a_month([Unit()])
    return replace(month, tables={**month.tables, "soaks": soaks})


@pytest.mark.parametrize("case", MOST_BYTES)
def test_a_page_weighs_no_more_than_this(case: str) -> None:
    assert len(page_of(case).encode()) < MOST_BYTES[case]


def test_the_heaviest_months_of_the_demo_farm_weigh_a_megabyte_at_most(tmp_path: Path) -> None:
    shutil.copytree(DEMO, tmp_path / "demo")
    for month in gathered(tmp_path / "demo", [date(2026, 8, 1), date(2026, 9, 1)]):
        assert len(render(month).encode()) <= MOST_BYTES_OF_DEMO, month.month


def test_a_record_of_many_soaks_counts_each_in_the_square_of_its_month_and_says_so(many_soaks: Month) -> None:
    (strip,) = soaks_chart(many_soaks)
    assert sum(row["soaks"] for row in strip.rows) == SOAKS
    assert sum(row["lost"] for row in strip.rows) == sum(row["lost"] for row in many_soaks.rows("soaks"))  # type: ignore[misc]
    assert (strip.rows[0]["soaks"], strip.facts[0]) == (31, "Jan 2020: 45 of 310 lost")
    assert strip.part == f"A square is a month: all {SOAKS} soaks are counted."
    assert strip.rows[0]["line"] == strip.rows[0]["column"] == 0
    long = [
        row | {"inoculated_on": date(1990 + at // 50, 1 + at % 12, 1)}
        for at, row in enumerate(many_soaks.rows("soaks"))
    ]
    (years,) = soaks_chart(replace(many_soaks, tables={**many_soaks.tables, "soaks": long}))
    assert years.part == f"A square is a year: all {SOAKS} soaks are counted."
    assert len(years.rows) == SOAKS // 50
    (table,) = [each for each in losses.section(many_soaks).tables if each.id == "table-soaks"]
    assert table.numbers == tuple(range(SOAKS - ROWS_SHOWN, SOAKS))
    assert table.more == f"The last {ROWS_SHOWN} of {SOAKS} rows; the file .json beside this page has all."
    assert len(json.loads(report_json(many_soaks))["tables"]["soaks"]) == SOAKS
    assert len(render(many_soaks).encode()) < 1_000_000


def test_each_cell_has_the_head_of_its_column_in_the_style() -> None:
    month = CASES["first_month"]()
    shown = main_sections(month)
    style = labels(shown)
    assert style in page_of("first_month")
    for table in (table for section in shown for table in section.tables):
        for place, head in enumerate(table.heads, start=1):
            (said,) = re.findall(rf'#{table.id} td:nth-child\({place}\)\{{--label:"(.*)"\}}', style)
            assert re.sub(r"\\([0-9a-f]+) ", lambda sign: chr(int(sign[1], 16)), said).startswith(head.title)


def test_the_total_of_four_weeks_stands_by_its_chart_or_nowhere() -> None:
    week = {"week": 4, "sum_median_kg": 12.5, "sum_low80_kg": 8.0, "sum_high80_kg": 20.0}
    month = replace(a_month(), tables={"outlook": [week]})
    (said,) = outlook.four_weeks(month)
    assert plain(said) == "Four weeks together: about 12.50\u00a0kg (8.00 to 20.00)."
    assert outlook.four_weeks(replace(month, tables={"outlook": [{**week, "sum_median_kg": None}]})) == []


def test_money_stands_beside_the_recipes_where_there_are_books() -> None:
    whose = {"substrate": "straw", "treatment": "steam", "spawn_form": "grain"}
    figures = {"containers": 3, "units_open": 0, "picked_g": 4000, "cost_per_kg": 5.0, "margin_per_container": 10.0}
    row = whose | figures | {"units": 3, "revenue": 50.0, "cost": 20.0, "margin": 30.0, "lacks": ""}
    nobodys = {**row, "substrate": "", "treatment": "", "spawn_form": "", "units": 0, "revenue": 7.0}
    month = a_month([Unit()], currency="EUR")
    paid = replace(month, tables={**month.tables, "money": [row, nobodys]})
    table = recipes.money_table(paid)
    assert table is not None
    assert (table.caption, len(table.rows)) == ("Money of each recipe so far, EUR", 1)
    assert "30.00" in read_page(render(paid)).text
    assert recipes.money_table(month) is None
    assert "table-money" not in render(month)


def test_recipes_stand_with_the_highest_first() -> None:
    units = [Unit(treatment="steam", dry_g=4000), Unit(treatment="cold_lime", batch="B", container="2")]
    (chart,) = recipes.recipes_chart(a_month(units))
    assert [fact.split(" \u00b7 ")[1] for fact in chart.facts] == ["cold lime", "steam"]
