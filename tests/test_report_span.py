"""The report of a year or of other days: its months are those of `gillbook months`, and its page is as honest."""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import replace
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from ledgers import here
from report_months import CASES, HOSTILE
from report_reader import read_page
from test_report_json import kept, value_of
from test_report_page import assert_figures

from pipeline.cli.farm_access import read_ledger
from pipeline.cli.report_span import SpanGiven, gather_span, span_wanted
from pipeline.farm.folder import open_farm
from reports.figures import plain
from reports.span import Span, charts, headline, sections, tiles, warning
from reports.span_page import render_span, span_json
from schemas.finding import WrongRequest

DEMO = Path(__file__).resolve().parents[1] / "demo_data"
LAST = date(2026, 9, 30)
YEAR = (date(2026, 1, 1), date(2026, 12, 31))


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("span") / "farm"
    shutil.copytree(DEMO, folder)
    return folder


def spans(folder: Path, *days: tuple[date, date], as_of: date | None = None) -> list[Span]:
    farm = open_farm(folder)
    with read_ledger(farm, "measures") as ledger:
        return [gather_span(ledger, farm, each, as_of or min(each[1], LAST)) for each in days]


def hostile() -> Span:
    """Names that would be markup, in a span with a month in part."""
    month = CASES["hostile_names"]()
    whole = {"fresh_g": 900.0, "pickings": 3, "units_finished": 10, "units_lost": 0, "be_finished_pct": 90.0}
    rows = [
        {"month": "2026-08", "days": 31, "whole": True} | whole,
        {"month": "2026-09", "days": 14, "whole": False} | whole | {"fresh_g": 250.0},
    ]
    tables = {**month.tables, "span_months": rows, "waiting_months": []}
    return Span(replace(month, tables=tables), date(2026, 8, 1), date(2026, 9, 14))


def said(sentence: Any) -> str:
    return plain(sentence).replace("\u00a0", " ")


def test_a_year_has_the_months_that_the_command_months_tells(demo: Path) -> None:
    asked = here("report", "--year", "2026", "--as-of", LAST, "--json", "--farm", demo)
    (record,) = asked.json
    assert record["period"] == "2026"
    assert Path(record["html"]).name == "report-2026.html"
    data = kept(Path(record["json"]).read_text(encoding="utf-8"))
    assert (data["from"], data["to"], data["as_of"], data["over"]) == ("2026-01-01", "2026-12-31", str(LAST), False)
    told = here("months", "--as-of", LAST, "--json", "--farm", demo).json
    columns = ("month", "pickings", "units_finished", "units_lost", "fresh_g", "be_finished_pct")
    ours = [[row[column] for column in columns] for row in data["tables"]["span_months"]]
    theirs = [[row[column] for column in columns] for row in told]
    assert [row[:4] for row in ours] == [row[:4] for row in theirs]
    for mine, other in zip(ours, theirs, strict=True):
        assert mine[4:] == pytest.approx(other[4:])
    assert (
        "As of 30 September 2026: the year is not over."
        in read_page(Path(record["html"]).read_text(encoding="utf-8")).text
    )
    first = Path(record["html"]).read_bytes()
    assert here("report", "--year", "2026", "--as-of", LAST, "--farm", demo).out.strip() == record["html"]
    assert Path(record["html"]).read_bytes() == first


def test_a_year_says_its_be_and_its_losses_by_cause(demo: Path) -> None:
    """Both follow from what finished: the months of the year add up to them."""
    (span,) = spans(demo, YEAR)
    month = span.month
    units = [row for row in month.rows("finished_units") if row["substrate_dry_g"]]
    (told,) = month.rows("span_be")
    dry = sum(row["substrate_dry_g"] for row in units)  # type: ignore[misc]
    assert told["be_finished_pct"] == pytest.approx(100 * sum(row["fresh_g"] for row in units) / dry)  # type: ignore[misc]
    assert told["units_in_be"] == len(units) > 50
    (tile,) = [each for each in tiles(span) if each.what == "BE of what finished"]
    assert tile.figure is not None
    assert tile.figure.value == told["be_finished_pct"]
    causes = {row["cause"]: row["lost"] for row in month.rows("causes")}
    assert sum(causes.values()) == sum(row["units_lost"] for row in month.rows("span_months")) > 0  # type: ignore[misc]
    losses = next(each for each in sections(span) if each.id == "losses")
    note = next(said(each) for each in losses.notes if said(each).startswith("By cause: "))
    assert all(str(count) in note for count in list(causes.values())[:3])
    (table,) = [each for each in losses.tables if each.source == "causes"]
    assert len(table.rows) == len(causes)


