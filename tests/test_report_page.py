"""The page keeps its promises: every figure is its table's, nothing in a cell becomes more than text, no address."""

from __future__ import annotations

import base64
import gzip
import hashlib
import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import altair as alt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import ValidationError
from report_months import CASES, HOSTILE, Unit, a_month, charts_of, found, page_of
from report_reader import Page, data_rows, read_page, told_by

from reports.colours import OTHER_STRAINS, STRAIN_COLOURS
from reports.document import packed_json, script_json
from reports.drawing import FACTS_READ, Chart
from reports.figures import field_of, shown_unit
from reports.month import Month
from reports.page import APPENDIX, DEFINED, SECTIONS, VIEWS, render
from reports.vega import bundle
from schemas.contract import contract

HOUSE = Path(__file__).parent.parent
# Numbers that are the name of something, or ours: no figure of a farm.
CONSTANTS = re.compile(
    r"\b(95|99) % (interval|limits)|likely range \(95 %\)|\b(50|80) % bands?|[Oo]f 9[59] %|at 95 %|on 1 batch"
)
NAMES_OF_MONTHS = "January|February|March|April|May|June|July|August|September|October|November|December"
DATES = re.compile(rf"({NAMES_OF_MONTHS}|{'|'.join(each[:3] for each in NAMES_OF_MONTHS.split('|'))}) \d{{4}}")
# What says of how many a table or a chart shows some.
SOME = r"(The last |The first |Some of each kind, )?\d+ of \d+"

# chart (the start of its id): the value that its facts read out, its decimals, and the factor to what is shown
READ_OUT = {
    "calendar": ("kg", 2),
    "courses": (None, 2),
    "slopes": ("declinestarted", 2),
    "months": ("kg", 2),
    "outlook": ("mediankg", 2),
    "batches": ("be", 1),
    "recipes": ("be", 1),
    "differences": ("difference", 1),
    "spawn": (None, 1),
    "waiting": (None, 1),
    "pins": ("pinnedpct", 0),
    "losses": ("lost", None),
    "soaks": ("lost", 0),
    "stages": ("share", 1),
}


def assert_figures(month: Month, page: Page) -> None:
    """Every figure is the cell that it names, unrounded in its attribute, and rounded in its text."""
    for attributes, text in page.figures:
        value = json.loads(attributes["data-value"])
        told = told_by(month, attributes)
        assert value == (pytest.approx(told, rel=1e-12) if told is not None else None), attributes
        assert_rounded(text, value, attributes)


def assert_rounded(text: str, value: float | None, attributes: dict[str, str]) -> None:
    if value is None:
        assert text == "\u2013"
        return
    number, _, unit = text.partition("\u00a0")
    number = number.replace("\u202f", "")
    decimals = len(number.partition(".")[2])
    place = attributes.get("data-inputs", "").split()
    table, _, column = (place[0] if place else attributes["data-cell"]).split("/")
    counted = attributes.get("data-formula", "").startswith("count") or table == "month"
    grams = not counted and field_of(table, column).unit == "g" and unit != "%"
    # Differences and changes made here are told in words like more and less.
    told = abs(value) if place else value
    assert abs(float(number) - told / (1000 if grams else 1)) <= 0.5000001 * 10**-decimals, (text, attributes)
    if unit:
        assert unit == ("kg" if grams else "%" if unit == "%" else shown_unit(field_of(table, column)))


@pytest.mark.parametrize("case", CASES)
def test_every_figure_is_the_value_of_the_table_it_names(case: str) -> None:
    page = read_page(page_of(case))
    assert page.figures or case == "no_tables"
    assert_figures(CASES[case](), page)


@pytest.mark.parametrize("case", CASES)
def test_every_chart_is_one_by_the_schema_of_vega_lite(case: str) -> None:
    """Nothing holds charts against the schema as they are made."""
    for chart in charts_of(case):
        alt.Chart.from_dict(chart.spec, validate=True)


