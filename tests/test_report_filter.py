"""The page is filtered by recipe, strain and kind of container; no figure lies meanwhile; points tell their rows."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from browser import WHY_NOT, Browser, chromium, there
from report_months import CASES, HOSTILE, Unit, a_month
from report_reader import read_page
from test_report_in_browser import PROBE

from reports.fan_chart import fan_chart
from reports.filters import Filters, Marks
from reports.month import Month
from reports.page import charts, render
from reports.point_places import ROWS_NAMED, PointPlaces

in_browser = pytest.mark.skipif(not there(), reason=WHY_NOT)

UNITS = [
    Unit("A", "1", "grey", "straw"),
    Unit("A", "2", "grey", "straw", kind="bag", flushes=(300.0,)),
    Unit("B", "3", "pink", "straw", flushes=(1300.0,), soak="S2"),
    Unit("C", "4", "grey", "mulch", soak="S2"),
]
STATE = """(() => {
  const shown = each => [...each.rows].filter(row => !row.hidden).map(row => row.cells[0].textContent);
  return JSON.stringify({
    status: document.getElementById("filtered").textContent,
    batches: shown(document.querySelector("#table-batch_courses tbody")),
    units: shown(document.querySelector("#table-finished_units tbody")),
    flushes: shown(document.querySelector("#table-flushes tbody")),
    whole: [...document.querySelectorAll(".marked.whole")].map(each => each.parentElement.textContent),
    lanes: [...document.querySelectorAll("#chart-recipes svg text")].map(each => each.textContent),
  });
})()"""


def mixed_month() -> Month:
    """Four containers: two kinds in one batch, two strains on straw, two substrates of one soak."""
    return a_month(UNITS, before=[("2026-08", 1200.0)])


def choose(browser: Browser, name: str, text: str) -> None:
    """Chooses an option of a field as its reader does, and waits until all is drawn anew."""
    script = f"""(async () => {{
      const field = document.querySelector("#filter select[name={name}]");
      field.value = [...field.options].find(each => each.textContent === {json.dumps(text)}).value;
      field.dispatchEvent(new Event("change", {{ bubbles: true }}));
    }})()"""
    browser.evaluate(script)
    browser.wait(
        "[...document.querySelectorAll('main > .columns .drawing')].every(each => each.firstChild?.firstChild)"
    )


def state(browser: Browser) -> dict[str, list[str]]:
    found: dict[str, list[str]] = json.loads(browser.evaluate(STATE))
    return found


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as tab:
        yield tab


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("filtered") / "page.html"
    path.write_text(render(mixed_month()), encoding="utf-8", newline="\n")
    return path


def test_a_row_is_of_what_its_own_cells_or_its_batch_say() -> None:
    filters = Filters(mixed_month())
    assert [(each.name, each.options) for each in filters.choices] == [
        ("recipe", ("mulch \u00b7 cold lime \u00b7 grain", "straw \u00b7 cold lime \u00b7 grain")),
        ("strain", ("grey", "pink")),
        ("kind", ("bag", "bucket")),
    ]
    # Each combination by its places among the options: grey mulch, grey straw in bags, in buckets, pink straw.
    assert filters.combinations == [[0, 0, 1], [1, 0, 0], [1, 0, 1], [1, 1, 1]]
    units = [filters.of_row("finished_units", at) for at in range(4)]
    assert units == [{2}, {1}, {3}, {0}]
    assert [filters.of_row("batch_courses", at) for at in range(3)] == [{1, 2}, {3}, {0}]
    substrates = {
        row["substrate"]: filters.of_row("flushes", at) for at, row in enumerate(filters.month.rows("flushes"))
    }
    assert substrates == {"straw": {1, 2, 3}, "mulch": {0}}
    soaks = {row["soak"]: filters.of_row("soaks", at) for at, row in enumerate(filters.month.rows("soaks"))}
    assert soaks == {"S1": {1, 2}, "S2": {0, 3}}
    assert filters.of_row("months", 0) == filters.all == {0, 1, 2, 3}


def test_what_cannot_be_matched_is_of_all() -> None:
    month = mixed_month()
    rows = [{"batch": "elsewhere"}, {"strain": "unheard of"}, {"strain": None}, {"strain": " GREY "}]
    filters = Filters(replace(month, tables={**month.tables, "promise_chances": rows}))
    assert [filters.of_row("promise_chances", at) == filters.all for at in range(4)] == [True, True, True, False]
    assert Filters(a_month()).of_row("months", 0) == frozenset()
    marks = Marks(filters)
    assert marks.of_rows("finished_units", [0, 1, 0]) == [1, 2, 1]
    assert marks.of_row("months", 0) == 0
    assert marks.sets == [[0, 1, 2, 3], [2], [1]]


def test_a_point_knows_its_container_batch_file_and_row() -> None:
    month = mixed_month()
    places = PointPlaces(month)
    assert places.of_row("months", 0) is None
    assert [places.of_row("finished_units", 1), places.of_row("batch_pickings", 0)] == [0, 1]
    assert [places.of_row("batch_courses", 0), places.of_row("soaks", 1)] == [2, 3]
    assert places.found == [
        ("Batch", "A", [["2", 0, 7]], 0),
        ("Batch", "A", [["1", 1, 2], ["2", 1, 3]], 0),
        ("Batch", "A", [["", 2, 3]], 0),
        ("Soak", "S2", [["B", 2, 3], ["C", 2, 3]], 0),
    ]
    assert places.files == ["fillings.csv", "harvests.csv", "batches.csv"]
    many = a_month([Unit("A", str(at)) for at in range(ROWS_NAMED + 3)])
    found = PointPlaces(many)
    assert found.of_row("batch_pickings", 0) == 0
    assert [len(found.found[0][2]), found.found[0][3]] == [ROWS_NAMED, 3]


def test_without_a_script_there_is_no_filter_and_without_a_choice_none_at_all() -> None:
    shown = [named for tag, named in read_page(render(mixed_month())).tags if named.get("id") == "filter"]
    assert [("hidden" in named, named["aria-label"]) for named in shown] == [(True, "Filter the page")]
    assert 'id="filter"' not in render(CASES["one_container"]())
    assert 'id="filter"' not in render(mixed_month(), brief=True)


@in_browser
def test_a_filter_leaves_what_is_within_it_and_marks_all_else(browser: Browser, page: Path) -> None:
    browser.open(page, 1280)
    before = state(browser)
    assert before["status"] == ""
    assert (before["batches"], len(before["units"]), before["whole"]) == (["A", "B", "C"], 4, [])
    choose(browser, "strain", "pink")
    seen = state(browser)
    assert seen["batches"] == ["B"]
    assert [each for each in seen["units"] if each.startswith("B")] == seen["units"]
    # Straw is of grey containers too, and says so; mulch has no pink ones.
    assert seen["flushes"] == ["strawalso of others"] * len(seen["flushes"])
    assert any(each.startswith("straw") for each in seen["lanes"])
    assert not any(each.startswith("mulch") for each in seen["lanes"])
    assert "rows shown: pink." in seen["status"]
    headline = browser.evaluate("document.querySelector('.headline').textContent.trim()")
    assert headline in [each.strip() for each in seen["whole"]]
    # Tiles are added up anew; how much is not counted yet is of the whole farm.
    assert {"Pickedwhole farm", "Lostwhole farm", "BE of what finishedwhole farm"}.isdisjoint(seen["whole"])
    assert any(each.startswith("at least") for each in seen["whole"])
    choose(browser, "kind", "bag")
    assert state(browser)["batches"] == []
    assert "No batch is of all of these." in state(browser)["status"]
    browser.tap("#filter button[type=reset]")
    browser.wait("!document.querySelector('.marked')")
    assert {**state(browser), "lanes": []} == {**before, "lanes": []}
    assert browser.log == []


@in_browser
def test_no_sentence_with_a_figure_and_no_chart_is_silently_of_another_set(browser: Browser, page: Path) -> None:
    browser.open(page, 1280)
    choose(browser, "strain", "pink")
    unmarked = """[...document.querySelectorAll('main .figure')].filter(each => each.getClientRects().length
        && !each.closest('tr[data-row]')
        && !each.dataset.sum
        && !each.closest('.headline, .heads > div, .finding, .note, .warning')?.querySelector('.marked')
        && !each.closest('.steps')).map(each => each.parentElement.textContent)"""
    assert browser.evaluate(unmarked) == []
    charts = """[...document.querySelectorAll('figure.chart')].filter(each => {
        const id = each.querySelector('.drawing').id.slice(6), data = JSON.stringify(drawing.specs[id]);
        return !data.includes('"in":') && !drawing.whose.summed[id] && !each.querySelector('figcaption .marked.whole');
    }).length"""
    assert browser.evaluate(charts) == 0
    rows = """[...document.querySelectorAll('table[data-table]')].filter(table => {
        const rows = [...table.tBodies[0].rows], marked = rows.some(each => each.dataset.in);
        const summary = table.closest('details')?.querySelector('summary');
        return marked ? rows.some(row => !row.hidden && !row.dataset.in && !row.querySelector('.marked'))
            : summary && !summary.querySelector('.marked.whole');
    }).map(each => each.ariaLabel)"""
    assert browser.evaluate(rows) == []


@in_browser
def test_a_text_alternative_reads_out_what_is_left(browser: Browser, page: Path) -> None:
    browser.open(page, 1280)
    label = "document.getElementById('chart-recipes').ariaLabel"
    before = browser.evaluate(label)
    assert "mulch" in before
    choose(browser, "strain", "pink")
    assert "straw" in browser.evaluate(label)
    assert "mulch" not in browser.evaluate(label)
    choose(browser, "strain", "all")
    assert browser.evaluate(label) == before


@in_browser
def test_a_pressed_point_tells_its_rows_and_a_list_tells_all(browser: Browser, page: Path) -> None:
    browser.open(page, 1280)
    browser.evaluate("document.querySelector('#chart-courses-1').scrollIntoView({ block: 'center' })")
    browser.tap("#chart-courses-1 .mark-symbol path")
    browser.wait("document.querySelector('#chart-courses-1 ~ .pressed').textContent !== ''")
    said = browser.evaluate("document.querySelector('#chart-courses-1 ~ .pressed').textContent")
    browser.evaluate("document.querySelector('#chart-courses-1 ~ .points').open = true")
    browser.wait("document.querySelector('#chart-courses-1 ~ .points li') !== null")
    assert browser.evaluate("document.querySelector('#chart-courses-1 ~ .points ul').tabIndex") == 0
    lines = browser.evaluate("[...document.querySelectorAll('#chart-courses-1 ~ .points li')].map(e => e.textContent)")
    # A long list scrolls, which a keyboard must reach.
    assert browser.evaluate("document.querySelector('#chart-courses-1 ~ .points ul').tabIndex") == 0
    assert said in lines
    assert "in harvests.csv, row " in said
    assert "Batch A: container 1 in harvests.csv, row 2; container 2 in harvests.csv, row 3." in lines
    assert "Batch A: batches.csv, row 3." in lines


@in_browser
def test_it_is_worked_by_the_keyboard_and_fits_a_small_phone(browser: Browser, page: Path) -> None:
    browser.open(page, 360)
    browser.evaluate("document.querySelector('#filter select[name=strain]').focus()")
    browser.key("ArrowDown")
    browser.key("ArrowDown")
    browser.wait("document.getElementById('filtered').textContent !== ''")
    named = "[...document.querySelectorAll('#filter select')].map(each => each.labels[0].firstChild.textContent.trim())"
    assert browser.evaluate(named) == ["Recipe", "Strain", "Container"]
    assert browser.evaluate("document.getElementById('filtered').ariaLive") == "polite"
    high = "[...document.querySelectorAll('#filter select, #filter button')].map(e => e.getBoundingClientRect().height)"
    assert min(browser.evaluate(high)) >= 44
    browser.wait(
        "[...document.querySelectorAll('main > .columns .drawing')].every(each => each.firstChild?.firstChild)"
    )
    seen = json.loads(browser.evaluate(PROBE))
    assert (seen["tooWide"], seen["cut"], seen["page"]) == ([], [], 360)


def test_what_is_drawn_leaves_to_the_page_the_names_of_its_marks() -> None:
    """A bracket with an `at` of its own was looked up as a place, and the list of places stayed empty."""
    month = CASES["first_month"]()
    weeks = [row | {"sum_median_kg": 9.0, "sum_low80_kg": 7.0, "sum_high80_kg": 12.0} for row in month.rows("outlook")]
    summed = replace(month, tables={**month.tables, "outlook": weeks})
    drawn = [
        (each.id, point)
        for each in (*charts(month), *fan_chart(summed, 3))
        for points in (*each.spec.get("datasets", {}).values(), each.spec.get("data", {}).get("values", []))
        for point in points
    ]
    assert {"recipes", "courses-1"} <= {name for name, _ in drawn}
    assert [point["said"] for name, point in drawn if name == "outlook" and "over" in point]
    assert [name for name, point in drawn if {"in", "at"} & set(point)] == []


@in_browser
def test_hostile_names_stay_text_in_a_filtered_page(browser: Browser, tmp_path: Path) -> None:
    path = tmp_path / "hostile.html"
    path.write_text(render(CASES["hostile_names"]()), encoding="utf-8", newline="\n")
    browser.open(path, 1280)
    choose(browser, "strain", HOSTILE[0])
    browser.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true; })")
    browser.wait("document.querySelector('.points li') !== null")
    assert browser.evaluate("window.hit ?? null") is None
    assert browser.log == []
    assert browser.requests == [path.as_uri()]
