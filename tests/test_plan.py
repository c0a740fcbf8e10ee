"""plan: what is begun for what is wanted, which containers it takes, and that a plan carried out gives what it says."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from calibrate_outlook import DESIGNS
from calibrate_plan import carried_out
from conftest import Said, write_table
from ledgers import here, refreshed
from outlook_farms import FIRST_MONDAY, weekly_farm

from pipeline.farm.folder import open_farm
from pipeline.models.today import today
from pipeline.models.view import Ledger, Query
from pipeline.models.view import opened as open_ledger
from pipeline.planning.containers import Available, Start, allotted
from pipeline.planning.foresight import TOGETHER, SpansAhead, start_days
from pipeline.planning.starts import Deliveries, containers_needed
from pipeline.planning.tables import Plan, PlanQuery, plan
from schemas.result_rows import day_of, number_of

AS_OF = FIRST_MONDAY + timedelta(weeks=30)
NO_MORE_RUNS = AS_OF + timedelta(days=64)


def ask(folder: Path, *words: object) -> Said:
    return here(*words, "--farm", folder, "--as-of", AS_OF)


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture(scope="module")
def weekly(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A batch a week of two buckets out of 18; 30 hours of soaking and draining, 0.25 kg of spawn a bucket. A bucket
    gives 1 to 1.15 kg after 30 days and 0.5 to 0.65 after 44, and is emptied or filled anew by day 63.
    """
    folder = weekly_farm(tmp_path_factory.mktemp("plan") / "farm", 31)
    head, *rows = (folder / "batches.csv").read_text(encoding="utf-8").splitlines()
    rows = [f"{row},18,12,0.5,3" for row in rows]
    text = "\n".join([f"{head},treatment_h,drain_h,spawn_kg,substrate_dry_kg", *rows, ""])
    (folder / "batches.csv").write_text(text, encoding="utf-8")
    buckets = [f"W{number:02d},{2 * (number % 9) + each}" for number in range(31) for each in (1, 2)]
    write_table(folder, "fillings", "\n".join(["batch,container", *buckets]))
    emptied = [f"{FIRST_MONDAY + timedelta(weeks=22, days=50)},emptied,{each},W22" for each in (9, 10)]
    write_table(folder, "observations", "\n".join(["seen_on,event,container,batch", *emptied]))
    return folder


@pytest.fixture(scope="module")
def ledger(weekly: Path) -> Iterator[Ledger]:
    refreshed(weekly)
    opened = open_farm(weekly)
    with open_ledger(opened.ledger, opened.settings) as ledger:
        yield ledger


@pytest.fixture(scope="module")
def long(ledger: Ledger) -> Plan:
    """Three kg a week for twelve weeks, once nothing runs any more."""
    return plan(ledger, AS_OF, PlanQuery(3.0, from_day=NO_MORE_RUNS, count=12))


def test_a_steady_want_begins_the_same_every_week(long: Plan) -> None:
    # Two buckets a week give 3 to 3.6 kg a week once both flushes of two batches come: at least 3 kg, always.
    assert [row["containers"] for row in long.starts] == [2] * 14
    days = [day_of(row, "inoculate_on") for row in long.starts]
    # The week that is to be picked is the one about day 30: it begins on day 27.
    assert days == [NO_MORE_RUNS - timedelta(days=27 + 7 * before) for before in range(2, -12, -1)]
    for row, day in zip(long.starts, days, strict=True):
        assert (row["spawn_kg"], row["substrate_dry_kg"], row["spawn_bags"]) == (0.5, 3.0, None)
        assert row["soak_on"] == day - timedelta(days=2)  # 30 hours
        assert row["order_by"] == day - timedelta(days=21)
        assert row["order_late"] == (day - timedelta(days=21) < AS_OF)
        assert row["serves_from"] == day + timedelta(days=27)
    for row in long.weeks:
        assert number_of(row, "chance_pct") > 99  # a band that is widened may reach below what ever came
        assert (row["running_kg"], row["enough"], row["too_soon"]) == (0, True, False)
        ends = [number_of(row, name) for name in ("low80_kg", "median_kg", "high80_kg")]
        assert [3, *ends, 3.6] == sorted([3, *ends, 3.6])