def test_the_schema_refuses_what_is_no_chart() -> None:
    spec = next(chart.spec for case in CASES for chart in charts_of(case))
    with pytest.raises(ValidationError):
        alt.Chart.from_dict({**spec, "width": "as wide as it gets"}, validate=True)


names = st.text(max_size=12)
grams = st.floats(0.001, 9e6)
units = st.lists(
    st.builds(
        Unit,
        batch=names,
        container=names,
        strain=names,
        substrate=names,
        treatment=names,
        flushes=st.lists(grams, max_size=4).map(tuple),
        dry_g=st.none() | grams,
        soak=names,
    ),
    max_size=6,
    unique_by=lambda unit: (unit.batch, unit.container),
)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(units=units, before=st.lists(grams | st.just(0.0), max_size=2), aside=st.integers(0, 3))
def test_every_figure_of_any_month_is_its_tables(units: list[Unit], before: list[float], aside: int) -> None:
    earlier = list(zip(("2025-09", "2026-08"), before, strict=False))
    findings = [found("set_aside", row, "x", aside) for row in range(2, 2 + aside)]
    month = a_month(units, before=earlier, findings=findings)
    assert_figures(month, read_page(render(month)))


@pytest.mark.parametrize("case", CASES)
def test_no_number_stands_outside_of_a_figure(case: str) -> None:
    loose = [DATES.sub("", text) for text in read_page(page_of(case)).loose]
    # What stays are words that are numbers by their nature.
    left = [text for text in loose if re.search(r"\d", CONSTANTS.sub("", text))]
    assert [text for text in left if not re.fullmatch(f"{SOME}.*", text)] == []


@pytest.mark.parametrize("case", CASES)
def test_every_value_drawn_is_the_tables(case: str) -> None:
    month = CASES[case]()
    column_of = {"share": "share_of_staged_pct", "low": "low_pct", "high": "high_pct", "be": "be_pct"}
    for chart in charts_of(case):
        assert chart.rows
        for drawn in chart.rows:
            table = "finished_units" if "unit_row" in drawn else chart.table
            row = month.rows(table)[drawn.get("unit_row", drawn.get("row"))]
            # The other charts draw a column under its name without underscores.
            columns = {column.replace("_", ""): column for column in row} | {
                short: column for short, column in column_of.items() if column in row
            }
            for name in drawn.keys() & columns.keys() - {"units", "lost", "strain"}:
                assert drawn[name] == row[columns[name]], (chart.id, name)
            if "kg" in drawn:
                assert drawn["kg"] == row["fresh_g"] / 1000
            if chart.id == "losses":
                assert drawn["lost"] == row["lost_pct"]
            if "units" in drawn:
                kept = {"known": "units_known", "not-yet": "units_not_yet", "lost": "lost"}.get(drawn["colour"])
                assert drawn["units"] == (row[kept] if kept else row["units"] - row["lost"])
        in_spec = list(data_rows(chart.spec))
        assert all(any(drawn.items() <= row.items() for row in in_spec) for drawn in chart.rows), chart.id


def test_text_of_cells_is_never_markup_script_or_template() -> None:
    text = page_of("hostile_names")
    page = read_page(text)
    assert [tag for tag, _ in page.tags].count("script") == 6
    assert not [tag for tag, named in page.tags if tag == "img" or any(name.startswith("on") for name in named)]
    for name in (HOSTILE[0], HOSTILE[1], HOSTILE[2], HOSTILE[3]):
        assert name in page.text
    assert "49" not in page.text
    assert "abcgpj.exe \ufffd" in page.text
    assert not re.search("[\u202a-\u202e\u2066\u2067\u2028\u2029]", text)
    assert [named["href"] for _, named in page.tags if not named.get("href", "#").startswith("#")] == []
    assert [tag for tag, named in page.tags if named.keys() & {"src", "srcset", "action", "data", "poster"}] == []


