"""trace and trial, and what all three that look around or ahead refuse: what is printed, said, and written."""

from __future__ import annotations

import csv
import shutil
from collections import Counter
from pathlib import Path

import pytest
from conftest import Said, write_table
from ledgers import here
from outlook_farms import weekly_farm

from schemas.contract import contract

DEMO = Path(__file__).resolve().parents[1] / "demo_data"


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("ahead") / "farm"
    shutil.copytree(DEMO, folder)
    return folder


def ask(folder: Path, *words: object, as_of: str = "2026-09-30") -> Said:
    return here(*words, "--farm", folder, "--as-of", as_of)


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize(
    "words",
    [
        ("trace", "--spawn-lot", "GG-5"),
        ("trace", "--container", "G04"),
        ("trace", "--picked", "2026-06-12"),
        ("trace", "--soak", "S18", "--list", "losses"),
        ("outlook",),
        ("outlook", "--list", "batches"),
        ("outlook", "--list", "past"),
        ("outlook", "--need", "30", "--by", "2026-11-25"),
        ("trial", "--factor", "spawn_form", "--levels", "grain,sawdust", "--soaks", "4"),
        ("trial", "--factor", "treatment", "--levels", "cold_lime,hot_lime", "--difference", "20"),
    ],
)
def test_what_is_printed_fits_the_screen(demo: Path, words: tuple[str, ...]) -> None:
    said = ask(demo, *words)
    assert said.code == 0
    assert said.out
    assert max(map(len, said.out.splitlines())) <= 80


def test_long_names_are_cut_and_numbers_are_not(tmp_path: Path) -> None:
    long = "very long name of a batch that somebody thought of " * 4
    write_table(tmp_path, "batches", f"batch,inoculated_on,soak,spawn_lot\n{long},2026-01-01,{long},{long}")
    write_table(tmp_path, "harvests", f"picked_on,fresh_weight_g,batch\n2026-02-01,123456789012.5,{long}")
    for which in ([], ["--list", "batches"], ["--list", "containers"], ["--list", "pickings"]):
        said = ask(tmp_path, "trace", "--spawn-lot", long.strip(), *which, as_of="2026-02-02")
        assert said.code == 0
        assert max(map(len, said.out.splitlines())) <= 80
        assert "123456789012" in said.out if which == ["--list", "pickings"] else "123456789.01" in said.out


def test_a_trace_says_what_came_of_it_what_was_lost_and_what_is_set_aside(demo: Path) -> None:
    said = flat(ask(demo, "trace", "--spawn-lot", "GG-7").out)
    assert said.startswith(
        "Spawn lot GG-7, as of 2026-09-30: 2 batches, 16 containers, 14 of them still running. "
        "Picked of it: 22 pickings, 7.83 kg, from "
    )
    assert "Lost without a picking: 2 of 16 (12 %), in 1 of 2 soaks." in said
    assert "From fewer than three soaks it cannot be known whether this is more than chance" in said
    assert "in none of these figures: 39 rows, with 1.41 kg picked: batches.csv, row 43 and 38 more" in said
    beside = flat(ask(demo, "trace", "--spawn-lot", "GG-5").out)
    assert "2 other batches share a soak or a spawn lot with them." in beside
    only_aside = flat(ask(demo, "trace", "--batch", "S18a").out)
    assert only_aside.startswith("Batch S18a, as of 2026-09-30: only rows that are set aside or waiting. Set aside")