def test_a_plan_is_said_in_two_tables_and_what_is_late(weekly: Path) -> None:
    said = flat(ask(weekly, "plan", "--kg", 3, "--from", NO_MORE_RUNS, "--weeks", 4).out)
    assert said.startswith(
        "3 kg every week from 2026-10-06 to 2026-11-02: begin 6 batches of grey on straw, 12 containers in all. Here a "
        "batch gives most from 27 days after inoculation on; each week is served by up to three batches. "
    )
    assert "past" not in said


def test_what_runs_is_counted_and_bags_are_by_the_farm_s_size(weekly: Path, ledger: Ledger) -> None:
    with open_ledger(open_farm(weekly).ledger, {**ledger.settings, "spawn_bag_kg": 0.4, "spawn_lead_days": 7}) as own:
        rows = plan(own, AS_OF, PlanQuery(3.0, from_day=NO_MORE_RUNS, count=2)).starts
    assert {row["spawn_bags"] for row in rows} == {2}
    assert not any(row["order_late"] for row in rows)
    tomorrow = AS_OF + timedelta(days=1)
    assert plan(ledger, AS_OF, PlanQuery(3.0, from_day=tomorrow, count=2)).starts == []
    said = flat(ask(weekly, "plan", "--kg", 9, "--from", tomorrow, "--weeks", 2).out)
    assert said.startswith("9 kg every week from 2026-08-04 to 2026-08-17: all begins too late for it.")
    assert (
        "Too soon for a plan: 2 times from 2026-08-04 on. A batch that is begun now gives most from 2026-09-01" in said
    )


def test_more_than_a_farm_can_give_is_said_so(weekly: Path) -> None:
    said = flat(ask(weekly, "plan", "--kg", 50000, "--from", NO_MORE_RUNS, "--weeks", 1).out)
    assert said.startswith("50000 kg every week from 2026-10-06 to 2026-10-12: nothing that is begun gives so much.")
    assert "50000 kg cannot be had in 80 of 100 weeks with up to 2,000 containers a batch: in 0 at best." in said


def test_two_weeks_are_planned_as_one(ledger: Ledger) -> None:
    rows = plan(ledger, AS_OF, PlanQuery(6.0, 14, NO_MORE_RUNS, 2)).weeks
    assert [row["first_day"] for row in rows] == [NO_MORE_RUNS, NO_MORE_RUNS + timedelta(days=14)]
    assert all(row["enough"] for row in rows)


def test_containers_are_those_of_today_and_none_holds_two_batches(long: Plan, ledger: Ledger) -> None:
    free_today = {each.container for each in today(ledger.view(Query(AS_OF))) if each.action == "fill"}
    assert free_today == {"9", "10"}
    assert {row["container"] for row in long.containers if row["free_from"] == AS_OF} == free_today
    held = {str(2 * (number % 9) + each): number for number in range(31) for each in (1, 2)}
    # Filled for 63 days here, and empty for one.
    again, soonest = timedelta(days=64), AS_OF + timedelta(days=1)
    free_on = {
        name: AS_OF if name in free_today else max(FIRST_MONDAY + timedelta(weeks=number) + again, soonest)
        for name, number in held.items()
    }
    for row in long.containers:  # in the order of days
        name, day = str(row["container"]), day_of(row, "inoculate_on")
        assert (row["free_from"], row["free_in_time"]) == (free_on[name], free_on[name] <= day)
        if row["free_in_time"]:
            free_on[name] = day + again
    for each in long.starts:
        mine = [row["free_in_time"] for row in long.containers if row["batch"] == each["batch"]]
        assert (each["containers_free"], each["containers_late"]) == (mine.count(True), mine.count(False))
        assert len(mine) + int(str(each["containers_lacking"])) == each["containers"]