def test_text_of_cells_is_only_data_of_a_chart() -> None:
    charts = read_page(page_of("hostile_names")).charts
    assert charts

    def without_data(part: object) -> object:
        if isinstance(part, dict):
            return {name: without_data(each) for name, each in part.items() if name not in ("datasets", "values")}
        return [without_data(each) for each in part] if isinstance(part, list) else part

    bare = json.dumps(without_data(charts))
    for name in HOSTILE:
        assert json.dumps(name)[1:-1] not in bare
    assert not re.search(r"\"(transform|url|href|\$schema)\"", bare)
    fields = set(re.findall(r'"field": "([^"]*)"', bare))
    assert fields
    assert all(re.fullmatch("[a-z0-9]+", name) for name in fields)


def test_json_within_a_script_cannot_end_it() -> None:
    texts = ["</script>", "<!--", "&amp;", "\u2028\u2029", "\u202e", "\U0001f344"]
    written = script_json({text: text for text in texts})
    assert not set(written) & set("<>&\u2028\u2029\u202e")
    assert json.loads(written) == {text: text for text in texts}


def test_what_is_drawn_stands_packed_in_letters_and_digits_alike_for_alike() -> None:
    data = {"</script>": ["<!--", 1.5, None]}
    assert json.loads(gzip.decompress(base64.b64decode(packed_json(data)))) == data
    assert packed_json(data) == packed_json(dict(data))
    assert re.fullmatch(r"[A-Za-z0-9+/=]+", packed_json(data))


def test_the_policy_lets_only_this_pages_own_scripts_run_and_nothing_be_reached() -> None:
    text = page_of("one_batch")
    said = next(named for tag, named in read_page(text).tags if named.get("http-equiv") == "Content-Security-Policy")
    rules = dict(rule.strip().split(" ", 1) for rule in said["content"].split(";"))
    assert rules["default-src"] == rules["base-uri"] == rules["form-action"] == "'none'"
    assert rules.keys() == {"default-src", "script-src", "style-src", "base-uri", "form-action"}
    # The drawing library stands packed in the page, and runs as it was before.
    scripts = [bundle(), *re.findall(r"<script>(.*?)</script>", text, re.DOTALL)]
    styles = re.findall(r"<style>(.*?)</style>", text, re.DOTALL)
    for parts, rule in ((scripts, "script-src"), (styles, "style-src")):
        hashes = [base64.b64encode(hashlib.sha256(part.encode()).digest()).decode() for part in parts]
        assert rules[rule].split() == [f"'sha256-{each}'" for each in hashes]


def test_the_same_month_gives_the_same_bytes_in_any_process() -> None:
    script = "import hashlib, report_months, reports.page as page;"
    script += "print(hashlib.sha256(page.render(report_months.CASES['first_month']()).encode()).hexdigest())"

    def run(seed: str) -> str:
        paths = os.pathsep.join([str(HOUSE), str(HOUSE / "tests")])
        env = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": paths, "LC_ALL": "C"}
        return subprocess.run(
            [sys.executable, "-c", script], env=env, capture_output=True, text=True, check=True
        ).stdout

    mine = hashlib.sha256(page_of("first_month").encode()).hexdigest()
    assert run("1").strip() == mine


def test_every_measure_shown_is_defined_with_its_unit_and_source() -> None:
    month = CASES["first_month"]()
    page = read_page(page_of("first_month"))
    for name in month.tables:
        shown = {column for view in VIEWS if view.source == name for column in view.measures}
        for each in contract(name).fields:
            if each.type in ("number", "integer") and each.name in shown:
                assert each.description in page.text, each.name
                assert (each.source or "").removeprefix("as low_pct") in page.text, each.name