def test_every_figure_is_its_tables_on_the_page_and_in_json(demo: Path) -> None:
    for span in [*spans(demo, YEAR, (date(2026, 3, 10), date(2026, 5, 4))), hostile()]:
        page = read_page(render_span(span))
        assert len(page.figures) > 20
        assert_figures(span.month, page)
        data = kept(span_json(span))
        for figure in (figure for each in data["says"] for figure in each["figures"]):
            assert figure["value"] == pytest.approx(value_of(data, figure))
        assert page.charts.keys() == {each["id"] for each in data["charts"]}


def test_days_are_counted_once_wherever_the_span_is_cut(demo: Path) -> None:
    cuts = [date(2026, 1, 1), date(2026, 3, 10), date(2026, 5, 5), date(2026, 10, 1)]
    pieces = [(start, date.fromordinal(end.toordinal() - 1)) for start, end in pairwise(cuts)]
    whole, *parts = spans(demo, (cuts[0], LAST), *pieces, as_of=LAST)
    for column in ("fresh_g", "pickings", "units_finished", "units_lost"):
        of_parts = sum(row[column] for each in parts for row in each.month.rows("span_months"))  # type: ignore[misc]
        assert sum(row[column] for row in whole.month.rows("span_months")) == pytest.approx(of_parts)  # type: ignore[misc]
    assert [row["whole"] for row in parts[1].month.rows("span_months")] == [False, True, False]
    assert [row["days"] for row in parts[1].month.rows("span_months")] == [22, 30, 4]
    months = next(each for each in sections(parts[1]) if each.id == "months")
    assert [said(note) for note in months.notes[1:]] == [
        "March 2026 is here with 22 days of it.",
        "May 2026 is here with 4 days of it.",
    ]


def test_it_says_best_and_worst_without_calling_them_proof_and_weighs_what_waits(demo: Path) -> None:
    (year,) = spans(demo, YEAR)
    first, ends = (said(each) for each in headline(year))
    rows = [row for row in year.month.rows("span_months") if row["pickings"]]
    by_mass = sorted(rows, key=lambda row: row["fresh_g"])  # type: ignore[arg-type, return-value]
    assert first == f"{sum(row['fresh_g'] for row in rows) / 1000:.0f} kg was picked."  # type: ignore[misc, operator]
    assert f"April ({by_mass[-1]['fresh_g'] / 1000:.1f} kg) gave most" in ends  # type: ignore[operator]
    assert f"({by_mass[0]['fresh_g'] / 1000:.1f} kg) least of those with a picking." in ends  # type: ignore[operator]
    by_id = {each.id: each for each in sections(year)}
    assert "by chance alone" in said(by_id["ends"].notes[0])
    assert "not a test" in said(by_id["recipes"].notes[0])
    waits = sum(row["waiting_g"] for row in year.month.rows("waiting_months"))  # type: ignore[misc]
    assert said(warning(year)).startswith(f"At least {waits / 1000:.2f} kg more waits")
    known = [row["be_pct"] for row in year.month.rows("finished_batches") if row["be_pct"] is not None]
    assert f"BE {float(f'{max(known):.3g}'):g} %" in said(by_id["ends"].sentence)  # type: ignore[type-var]
    assert 0 not in known
    (before,) = spans(demo, (date(2025, 1, 1), date(2025, 12, 31)))
    assert [said(each) for each in headline(before)] == ["Nothing was picked in these days."]
    assert read_page(render_span(before)).text


@pytest.mark.parametrize(
    ("days", "title"),
    [
        (YEAR, "2026"),
        ((date(2026, 3, 1), date(2026, 5, 31)), "March to May 2026"),
        ((date(2028, 2, 1), date(2028, 2, 29)), "February 2028"),
        ((date(2027, 2, 1), date(2027, 2, 27)), "1 to 27 February 2027"),
        ((date(2027, 2, 2), date(2027, 3, 2)), "2 February to 2 March 2027"),
        ((date(2026, 12, 2), date(2027, 1, 9)), "2 December 2026 to 9 January 2027"),
        ((date(2026, 12, 1), date(2027, 1, 31)), "December 2026 to January 2027"),
        ((date(2027, 2, 2), date(2027, 2, 2)), "2 February 2027"),
    ],
)
def test_days_are_called_as_one_would(days: tuple[date, date], title: str) -> None:
    assert replace(hostile(), first=days[0], last=days[1]).title == title