def test_a_trace_prints_one_list_as_json(demo: Path) -> None:
    assert {row["container"] for row in ask(demo, "trace", "--batch", "S18b", "--json").json} == {
        "B33", "B34", "B35", "B38", "G11", "G14"
    }  # fmt: skip
    rows = ask(demo, "trace", "--picked", "2026-06-12", "--list", "pickings", "--json").json
    assert [row["picked_on"] for row in rows if row["asked"]] == ["2026-06-12"] * 4
    assert len(rows) == 16  # what else was picked of the same containers
    assert {row["container"] for row in rows} == {"B11", "B24", "B26", "G02"}
    assert list(rows[0]) == list(contract("trace_pickings").names)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("trace",), "Name what to trace: --spawn-lot, --soak, --batch, --container or --picked."),
        (
            ("trace", "--spawn-lot", "gg-51"),
            "--spawn-lot gg-51: no spawn lot is called so as of 2026-09-30. Did you mean GG-5?",
        ),
        (
            ("trace", "--picked", "32.6.2026"),
            "--picked 32.6.2026: that is not a date. Write year-month-day, like 2026-05-31.",
        ),
        (
            ("trace", "--picked", "2026-01-01"),
            "--picked 2026-01-01: nothing was picked on that day, and no row set aside is of it.",
        ),
        (("outlook", "--weeks", "27"), "--weeks 27: an outlook is told for 1 to 26 weeks."),
        (("outlook", "--need", "9"), "--need 9: by when? Add a day, like --by 2026-06-30."),
        (("outlook", "--need", "0", "--by", "2026-10-30"), "--need 0: name more than 0 kg."),
        (("outlook", "--by", "2026-10-30"), "--by goes with --need: name how many kg, like --need 40 --by 2026-06-30."),
        (
            ("outlook", "--need", "9", "--by", "2026-09-30"),
            "--by 2026-09-30: name a day from 2026-10-01 to 2027-03-31.",
        ),
        (
            ("outlook", "--need", "9", "--by", "2026-10-30", "--like", "s19"),
            "--like s19: there is no such batch with a day of inoculation. Did you mean S19?",
        ),
        (
            ("outlook", "--need", "9", "--by", "2026-10-30", "--list", "past"),
            "--list tells the weeks, --need a chance: ask for one of them.",
        ),
        (("trial", "--factor", "strain", "--levels", "a,b", "--soaks", "2"), "--soaks 2: from 3 to 30."),
        (
            ("trial", "--factor", "strain", "--levels", "a,b", "--difference", "0"),
            "--difference 0: name more than 0 points.",
        ),
        (
            ("trial", "--factor", "strain", "--levels", "a,b", "--containers", "4", "--batch-costs", "3"),
            "--containers and --batch-costs both tell the containers of a batch: give one of them.",
        ),
    ],
)
def test_what_cannot_be_asked_is_said_with_the_way_out(demo: Path, words: tuple[str, ...], said: str) -> None:
    told = ask(demo, *words)
    assert (told.code, told.out, told.err) == (2, "", f"{said}\n")


def plan(demo: Path, *words: object) -> Said:
    return ask(demo, "trial", "--factor", "spawn_form", "--levels", "grain,sawdust", "--soaks", "3", *words)


def test_a_trial_writes_rows_to_fill_in_and_never_over_a_file(demo: Path, tmp_path: Path) -> None:
    before = {path: path.read_bytes() for path in demo.rglob("*.csv")}
    said = plan(demo, "--out", tmp_path / "spring.csv")
    names = ("batches", "fillings")
    paths = [tmp_path / f"spring-{name}.csv" for name in names]
    assert said.code == 0
    assert f"{paths[0]}: 6 rows. Fill in, then copy them to your batches table." in said.out
    for name, path in zip(names, paths, strict=True):
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        assert set(rows[0]) <= set(contract(name).names)
        assert {each.name for each in contract(name).fields if each.starred} <= set(rows[0])
    written = [path.read_bytes() for path in paths]
    again = plan(demo, "--out", tmp_path / "spring")
    assert (again.code, again.out) == (2, "")
    assert again.err.startswith(f"--out {tmp_path / 'spring'}: {paths[0]} is there already and was not touched. Name")
    assert [path.read_bytes() for path in paths] == written
    assert {path: path.read_bytes() for path in demo.rglob("*.csv")} == before


def test_a_trial_never_writes_where_rows_would_be_read(demo: Path) -> None:
    said = plan(demo, "--out", demo / "harvests" / "trial")
    assert (said.code, said.out) == (2, "")
    assert said.err.endswith("files in harvests/ are read as your records. Name another folder.\n")
    nowhere = plan(demo, "--out", demo / "no" / "trial")
    assert nowhere.code == 3
    assert "cannot be written" in nowhere.err


def test_filled_in_the_rows_are_read_as_the_trial_that_was_planned(demo: Path, tmp_path: Path) -> None:
    plan(demo, "--out", tmp_path / "x")
    farm = tmp_path / "farm"
    farm.mkdir()
    for name, mine in (("batches", {"inoculated_on": "2026-10-05", "strain": "a", "substrate": "b"}), ("fillings", {})):
        with (tmp_path / f"x-{name}.csv").open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        with (farm / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]))
            writer.writeheader()
            writer.writerows({**row, **(mine or {"container": f"C{at}"})} for at, row in enumerate(rows))
    query = "select b.soak, b.spawn_form from fillings as f inner join batches as b on b.batch = f.batch"
    read = here("query", "--json", query, "--farm", farm).json
    assert Counter((row["soak"], row["spawn_form"]) for row in read) == {
        (f"T1-{soak}", form): 2 for soak in (1, 2, 3) for form in ("grain", "sawdust")
    }