def test_collisions_and_late_orders_are_named(weekly: Path) -> None:
    said = flat(ask(weekly, "plan", "--kg", 30, "--from", NO_MORE_RUNS - timedelta(days=14), "--weeks", 1).out)
    assert "! The day to order spawn by is past for P1-1 and P1-2: it has to be there, or come sooner." in said
    # 19 buckets and more a batch, and the farm has 18: two are free, and W22 to W30 still hold the others.
    needs = "P1-1 on 2026-08-12 needs 19 containers: not free by then: 11 (W23, until about 2026-08-18), 12 (W23, until"
    assert needs in said
    assert "; 1 more than the farm has." in said


def test_rows_are_written_and_loaded_they_are_what_runs(weekly: Path, tmp_path: Path) -> None:
    words = ("plan", "--kg", 3, "--from", NO_MORE_RUNS, "--weeks", 4)
    said = ask(weekly, *words, "--out", tmp_path / "autumn.csv")
    paths = [tmp_path / f"autumn-{name}.csv" for name in ("batches", "fillings")]
    assert f"{paths[0]}: 6 rows. Fill in, then copy them to your batches table." in said.out
    with open(paths[0], encoding="utf-8", newline="") as file:
        batches = list(csv.DictReader(file))
    with open(paths[1], encoding="utf-8", newline="") as file:
        fillings = list(csv.DictReader(file))
    assert [row["batch"] for row in batches] == [f"P1-{number}" for number in range(1, 7)]
    assert {(row["strain"], row["substrate"], row["containers_filled"]) for row in batches} == {("grey", "straw", "2")}
    assert len(fillings) == 12
    for row in fillings:
        assert bool(row["container"]) != bool(row["note"])  # free then, or what it holds
    within = ask(weekly, *words, "--out", weekly / "harvests" / "autumn")
    assert "files in harvests/ are read as your records" in within.err
    # Copied to the records, the batches are foreseen as planned, and nothing more has to be begun.
    planned = weekly_farm(tmp_path / "farm", 31)
    rows = "".join(f"{row['batch']},{row['inoculated_on']},grey,straw,2\n" for row in batches)
    with open(planned / "batches.csv", "a", encoding="utf-8") as file:
        file.write(rows)
    assert ask(planned, *words, "--json").json == []
    nothing = ask(planned, *words, "--out", tmp_path / "none")
    assert "--out: there is nothing to write, for nothing is to be begun." in nothing.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--kg", "0"), "--kg 0: name more than 0 kg, and no more than 100,000."),
        (("--kg", "nan"), "--kg nan: name more than 0 kg, and no more than 100,000."),
        (("--kg", "9", "--from", "2026-08-03"), "--from 2026-08-03: that day is past. Name one from 2026-08-04 on."),
        (("--kg", "9", "--weeks", "0"), "--weeks 0: name a number from 1 on."),
        (
            ("--kg", "9", "--weeks", "3", "--every", "two-weeks"),
            "--weeks 3: with --every two-weeks name an even number.",
        ),
        (
            ("--kg", "9", "--from", "2026-10-06", "--weeks", "20"),
            "--weeks 20: from 2026-10-06 on, 17 weeks, up to 2027-02-01, can be foreseen: an outlook reaches 26 weeks. "
            "Name fewer, or an earlier day.",
        ),
        (
            ("--kg", "9", "--from", "2027-10-06"),
            "--weeks 8: from 2027-10-06 on, nothing can be foreseen: an outlook reaches 26 weeks. Name fewer, or an "
            "earlier day.",
        ),
        (
            ("--kg", "9", "--recipe", "grey on strow"),
            "--recipe grey on strow: no batch was made so. Did you mean grey on straw?",
        ),
        (("--kg", "9", "--recipe", "mulch"), "--recipe mulch: no batch was made so. There are: grey on straw."),
    ],
)
def test_what_cannot_be_planned_is_said_with_the_way_out(weekly: Path, words: tuple[str, ...], said: str) -> None:
    refused = ask(weekly, "plan", *words)
    assert (refused.code, refused.out, refused.err) == (2, "", f"{said}\n")


