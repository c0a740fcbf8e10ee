"""Each meaning has one value on a page, wherever it stands; and no sentence contradicts its interval.

Every number of a page is collected from the figures that the page itself marks, from report.json and from the charts,
by what it means: the cell that it shows, or the thing that several tables tell. Farms are invented or simulated from
seeds; GILLBOOK_REPORT_FARMS=20 looks at as many simulated ones as that.
"""

from __future__ import annotations

import json
import os
import re
import shutil
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from report_reader import read_page

from pipeline.cli.farm_access import read_ledger
from pipeline.cli.report_command import gather
from pipeline.demo import write_bench
from pipeline.farm.folder import open_farm
from pipeline.models.measures import last_day
from reports.columns import Limited
from reports.month import Month
from reports.page import VIEWS, charts, render
from reports.report_json import report_json

DEMO = Path(__file__).resolve().parents[1] / "demo_data"
SIMULATED = int(os.environ.get("GILLBOOK_REPORT_FARMS", "1"))
DEMO_MONTHS = (date(2026, 2, 1), date(2026, 5, 1), date(2026, 9, 1))
Cells = Sequence[Mapping[str, Any]]


def gathered(folder: Path, firsts: Sequence[date]) -> Iterator[Month]:
    farm = open_farm(folder)
    with read_ledger(farm, "measures") as ledger:
        (last,) = ledger.connection.execute("select max(picked_on) from harvests").fetchone() or (None,)
        assert isinstance(last, date)
        for first in firsts or (last.replace(day=1), (last - timedelta(days=120)).replace(day=1)):
            yield gather(ledger, farm, first, last_day(first))


@pytest.fixture(scope="module")
def months(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Month]:
    """Months of the demo farm, of farms with one batch, and of simulated ones."""
    made: dict[str, Month] = {}
    folder = tmp_path_factory.mktemp("meanings")
    shutil.copytree(DEMO, folder / "demo")
    made |= {f"demo {each.month:%Y-%m}": each for each in gathered(folder / "demo", DEMO_MONTHS)}
    for name, lost in {"all lost": 3, "one left": 2}.items():
        (folder / name).mkdir()
        one_batch(folder / name, lost)
        made[name] = next(gathered(folder / name, [date(2026, 3, 1)]))
    for seed in range(21, 21 + SIMULATED):
        (folder / str(seed)).mkdir()
        write_bench(folder / str(seed), 250, seed)
        made |= {f"seed {seed} {each.month:%Y-%m}": each for each in gathered(folder / str(seed), ())}
    return made


TOLD: dict[int, list[dict[str, Any]]] = {}


def says(month: Month) -> list[dict[str, Any]]:
    """The sentences of report.json, made once for all tests."""
    if id(month) not in TOLD:
        TOLD[id(month)] = json.loads(report_json(month))["says"]
    return TOLD[id(month)]


