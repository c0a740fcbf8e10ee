"""The invented demo farm: the committed files are what the generator writes, and hold what they promise."""

from __future__ import annotations

import csv
import json
from collections import Counter
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from pipeline.demo import LAST_DAY, write_bench, write_demo
from pipeline.demo.dice import dice
from pipeline.demo.grow import grow
from pipeline.demo.plan import bench_plan, demo_plan
from pipeline.demo.recipes import RECIPES

COMMITTED = Path(__file__).parent.parent / "demo_data"
Rows = list[dict[str, str]]


def everything(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def table(name: str, folder: Path = COMMITTED) -> Rows:
    files = sorted((folder / "harvests").glob("*.csv")) if name == "harvests" else [folder / f"{name}.csv"]
    rows: Rows = []
    for file in files:
        with file.open(encoding="utf-8", newline="") as lines:
            rows += csv.DictReader(lines)
    return rows


@pytest.fixture(scope="module")
def truth() -> dict[str, list[dict[str, object]]]:
    read: dict[str, list[dict[str, object]]] = json.loads((COMMITTED / "TRUTH.json").read_text(encoding="utf-8"))
    return read


def test_the_committed_farm_is_what_the_generator_writes_and_writes_again(tmp_path: Path) -> None:
    write_demo(tmp_path / "once")
    write_demo(tmp_path / "twice")
    assert everything(tmp_path / "once") == everything(COMMITTED)
    assert everything(tmp_path / "twice") == everything(COMMITTED)


def test_the_committed_farm_is_small_and_says_that_it_is_invented() -> None:
    files = everything(COMMITTED)
    assert sum(map(len, files.values())) < 150_000
    assert all(b"\r" not in content and content.endswith(b"\n") for content in files.values())
    for name in ("README.txt", "farm.toml", "TRUTH.json"):
        assert b"nvented" in files[name]


def test_the_farm_is_nine_months_of_batches_from_fewer_soaks() -> None:
    batches = {row["batch"]: row for row in table("batches")}
    soaks = Counter(row["soak"] or row["batch"] for row in batches.values())
    days = sorted(row["inoculated_on"] for row in batches.values())
    assert len(batches) >= 24
    assert len(soaks) < len(batches)
    assert {2, 3} <= set(soaks.values())
    assert 240 <= (LAST_DAY - date.fromisoformat(days[0])).days <= 280
    assert date(2026, 9, 30) == LAST_DAY >= date.fromisoformat(days[-1])


def test_the_recipes_differ_in_all_that_growers_vary() -> None:
    batches = table("batches")
    assert len({row["substrate"] for row in batches}) >= 3
    assert len({row["strain"] for row in batches}) == 2
    assert {row["spawn_form"] for row in batches} == {"grain", "sawdust"}
    assert {row["treatment"] for row in batches} == {"cold_lime", "hot_lime", "hot_water"}
    both = [row for row in batches if row["spawn_kg"] and row["substrate_wet_kg"]]
    rates = [100 * float(row["spawn_kg"]) / float(row["substrate_wet_kg"]) for row in both]
    assert min(rates) == pytest.approx(4, abs=0.1)
    assert max(rates) == pytest.approx(20, abs=0.2)
    limed = [row for row in batches if row["lime_g_per_l"]]
    assert {row["lime_g_per_l"] for row in limed} == {"5"}
    assert all(12.2 <= float(row["ph_start"]) <= 12.7 or row["ph_start"] == "13.5" for row in limed)


def test_containers_of_two_sizes_are_used_again_and_again() -> None:
    fillings = table("fillings")
    uses = Counter(row["container"] for row in fillings)
    assert len(fillings) >= 200
    assert 85 <= len(uses) <= 95
    assert min(uses.values()) >= 2
    sizes = {(row["kind"], row["volume_l"]) for row in fillings if row["volume_l"] not in ("", "2")}
    assert sizes == {("bucket", "20"), ("bag", "10")}


def test_the_notebook_has_gaps_of_every_kind() -> None:
    batches, fillings, harvests = table("batches"), table("fillings"), table("harvests")
    assert sum(not row["moisture_pct"] for row in batches) >= 3
    assert any(not row["substrate_wet_kg"] for row in batches)
    assert any(row["dry_basis"] == "air" for row in batches)
    assert any(row["substrate_dry_kg"] for row in fillings)
    assert any(not row["fill_kg"] and row["volume_l"] for row in fillings)
    assert any(not row["fill_kg"] and not row["volume_l"] for row in fillings)
    without_rows = {row["batch"] for row in batches} - {row["batch"] for row in fillings}
    assert without_rows
    assert all(row["containers_filled"] for row in batches if row["batch"] in without_rows)
    assert len(harvests) >= 500
    assert sum(not row["container"] for row in harvests) >= 20
    assert sum(not row["flush"] for row in harvests) >= 30
    assert {row["picker"] for row in harvests} == {"M", "T", "J"}


def test_later_cap_stages_are_rarer() -> None:
    stages = Counter(row["cap_stage"] for row in table("harvests"))
    assert stages["turned_down"] > stages["flat"] > stages["turned_up"] > 0
    assert stages["curled"] > 0


def test_losses_cluster_in_soaks_and_events_are_told_by_container_and_by_batch() -> None:
    seen = table("observations")
    assert {"colonised", "opened", "pins", "suspect", "contaminated", "emptied"} <= {row["event"] for row in seen}
    assert {bool(row["container"]) for row in seen if row["event"] == "pins"} == {True, False}
    lost = [row for row in seen if row["event"] == "contaminated" and row["batch"]]
    by_soak = Counter(row["batch"].rstrip("abc") for row in lost)
    assert by_soak.most_common(1)[0][1] >= 5
    assert sum(row["container"] == "B17" for row in seen if row["event"] == "contaminated") >= 2


def test_some_units_are_still_going_at_the_end() -> None:
    picked = {row["batch"] for row in table("harvests")}
    assert {row["batch"] for row in table("batches")} - picked >= {"S20a", "S20b", "S21a", "S21b"}


def test_each_planted_mistake_stands_where_the_truth_says(truth: dict[str, list[dict[str, object]]]) -> None:
    mistakes = truth["mistakes"]
    assert len({mistake["what"] for mistake in mistakes}) >= 12
    assert len({mistake["rule"] for mistake in mistakes}) >= 12
    expected = {"date": "03/04/2026", "required": "", "integer": "2.5", "minimum": "18", "lime_ph": "13.5"}
    for mistake in mistakes:
        with (COMMITTED / str(mistake["file"])).open(encoding="utf-8", newline="") as lines:
            rows = list(csv.reader(lines))
        header, row = rows[0], rows[int(str(mistake["row"])) - 1]
        if mistake["rule"] in expected:
            assert row[header.index(str(mistake["column"]))] == expected[str(mistake["rule"])]
        if mistake["rule"] == "repeated":
            assert row == rows[int(str(mistake["row"])) - 2]
        if mistake["rule"] == "conflicting":
            key = [header.index(name) for name in ("batch", "container") if name in header]
            assert sum([other[i] for i in key] == [row[i] for i in key] for other in rows) == 2
            assert sum(other == row for other in rows) == 1


def test_several_pickings_wait_for_one_parent_row(truth: dict[str, list[dict[str, object]]]) -> None:
    waits = [mistake["waiting"] for mistake in truth["mistakes"] if "waiting" in mistake]
    assert max(wait["harvests"] for wait in waits if isinstance(wait, dict)) >= 5


def test_no_container_is_picked_once_it_is_filled_anew() -> None:
    units = grow(demo_plan(), dice(20261)).fillings
    assert (units["last"] < units["refilled"]).all()


def test_the_simulation_gives_what_its_recipes_say() -> None:
    """The means over 2700 soaks lie within 3 % (BE), .03 (decline) and .25 d (waits) of the truth: 4 standard errors
    or more of the soaks' noise."""
    rng = dice(7)
    units = grow(bench_plan(40_000, date(2022, 1, 3), 1460, rng), rng).fillings
    for number, recipe in enumerate(RECIPES):
        mine = (units["recipe"] == number) & ~units["lost"] & ~units["stalled"]
        grams = (units["grams"] * units["gives"])[mine]
        be = grams.sum() / units["dry_kg"][mine].sum() / 10
        assert be == pytest.approx(recipe.be_clean_pct(), rel=0.03), recipe.name
        decline = grams.sum(axis=0)[1:] / grams[:, 0].sum()
        assert decline == pytest.approx(recipe.decline_vs_first(), abs=0.03), recipe.name
        for column, wait in (("colonised", "colonised"), ("pins", "pins"), ("first_pick", "first_pick")):
            days = (units[column] - units["start"])[mine].mean()
            assert days == pytest.approx(recipe.days()[f"inoculated_to_{wait}"], abs=0.25), recipe.name


def test_a_bench_farm_has_its_pickings_and_its_share_of_faults_the_same_every_time(tmp_path: Path) -> None:
    write_bench(tmp_path / "once", 20_000, seed=3)
    write_bench(tmp_path / "twice", 20_000, seed=3)
    write_bench(tmp_path / "other", 20_000, seed=4)
    assert everything(tmp_path / "once") == everything(tmp_path / "twice") != everything(tmp_path / "other")
    harvests, fillings = table("harvests", tmp_path / "once"), table("fillings", tmp_path / "once")
    assert len(harvests) == pytest.approx(20_000, rel=0.02)
    assert 3 <= len(harvests) / len(fillings) <= 6
    assert len(list((tmp_path / "once" / "harvests").glob("*.csv"))) > 36
    faults = json.loads((tmp_path / "once" / "TRUTH.json").read_text(encoding="utf-8"))["faults"]
    assert sum(faults["harvests"].values()) == round(0.005 * 20_000)
    assert min(faults["harvests"].values()) > 0


@pytest.mark.parametrize("pickings", [1, 40, 1000])
def test_a_small_bench_farm_without_faults_has_exactly_its_pickings(tmp_path: Path, pickings: int) -> None:
    write_bench(tmp_path, pickings, seed=11, faulty_share=0)
    rows = table("harvests", tmp_path)
    assert len(rows) == pickings
    assert all(float(row["fresh_weight_g"]) > 0 and (row["container"] or row["batch"]) for row in rows)


def test_a_bench_farm_never_fills_a_container_twice_on_a_day() -> None:
    rng = dice(5)
    units = grow(bench_plan(5_000, date(2022, 1, 3), 1460, rng), rng).fillings
    pairs = np.char.add(units["container"], units["start"].astype(str))
    assert len(np.unique(pairs)) == len(pairs)