# What the page leaves to the commands: curves that are drawn, what stands behind an interval, and the plain ratio of
# flushes, which containers still in production bias.
NOT_ON_THE_PAGE = {
    # What a batch gave on each day is drawn; what is due stands in what to do next.
    "batch_pickings": {"fresh_g", "flush"},
    # By which the page is filtered, and where its points stand: the page tells them when it is asked.
    "batch_kinds": {"containers", "row"},
    "picking_rows": {"fresh_g", "row"},
    # What the page adds up where it is filtered.
    "months_by_kind": {
        "fresh_g",
        "pickings",
        "units_finished",
        "units_lost",
        "fresh_in_be_g",
        "substrate_dry_g",
    },
    "days_by_kind": {"fresh_g", "pickings"},
    "outlook_by_batch": {"week", "expected_kg"},
    "finished_units": {"row"},
    "today": {"flush", "days", "usual_days"},
    "flushes": {"decline_vs_first", "pickings", "pickings_derived", "fresh_g_per_container"},
    "declines": {"derived_pct"},
    "another_flush": {"derived_pct"},
    # What waits, and what the BE rests on, stands in the sentences.
    "waiting_months": {"pickings_waiting", "waiting_g", "picked_and_waiting_g", "rows_awaited"},
    "finished_batches": {"substrate_dry_g"},
    "finished_recipes": {"batches_in_be"},
    "pins_curve": {"day", "at_risk", "soaks", "pinned_pct", "low_pct", "high_pct", "lost_pct"},
    "compared_pairs": {
        "standard_error",
        "degrees_of_freedom",
        "smallest_effect",
        "permutation_p",
        "permutation_floor",
        "p",
        # How the records lean stands in the sentence.
        "chance_more",
        "expected_loss",
        "expected_loss_money",
    },
    "compared_levels": {"soaks_not_yet"},
    "spawn_curves": {"rate_wet_pct", "value", "low", "high"},
    "outlook_past": {"week", "median_kg", "low50_kg", "high50_kg", "low80_kg", "high80_kg", "actual_kg"},
}


def test_every_section_with_tables_is_in_the_glossary() -> None:
    rooms = {each.__module__ for each in (*SECTIONS, *APPENDIX)}
    assert {each for each in rooms if hasattr(sys.modules[each], "VIEWS")} == {each.__name__ for each in DEFINED}


def test_every_number_of_a_result_table_is_shown_or_named_here() -> None:
    for name in {*CASES["first_month"]().tables}:
        shown = {column for view in VIEWS if view.source == name for column in (*view.measures, *view.limits)}
        numbers = {each.name for each in contract(name).fields if each.type in ("number", "integer")}
        assert numbers - shown == NOT_ON_THE_PAGE.get(name, set()), name


@pytest.mark.parametrize(
    ("treatments", "shown", "not_shown"),
    [
        (("cold_lime",), ["Goggles first", "pH 7 is"], ["Steam and hot water scald"]),
        (("steam",), ["Steam and hot water scald"], ["Goggles first", "pH 7 is"]),
        (("none",), ["fitted mask", "sprayed or treated"], ["Goggles first", "Steam and hot water scald"]),
        (("none", "my own way"), ["Goggles first", "Steam and hot water scald", "pH 7 is"], []),
        ((), ["Goggles first", "Steam and hot water scald", "pH 7 is"], []),
    ],
)
def test_cautions_are_shown_where_they_apply(
    treatments: tuple[str, ...], shown: list[str], not_shown: list[str]
) -> None:
    page = read_page(render(a_month([Unit(treatment=each, container=each) for each in treatments])))
    assert [text for text in shown if text not in page.text] == []
    assert [text for text in not_shown if text in page.text] == []


def test_rows_that_others_wait_for_come_first() -> None:
    findings = [found("set_aside", 5), found("set_aside", 9, "x9x", 4), found("waiting", 20), found("waiting", 21)]
    page = read_page(render(replace(CASES["one_container"](), findings=findings)))
    at = page.text.index
    assert at("harvests.csv, row 9") < at("harvests.csv, row 5") < at("batches.csv, row 3")
    assert "20 to 21" in page.text