def one_batch(folder: Path, lost: int) -> None:
    """A batch of three containers without dry mass, so many of them lost in March 2026; another was picked before."""
    tables = {
        "batches": ["batch,inoculated_on,strain,substrate", "A,2026-02-10,grey,straw", "Z,2026-01-01,grey,straw"],
        "fillings": ["batch,container", "A,1", "A,2", "A,3"],
        "observations": [
            "seen_on,event,container",
            *(f"2026-03-0{at},contaminated,{at}" for at in range(1, lost + 1)),
            *(["2026-03-20,emptied,3"] if lost < 3 else []),
        ],
        "harvests": [
            "picked_on,fresh_weight_g,container,batch",
            "2026-02-20,500,,Z",
            *(["2026-03-10,400,3,A"] if lost < 3 else []),
            "2026-03-11,0300,9,",
        ],
    }
    for name, lines in tables.items():
        (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def test_what_a_figure_names_has_one_value_on_page_in_json_and_in_charts(months: dict[str, Month]) -> None:
    """The page's own marks, report.json's sentences, and rows that charts draw: one value for each cell or formula."""
    for name, month in months.items():
        values: dict[str, set[float | None]] = defaultdict(set)
        for attributes, _ in read_page(render(month)).figures:
            meaning = attributes.get("data-cell") or f"{attributes['data-formula']} {attributes['data-inputs']}"
            values[meaning].add(json.loads(attributes["data-value"]))
        for said in says(month):
            for each in said["figures"]:
                words = " ".join(each["inputs"])
                values[words if each["formula"] == "cell" else f"{each['formula']} {words}"].add(each["value"])
        for chart in charts(month):
            for row in (row for row in chart.rows if "kg" in row and "row" in row):
                told = month.rows(chart.table)[row["row"]]["fresh_g"]
                assert row["kg"] * 1000 == pytest.approx(told), (name, chart.id)
                values[f"{chart.table}/{row['row']}/fresh_g"].add(told)  # type: ignore[arg-type]
            for row in (row for row in chart.rows if "before_row" in row):
                values[f"{chart.table}/{row['before_row']}/fresh_g"].add(
                    month.rows(chart.table)[row["before_row"]]["fresh_g"]
                )
                assert row["before"] * 1000 == pytest.approx(month.rows(chart.table)[row["before_row"]]["fresh_g"])
            for row in (row for row in chart.rows if chart.id == "outlook"):
                for column in ("median_kg", "low80_kg", "high80_kg", "sum_median_kg", "sum_low80_kg", "sum_high80_kg"):
                    if column.replace("_", "") in row:
                        values[f"outlook/{row['row']}/{column}"].add(row[column.replace("_", "")])
        assert len(values) > 10, name
        assert {meaning: each for meaning, each in values.items() if len(each) > 1} == {}, name


def test_the_four_weeks_are_one_total_in_tile_sentence_fan_and_its_words(months: dict[str, Month]) -> None:
    seen = 0
    for name, month in months.items():
        fans = [chart for chart in charts(month) if chart.id == "outlook"]
        tiles = [each for each in said_of(month, "tile") if each.startswith("Next four weeks: ") and " kg" in each]
        notes = [each for each in said_of(month, "note") if each.startswith("Four weeks together")]
        assert len(tiles) == len(notes), name
        if not tiles:
            continue
        seen += 1
        (fan,), (tile,), (note,) = fans, tiles, notes
        told = re.findall(r"\d+(?:\.\d+)?", tile)
        assert len(told) == 3, tile
        assert re.findall(r"\d+(?:\.\d+)?", note) == told, name
        assert fan.facts[-1].replace("\u00a0", " ") == f"4 weeks: {told[0]} kg ({told[1]} to {told[2]})", name
        assert fan.facts[-1] in json.dumps(fan.spec, ensure_ascii=False), name
        (drawn,) = [row for row in fan.rows if "summediankg" in row]
        for each, text in zip(("summediankg", "sumlow80kg", "sumhigh80kg"), told, strict=True):
            assert f"{drawn[each]:.{len(text.partition('.')[2])}f}" == text, name
    assert seen >= 2


def added(column: str) -> Callable[[Cells], float]:
    return lambda rows: sum(row[column] or 0 for row in rows)


def be(rows: Cells) -> float | None:
    """Sum over sum, of what has a dry mass; None where nothing of it was picked."""
    known = [row for row in rows if row["substrate_dry_g"]]
    fresh = sum(row["fresh_g"] for row in known)
    return 100 * fresh / sum(row["substrate_dry_g"] for row in known) if fresh else None


def now(column: str) -> Callable[[Cells], Any]:
    return lambda rows: rows[-1][column]


def lost(rows: Cells) -> int:
    return sum(1 for row in rows if not row["fresh_g"])


# What several tables tell: one thing, one value. (table, how it follows from its rows)
MEANINGS: Mapping[str, Sequence[tuple[str, Callable[[Cells], Any]]]] = {
    "picked in the month, g": [
        ("months", now("fresh_g")),
        *((table, added("fresh_g")) for table in ("strains", "stages", "picked_days")),
    ],
    "pickings of the month": [
        ("months", now("pickings")),
        *((table, added("pickings")) for table in ("strains", "stages", "picked_days")),
    ],
    "containers that finished": [
        ("months", now("units_finished")),
        ("finished_units", len),
        *((table, added("units")) for table in ("finished_batches", "finished_recipes")),
    ],
    "lost in the month": [("months", now("units_lost")), ("finished_units", lost)],
    "BE of what finished": [("months", now("be_finished_pct")), ("finished_units", be)],
    "lost so far": [(table, added("lost")) for table in ("losses", "soaks", "causes")],
    "judged so far": [
        ("soaks", added("units")),
        ("losses", lambda rows: sum(row["units"] - row["units_not_yet"] for row in rows)),
    ],
}


def test_what_several_tables_tell_is_one_value(months: dict[str, Month]) -> None:
    seen = set()
    for name, month in months.items():
        assert month.place() == len(month.rows("months")) - 1
        for meaning, places in MEANINGS.items():
            values = [(table, how(month.rows(table))) for table, how in places]
            first = values[0][1]
            assert all(value == pytest.approx(first) for _, value in values), (name, meaning, values)
            seen |= {meaning} if first else set()
    assert seen == set(MEANINGS)


def test_parts_of_the_page_add_up_to_what_it_says_of_the_whole(months: dict[str, Month]) -> None:
    for name, month in months.items():
        units = month.rows("finished_units")
        for row in month.rows("finished_batches"):
            of = [each for each in units if each["batch"] == row["batch"]]
            assert row["be_pct"] == pytest.approx(be(of)), (name, row["batch"])  # type: ignore[arg-type]
        for row in month.rows("finished_recipes"):
            recipe = [row[key] for key in ("substrate", "treatment", "spawn_form")]
            of = [each for each in units if [each[key] for key in ("substrate", "treatment", "spawn_form")] == recipe]
            assert row["be_pct"] == pytest.approx(be(of)), (name, recipe)  # type: ignore[arg-type]
        ahead = month.rows("outlook")
        if ahead:
            assert ahead[0]["sum_median_kg"] == ahead[0]["median_kg"], name
            # Limits are widened by how far the farm's own weeks were off, so that they alone may come closer again.
            sums = [float(str(row["sum_median_kg"])) for row in ahead]
            assert all(earlier <= later for earlier, later in pairwise(sums)), name


def test_no_estimate_lies_outside_of_its_own_limits(months: dict[str, Month]) -> None:
    looked = 0
    for name, month in months.items():
        for view in VIEWS:
            for shown in (each for each in view.columns if isinstance(each, Limited)):
                for row in month.rows(view.source):
                    value, low, high = (row[key] for key in (shown.column, shown.low, shown.high))
                    if value is None:
                        continue
                    looked += low is not None
                    assert low is None or low <= value + 1e-9, (name, view.source, shown.column)  # type: ignore[operator]
                    assert high is None or value <= high + 1e-9, (name, view.source, shown.column)  # type: ignore[operator]
    assert looked > 50


# How a sentence says that nothing is decided; and that something is.
OPEN = ("cannot tell", "cannot be told", "nothing is decided")
DECIDED = (
    " gave more than ",
    " gave less than ",
    " sooner than ",
    " later than ",
    " lost more than ",
    " lost less than ",
)


def test_no_sentence_contradicts_its_interval(months: dict[str, Month]) -> None:
    """Undecided beside an interval that leaves zero out, or decided over one that holds it."""
    looked = 0
    for name, month in months.items():
        for said in says(month):
            for low, high in intervals_of_differences(said["figures"]):
                looked += 1
                text = said["text"]
                assert low <= high, (name, text)
                if any(word in text for word in OPEN) and "Whether it pays" not in text and ", for " not in text:
                    assert low <= 0 <= high, (name, text)
                if any(word in text for word in DECIDED):
                    assert low >= 0 or high <= 0, (name, text)
    assert looked >= 3


def intervals_of_differences(figures: Sequence[Mapping[str, Any]]) -> Iterator[tuple[float, float]]:
    """The limits of differences that a sentence tells: three figures of one row, the first of them a difference."""
    cells = [(each["inputs"][0].rsplit("/", 1), each["value"]) for each in figures if each["formula"] == "cell"]
    for at in range(len(cells) - 2):
        ((row, column), _), ((row_low, one), low), ((row_high, other), high) = cells[at : at + 3]
        if row == row_low == row_high and "difference" in column and {"low", "high"} & {*one.split("_")}:
            assert {"low", "high"} & {*other.split("_")}
            low, high = sorted((abs(low), abs(high))) if low * high > 0 else (low, high)
            yield low, high


def test_a_contradiction_would_be_seen() -> None:
    figures = [
        {"inputs": [f"compared_pairs/3/{column}"], "value": value, "formula": "cell"}
        for column, value in {"difference": 5.0, "low": 1.0, "high": 9.0}.items()
    ]
    assert list(intervals_of_differences(figures)) == [(1.0, 9.0)]
    assert list(intervals_of_differences([*figures[:1], *figures[2:]])) == []


def said_of(month: Month, part: str) -> list[str]:
    return [each["text"].replace("\u00a0", " ") for each in says(month) if each["part"] == part]


def test_nothing_is_zero_for_want_of_a_dry_mass(months: dict[str, Month]) -> None:
    """BE is never told as 0, and what has none says why: all lost, or no dry mass."""
    for name, month in months.items():
        for table in ("months", "finished_units", "finished_batches", "finished_recipes"):
            for row in month.rows(table):
                if table != "finished_units" or not row["substrate_dry_g"]:
                    column = "be_finished_pct" if table == "months" else "be_pct"
                    assert row[column] != 0, (name, table)
        assert not [each["text"] for each in says(month) if "BE was 0.0" in each["text"].replace("\u00a0", " ")], name
    assert "BE of what finished: 3 lost" in said_of(months["all lost"], "tile")
    assert "BE of what finished: no dry mass known" in said_of(months["one left"], "tile")
    recipes = months["demo 2026-05"].rows("finished_recipes")
    assert [row for row in recipes if not row["batches_in_be"] and row["be_pct"] is not None] == []
    assert {row["be_pct"] for row in recipes if row["substrate"] == "sugarcane bagasse"} <= {None} | {
        row["be_pct"] for row in recipes if row["batches_in_be"]
    }


def test_rows_that_wait_are_weighed_and_change_the_comparison(months: dict[str, Month]) -> None:
    for name in ("demo 2026-05", "demo 2026-09"):
        month = months[name]
        at = len(month.rows("waiting_months")) - 1
        row, before = (month.rows("waiting_months")[each] for each in (at, at - 1))
        of_month = month.rows("months")[month.place() or 0]
        assert row["picked_and_waiting_g"] == pytest.approx(of_month["fresh_g"] + row["waiting_g"])  # type: ignore[operator]
        (warned,) = said_of(month, "warning")
        assert re.match(
            rf"{row['pickings_waiting']} pickings? (is|are) not counted: 1 row of \w+\.csv is faulty\.", warned
        )
        (tile,) = [each for each in said_of(month, "tile") if each.startswith("Picked")]
        assert float(tile.split("at least ")[1].split()[0]) == pytest.approx(
            row["waiting_g"] / 1000, rel=0.005, abs=0.005
        )  # type: ignore[operator]
        with_all = 100 * (row["picked_and_waiting_g"] / before["picked_and_waiting_g"] - 1)  # type: ignore[operator]
        assert f" about {abs(with_all):.0f} % less than in " in warned
        without = 100 * (of_month["fresh_g"] / month.rows("months")[month.place(1) or 0]["fresh_g"] - 1)  # type: ignore[operator]
        assert f", {abs(without):.0f} % less than in " in said_of(month, "headline")[0]
    assert not any("not counted" in each for each in said_of(months["demo 2026-02"], "warning"))