def test_a_farm_with_too_little_history_says_what_it_needs(tmp_path: Path) -> None:
    young = here("plan", "--kg", 3, "--farm", weekly_farm(tmp_path / "young", 10), "--as-of", "2026-03-16")
    assert (young.code, young.out) == (0, "")
    assert young.err.startswith("Cannot tell. The records reach back 10 weeks; more than 20 are needed to learn from.")
    assert "From 2026-05-26 on it can be foreseen." in young.err
    folder = weekly_farm(tmp_path / "old", 31)
    text = (folder / "batches.csv").read_text(encoding="utf-8")
    (folder / "batches.csv").write_text(text.replace(",grey,straw,2", ",grey,straw,"), encoding="utf-8")
    sizeless = ask(folder, "plan", "--kg", 3)
    assert sizeless.err.startswith("Cannot tell. No batch of grey on straw says how many containers it filled, so what")


def test_the_level_is_the_lowest_that_is_enough() -> None:
    flat_kg = np.zeros((3, 10, 3))
    for start in range(3):
        flat_kg[start, :, start] = 0.5
    found = containers_needed(Deliveries(np.zeros((10, 3)), flat_kg, np.ones(3)), [[0], [1], [2]], 1.2)
    assert found.containers.tolist() == [3, 3, 3]
    # Eight of ten draws give at least 1 kg; what runs gives the second week all it needs; the third is too late.
    gives = np.zeros((1, 10, 3))
    gives[0, :, 0] = [0.1, 0.1, *[0.25] * 8]
    base = np.zeros((10, 3))
    base[:, 1] = 2
    found = containers_needed(Deliveries(base, gives, np.ones(3)), [[0], [0], []], 1.0)
    assert (found.containers.tolist(), found.chances.tolist()) == ([4], [0.8, 1.0, 0.0])
    assert containers_needed(Deliveries(base * 0, gives * 0, np.ones(3)), [[0], [0], []], 1.0).containers.tolist() == [
        0
    ]


def test_weeks_share_their_starts_and_none_is_begun_in_the_past() -> None:
    days, served_by = start_days(SpansAhead(60, 7, 4), 30, 1)
    assert days == [16, 23, 30, 37, 44, 51]
    assert served_by == [[0, 1, 2], [1, 2, 3], [2, 3, 4], [3, 4, 5]]
    days, served_by = start_days(SpansAhead(30, 7, 4), 30, 5)
    assert days == [7, 14, 21]
    assert served_by == [[], [0], [0, 1], [0, 1, 2]]
    assert TOGETHER == 3


def test_containers_that_are_free_first_are_taken_first() -> None:
    there = [Available(20, 0, "A", "X"), Available(0, 1, "B", ""), Available(9, 2, "C", "Y")]
    found = allotted(there, [Start("later", 12, 2), Start("first", 5, 1)], 30)
    assert [each.container for each in found["first"].free] == ["B"]
    assert [each.container for each in found["later"].free] == ["C"]
    assert [(each.container, each.batch) for each in found["later"].late] == [("A", "X")]
    # B holds `first` until day 35, C `later` until 42; A was not free for it, and is since day 20.
    third = allotted(there, [Start("first", 5, 1), Start("later", 12, 2), Start("z", 40, 4)], 30)["z"]
    assert [each.container for each in third.free] == ["A", "B"]
    assert [(each.container, each.free_in) for each in third.late] == [("C", 42)]
    assert third.lacking == 1


def test_plans_carried_out_on_simulated_farms_give_what_was_wanted() -> None:
    """All designs: python -m tests.calibrate_plan. Weeks of one farm share its batches, so here no more than this."""
    short = next(each for each in DESIGNS if each.name.startswith("short records, three"))
    farms = [carried_out(short, seed, 200) for seed in range(2000, 2006)]
    assert np.array([each.enough for each in farms]).mean() >= 0.8
    assert 80 <= 100 * np.array([each.said for each in farms]).mean() <= 95