def test_the_same_seed_gives_out_the_levels_alike_and_another_anew(demo: Path) -> None:
    def order(*words: object) -> list[str]:
        return [row["level"] for row in plan(demo, "--list", "portions", "--json", *words).json]

    assert order() == order("--seed", "1")
    assert any(order() != order("--seed", seed) for seed in (2, 3, 4))


def test_a_trial_without_records_says_what_is_missing(tmp_path: Path) -> None:
    said = plan(weekly_farm(tmp_path / "farm", 10))
    assert (said.code, said.out) == (0, "")
    assert said.err.startswith("Cannot tell. Only 0 finished containers with a dry mass of their own, out of 0 soaks, ")
    assert plan(weekly_farm(tmp_path / "farm", 10), "--json").json == []


def test_a_trial_reckons_with_finished_containers_only(tmp_path: Path) -> None:
    batches = "batch,inoculated_on,substrate_wet_kg,moisture_pct\nA,2026-08-01,10,70\nB,2026-08-01,10,70"
    write_table(tmp_path, "batches", batches)
    write_table(tmp_path, "fillings", "batch,container,fill_kg\nA,1,4\nA,2,4\nB,3,4")
    write_table(tmp_path, "harvests", "picked_on,fresh_weight_g,container\n2026-09-10,900,1\n2026-09-10,800,2")
    write_table(tmp_path, "observations", "seen_on,event,container\n2026-09-20,emptied,1")
    assert plan(tmp_path).err.startswith("Cannot tell. Only 1 finished containers")
    assert ask(tmp_path, "trial", "--factor", "strain", "--levels", "a,b", as_of="2026-09-15").err.startswith(
        "Cannot tell. Only 0 finished containers"
    )


def test_a_trial_says_what_it_can_show(demo: Path) -> None:
    said = flat(plan(demo).out)
    assert "in 8 of 10 such trials it takes 60 soaks, 30 of each level (60 batches, 300 containers)." in said
    assert "Proposed: 3 soaks, split. Of a true 10 points it says which gives more in 7 of 100 such trials" in said
    soak = flat(ask(demo, "trial", "--factor", "treatment", "--levels", "a,b", "--difference", "30").out)
    assert "treatment is done to a whole soak: one bath is never split, so the levels alternate. Pairs of soaks" in soak
    assert "are begun in the same week (a block)" in soak
    nothing = ask(demo, "trial", "--factor", "strain", "--levels", "a,b", "--difference", "1", "--out", demo / "t")
    assert nothing.code == 2
    refused = "By the records as of 2026-09-30.\n--out: there is nothing to write, for no design is enough. Say what"
    assert nothing.err.startswith(refused)


def test_a_level_that_begins_like_a_formula_is_written_as_text(demo: Path, tmp_path: Path) -> None:
    words = ("--levels", "=1+1,rye straw", "--difference", "60", "--out", tmp_path / "trial")
    said = ask(demo, "trial", "--factor", "substrate", *words)
    assert said.code == 0, said.err
    text = (tmp_path / "trial-batches.csv").read_text(encoding="utf-8")
    assert ",'=1+1" in text
    assert ",=1+1" not in text


def test_a_trial_says_what_its_containers_cost_by_those_before(demo: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(demo, tmp_path / "farm")
    tried = ("trial", "--factor", "spawn_form", "--levels", "grain,sawdust", "--soaks", "4")
    assert "A container has cost" not in ask(folder, *tried).err
    (folder / "prices.csv").write_text("from_on,item,price,per\n2020-01-01,start,2,container\n")
    (folder / "farm.toml").write_text('currency = "EUR"\n')
    (money,) = (row for row in ask(folder, "money", "--by", "all", "--json").json if row["units"])
    a_container = money["cost"] / money["containers"]
    assert 1.5 < a_container <= 2
    containers = {row["containers"] for row in ask(folder, *tried, "--list", "designs", "--json").json}
    said = flat(ask(folder, *tried).err)
    told = [f"so {each} of them cost about {a_container * each:.2f}, in EUR." for each in containers]
    assert f"A container has cost {a_container:.2f} here" in said
    assert sum(each in said for each in told) == 1
    assert "That lacks container_day (price)" in said
