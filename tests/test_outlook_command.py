"""outlook as its user meets it: when it refuses, what it reads of days to come, and what a need takes."""

from __future__ import annotations

import shutil
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from calibrate_outlook import calibrate
from conftest import Said, write_table
from ledgers import here, refreshed
from outlook_farms import FIRST_MONDAY, Design, weekly_farm

from pipeline.farm.folder import open_farm
from pipeline.models.view import opened as open_ledger
from pipeline.outlook.history import read_history

DEMO = Path(__file__).resolve().parents[1] / "demo_data"


def ask(folder: Path, *words: object, as_of: str = "2026-09-30") -> Said:
    return here(*words, "--farm", folder, "--as-of", as_of)


def flat(text: str) -> str:
    return " ".join(text.split())


def on(weeks: int) -> str:
    """The day so many weeks after the first batch."""
    return (FIRST_MONDAY + timedelta(weeks=weeks)).isoformat()


def test_an_outlook_needs_more_than_20_weeks_and_says_how_few_it_rests_on(tmp_path: Path) -> None:
    folder = weekly_farm(tmp_path / "farm", 40)
    refused = ask(folder, "outlook", as_of=on(20))
    assert (refused.code, refused.out) == (0, "")
    assert refused.err == (
        "Cannot tell. The records reach back 20 weeks; more than 20 are needed to learn from. "
        "From 2026-05-26 on it can be foreseen.\n"
    )
    assert ask(folder, "outlook", "--json", as_of=on(20)).json == []
    assert ask(folder, "outlook", as_of="2026-05-26").code == 0
    half_a_year = ask(folder, "outlook", as_of=on(26))
    assert "So few past weeks prove little: the bands are not widened" in half_a_year.err
    assert "Of the 5 weeks that were foreseen in the past a week ahead, the 80 % band held 5;" in half_a_year.err
    assert "So few past weeks" not in ask(folder, "outlook", as_of=on(31)).err
    youngest = ask(folder, "outlook", as_of="2026-05-26").err
    assert "No past week could be foreseen yet, so how often the bands hold here is not known." in youngest
    write_table(tmp_path / "few", "batches", "batch,inoculated_on\nA,2026-01-05\nB,2026-01-06\nC,2026-06-20")
    few = ask(tmp_path / "few", "outlook", as_of="2026-07-01")
    assert few.err == "Cannot tell. Only 3 past batches are there to borrow from; at least 4 are needed.\n"
    nothing_yet = ask(folder, "outlook", as_of="2026-01-04")
    assert nothing_yet.err.startswith("Cannot tell. There is nothing to borrow from: no batch was inoculated before")


def test_an_outlook_reads_batches_of_days_to_come_and_nothing_else_does(tmp_path: Path) -> None:
    folder = weekly_farm(tmp_path / "farm", 40)
    rows = ask(folder, "outlook", "--list", "batches", "--json", as_of=on(30)).json
    planned = [row["batch"] for row in rows if row["state"] == "planned"]
    assert planned == [f"W{number}" for number in range(31, 38)]
    weeks = ask(folder, "outlook", "--json", as_of=on(30)).json
    # The first of them is begun in a week and first picked 30 days after that.
    assert [row["planned_kg"] > 0 for row in weeks] == [False] * 5 + [True] * 3
    told = ask(folder, "yields", "--by", "batch", "--json", as_of=on(30)).json
    assert {row["batch"] for row in told} == {f"W{number:02d}" for number in range(31)}
    # 2 to 2.3 kg and 1 to 1.3 kg are picked each week: the band holds what comes, and what came.
    for row in weeks:
        ends = [row[name] for name in ("low80_kg", "low50_kg", "median_kg", "high50_kg", "high80_kg")]
        assert [3.0, *ends, 3.6] == sorted([3.0, *ends, 3.6])
        assert row["past_held_80_pct"] in (None, 100.0)


def test_an_outlook_does_not_depend_on_the_order_of_rows_and_scales_with_the_weights(tmp_path: Path) -> None:
    def told(name: str, **made: int) -> list[dict[str, object]]:
        return ask(weekly_farm(tmp_path / name, 40, **made), "outlook", "--json", as_of=on(34)).json

    once = told("once")
    assert told("turned", turned=True) == once
    tenfold = told("tenfold", grams=10)
    for row, more in zip(once, tenfold, strict=True):
        for name, value in row.items():
            expected = value * 10 if name.endswith("_kg") and isinstance(value, float) else value
            assert more[name] == (pytest.approx(expected) if isinstance(expected, float) else expected), name


def test_a_need_says_its_chance_and_what_to_begin_until_when(tmp_path: Path) -> None:
    folder = weekly_farm(tmp_path / "farm", 31)
    # In six weeks come five first pickings (2 to 2.3 kg) and six second ones (1 to 1.3 kg): 17.65 kg on average. Each
    # further batch gives 2.15 kg by then, if it is begun 30 days before.
    asked = ("outlook", "--need", "21", "--by", on(36))
    said = ask(folder, *asked, as_of=on(30))
    assert flat(said.out).startswith(
        "21 kg by 2026-09-14: the chance is under 1 %. As it stands 17.6 kg are to come by"
    )
    assert "With 2 more batches like W30, begun from 2026-08-04 to 2026-08-15, it is 80 % or more" in flat(said.out)
    rows = ask(folder, *asked, "--json", as_of=on(30)).json
    assert [(row["more_batches"], row["start_by"]) for row in rows] == [(0, None), (1, None), (2, "2026-08-15")]
    late = flat(ask(folder, "outlook", "--need", "21", "--by", on(33), as_of=on(30)).out)
    assert late.endswith("A batch begun on 2026-08-04 or later comes too late for that day: so soon none gave any.")
    enough = flat(ask(folder, "outlook", "--need", "6", "--by", on(36), as_of=on(30)).out)
    assert enough.endswith("No further batch is needed for a chance of 80 %.")
    much = flat(ask(folder, "outlook", "--need", "900", "--by", on(36), as_of=on(30)).out)
    assert "Even 20 more batches like W30, begun on 2026-08-04, would make it under 1 %: ask for a later day" in much