def test_a_span_of_one_batch_speaks_of_one_and_names_no_worst(demo: Path) -> None:
    (year,) = spans(demo, YEAR)
    rows = {name: year.month.rows(name) for name in ("finished_batches", "recipes", "span_months")}
    one = {"finished_batches": [row for row in rows["finished_batches"] if row["be_pct"]][:1]}
    one |= {"recipes": [row for row in rows["recipes"] if row["be_pct"]][:1]}
    one |= {"span_months": [row | {"units_finished": 1, "units_lost": 0} for row in rows["span_months"]][2:3]}
    span = replace(year, month=replace(year.month, tables={**year.month.tables, **one}))
    by_id = {each.id: each for each in sections(span)}
    assert said(by_id["ends"].sentence).startswith("Only batch ")
    assert not [note for note in by_id["ends"].notes if "by chance" in said(note)]
    assert said(by_id["losses"].sentence) == "None of 1 container that finished was lost without a picking."
    assert " gave BE " in said(by_id["recipes"].sentence)
    assert said(by_id["recipes"].sentence).startswith("In these days ")
    assert [said((*each.rests_on,)) for each in tiles(span)][1] == "container of 1 batch"


def test_a_chart_of_many_months_names_the_kg_of_few(demo: Path) -> None:
    year, spring = spans(demo, YEAR, (date(2026, 3, 1), date(2026, 5, 31)))
    named = {
        name: [row["said"] for row in charts(span)[0].spec["datasets"]["rows-1"]]
        for name, span in (("year", year), ("spring", spring))
    }
    assert named["year"] == ["38", "15"]
    assert len(named["spring"]) == 3
    assert all("." in each for each in named["spring"])
    assert year.month.rows("span_months")[3]["fresh_g"] == pytest.approx(38_400, abs=50)


def test_names_are_text_on_the_page_of_a_span() -> None:
    text = render_span(hostile())
    page = read_page(text)
    assert [tag for tag, _ in page.tags].count("script") == 3
    assert not [tag for tag, named in page.tags if tag == "img" or any(name.startswith("on") for name in named)]
    assert all(name in page.text for name in HOSTILE[:4])
    assert not re.search("[\u202a-\u202e\u2066\u2067\u2028\u2029]", text)
    assert json.loads(span_json(hostile()))["says"]


@pytest.mark.parametrize(
    ("words", "days"),
    [
        (("--year", "2026"), YEAR),
        (("--from", "2026-03", "--to", "2026-05"), (date(2026, 3, 1), date(2026, 5, 31))),
        (("--from", "2026-03-10", "--to", "2026-05"), (date(2026, 3, 10), date(2026, 5, 31))),
        (("--from", "2026-03-10"), (date(2026, 3, 10), LAST)),
        ((), None),
    ],
)
def test_which_days_are_meant(words: tuple[str, ...], days: tuple[date, date] | None) -> None:
    given = dict(zip(words[::2], words[1::2], strict=True))
    year = int(given["--year"]) if "--year" in given else None
    assert span_wanted(SpanGiven(None, year, given.get("--from"), given.get("--to")), LAST) == days


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--year", "2026", "--month", "2026-05"), "Give one of --month, --year, or --from with --to."),
        (("--year", "2026", "--from", "2026-05"), "Give one of"),
        (("--year", "26"), "that is not a year"),
        (("--year", "2999"), "has not come yet"),
        (("--to", "2026-05"), "--to without --from"),
        (("--from", "2026-05", "--to", "2026-03"), "is before --from"),
        (("--from", "2026-13"), "not a month"),
        (("--from", "in May"), "--from"),
        (("--year", "2026", "--brief"), "are for a month"),
        (("--year", "2026", "--format", "pdf"), "are for a month"),
    ],
)
def test_what_names_no_days_is_refused(demo: Path, words: tuple[str, ...], says: str) -> None:
    answer = here("report", *words, "--farm", demo)
    assert answer.code == 2
    assert says in answer.err
    assert "Traceback" not in answer.err


def test_a_request_that_contradicts_itself_is_one() -> None:
    with pytest.raises(WrongRequest, match="Give one of"):
        span_wanted(SpanGiven("2026-05", None, "2026-05", None), LAST)