def luminance(colour: str) -> float:
    """Relative luminance as the WCAG 2.2 defines it, of a colour like #0072b2 or #fff."""
    digits = colour.lstrip("#")
    digits = "".join(2 * each for each in digits) if len(digits) == 3 else digits
    parts = [int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    red, green, blue = (each / 12.92 if each <= 0.04045 else ((each + 0.055) / 1.055) ** 2.4 for each in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("scheme", [0, 1], ids=["light", "dark"])
def test_words_and_marks_stand_out_from_the_paper(scheme: int) -> None:
    style = files("reports").joinpath("styles", "report.css").read_text(encoding="utf-8")
    told = dict(re.findall(r"--([a-z0-9-]+): (#[0-9a-f]+);", re.findall(r":root \{(.*?)\}", style, re.DOTALL)[scheme]))

    def contrast(name: str) -> float:
        dark, light = sorted((luminance(told[name]), luminance(told["paper"])))
        return (light + 0.05) / (dark + 0.05)

    # WCAG 2.2, 1.4.3 (text: 4.5) and 1.4.11 (graphics: 3). The pale ones are outlined in `known`.
    outlined = {"colonising", "fruiting", "not-yet", "kept", "small", "band-wide", "line", "paper"}
    assert {name for name in told if name not in outlined and contrast(name) < 3} == set()
    assert [name for name in ("ink", "ink-soft", "link") if contrast(name) < 4.5] == []
    strains = [told[name] for name in (*STRAIN_COLOURS, OTHER_STRAINS)]
    assert len(set(strains)) == len(strains) == 7


def start_of(chart: Chart) -> str:
    return next(start for start in sorted(READ_OUT, key=len, reverse=True) if chart.id.startswith(start))


@pytest.mark.parametrize("case", CASES)
def test_every_chart_reads_out_its_own_data(case: str) -> None:
    for chart in charts_of(case):
        assert chart.facts, chart.id
        name, decimals = READ_OUT[start_of(chart)]
        if name is None or decimals is None or len(chart.facts) > FACTS_READ:
            continue
        # A dot of the chart of BE is a container; what is read out is the lane's.
        rows = [row for row in chart.rows if row.get(name) is not None and "unit_row" not in row]
        drawn = [row[name] for row in rows]
        if chart.id.startswith("pins"):
            drawn = drawn[-1:]
        for value in drawn:
            assert f"{value:.{decimals}f}" in chart.alternative.replace("\u202f", ""), (chart.id, value)


@pytest.mark.parametrize("case", CASES)
def test_no_two_charts_of_a_page_read_the_same(case: str) -> None:
    labels = [
        attributes["aria-label"] for _, attributes in read_page(page_of(case)).tags if attributes.get("role") == "img"
    ]
    assert len(labels) == len(set(labels)) == len(charts_of(case))


def test_a_chart_that_shows_some_of_many_says_how_many() -> None:
    shown = {chart.id: chart for chart in charts_of("sixty_batches")}
    assert shown["soaks"].part == ""
    assert len(shown["soaks"].facts) == 30
    assert shown["courses-4"].part == "The last 30 of 60 batches."
    assert shown["months"].part == "The last 13 of 25 months."
    assert shown["months"].part in read_page(page_of("sixty_batches")).text


@pytest.mark.parametrize("case", CASES)
def test_a_chart_of_all_says_nothing_of_a_part(case: str) -> None:
    """Of the charts with one fact for each row of their table."""
    month = CASES[case]()
    for chart in charts_of(case):
        if chart.id in ("soaks", "months", "losses"):
            whole = len(month.rows(chart.table))
            assert bool(chart.part) == (len(chart.facts) < whole), chart.id
            if chart.part:
                assert re.match(rf"The (last|first) {len(chart.facts)} of {whole} ", chart.part), chart.part