def test_an_outlook_says_when_entries_seem_to_be_missing(tmp_path: Path) -> None:
    shutil.copytree(DEMO, tmp_path / "farm")
    said = ask(tmp_path / "farm", "outlook", as_of="2026-12-30").err
    assert "Nothing runs, and no batch has a day of inoculation in these weeks." in said
    assert "The last picking entered is of 2026-09-30. Are entries missing?" in said
    assert "Pickings set aside, which the past lacks: 6." in said


def test_what_held_is_told_alike_day_by_day_and_week_by_week(tmp_path: Path) -> None:
    folder = shutil.copytree(DEMO, tmp_path / "farm")
    past = ask(folder, "outlook", "--list", "past", "--json").json
    for row in ask(folder, "outlook", "--json").json:
        held = [each["held_80"] for each in past if each["week"] == row["week"]]
        assert len(held) == row["past_seen"]
        assert row["past_held_80_pct"] == pytest.approx(100 * sum(held) / len(held))
        within = [each["low80_kg"] <= each["actual_kg"] <= each["high80_kg"] for each in past]
        assert within == [each["held_80"] for each in past]


def test_the_ledger_tells_each_batch_s_path_and_how_many_containers_still_ran(tmp_path: Path) -> None:
    batches = "batch,inoculated_on,substrate_wet_kg,moisture_pct,containers_filled\n"
    batches += "A,2026-01-01,10,70,\nB,2026-01-01,10,,3\nC,,5,70,"
    write_table(tmp_path, "batches", batches)
    write_table(tmp_path, "fillings", "batch,container\nA,1\nA,2")
    harvests = "picked_on,fresh_weight_g,container,batch\n2026-01-31,500,1,A\n2026-02-10,250,2,A\n2026-02-10,700,,B"
    write_table(tmp_path, "harvests", harvests)
    events = "seen_on,event,container,batch\n2026-02-01,emptied,1,A\n2026-03-02,emptied,,B"
    write_table(tmp_path, "observations", events)
    refreshed(tmp_path)
    opened = open_farm(tmp_path)
    with open_ledger(opened.ledger, opened.settings) as ledger:
        found = read_history(ledger, date(2026, 6, 1))
    assert (found.names, found.undated) == (("A", "B"), 1)
    assert found.dry_kg[0] == 3
    assert np.isnan(found.dry_kg[1])
    assert found.containers.tolist() == [2, 3]
    assert found.kg[0, [29, 30, 39, 40]].tolist() == [0, 0.5, 0.5, 0.75]
    assert found.kg[1, [39, 40]].tolist() == [0, 0.7]
    # 1 ended at 31 days; 2 lapsed 45 days after its picking at 40; B ended at 60.
    assert found.running[0, [30, 31, 84, 85]].tolist() == [1, 0.5, 0.5, 0]
    assert found.running[1, [59, 60]].tolist() == [1, 0]


def test_the_same_days_have_the_same_numbers_on_all_screens(tmp_path: Path) -> None:
    folder = weekly_farm(tmp_path / "farm", 40)
    eight = ask(folder, "outlook", "--json", as_of=on(34)).json
    assert ask(folder, "outlook", "--weeks", "3", "--json", as_of=on(34)).json == eight[:3]
    (needed, *_) = ask(folder, "outlook", "--need", "1", "--by", on(36), "--json", as_of=on(34)).json
    for name in ("median_kg", "low80_kg", "high80_kg"):
        assert needed[name] == pytest.approx(eight[1][f"sum_{name}"])
    said = ask(folder, "outlook", as_of=on(34)).out.splitlines()
    assert said[-1].split()[:2] == ["all", f"{eight[-1]['sum_median_kg']:.1f}"]


def test_bands_hold_what_comes_on_simulated_farms() -> None:
    # A few of the farms of calibrate_outlook, which are told in full by that script: 75 to 87 % is its limit; with
    # 3 farms, whose weeks share their batches, chance alone makes many points more.
    done = calibrate(Design(weeks=44, mulch_from=26, mulch_by=32, first=30, name="straw to mulch"), farms=3, seed=700)
    assert 0.62 <= done.held_weeks <= 0.97
    assert 0.62 <= done.held_sums <= 0.99
    assert done.held50 < done.held_weeks
    assert done.best


def test_an_outlook_tells_what_it_brings_at_the_price_of_the_day(tmp_path: Path) -> None:
    folder = weekly_farm(tmp_path / "farm", 40)
    words = ("outlook", "--weeks", "4")
    assert "a kg, the price of the day" not in ask(folder, *words, as_of=on(34)).err
    (folder / "prices.csv").write_text(
        f"from_on,item,price,per\n2020-01-01,fresh,5,kg\n{on(30)},fresh,10,kg\n{on(35)},fresh,99,kg\n"
    )
    (folder / "farm.toml").write_text('currency = "EUR"\nprice_per_kg = 1\n')
    last = ask(folder, *words, "--json", as_of=on(34)).json[-1]
    low, middle, high = (10 * last[f"sum_{name}_kg"] for name in ("low80", "median", "high80"))
    assert (
        f"At 10.00 a kg, the price of the day, all of it would bring about {middle:.2f} (80 %: {low:.2f} to "
        f"{high:.2f}), in EUR, before costs." in ask(folder, *words, as_of=on(34)).err
    )
