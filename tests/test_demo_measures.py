"""Are the demo farm's figures those of a recomputation, its mistakes found, its planted truths recovered?"""

import json
import math
import shutil
from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import duckdb
import pytest
import recompute
from conftest import gillbook
from test_against_recompute import differences

from pipeline.demo import LAST_DAY
from pipeline.farm.folder import open_farm
from pipeline.ledger.refresh import refresh
from pipeline.models.view import Query, opened

DEMO = Path(__file__).resolve().parents[1] / "demo_data"
TRUTH: dict[str, Any] = json.loads((DEMO / "TRUTH.json").read_text(encoding="utf-8"))
RECIPES = {each["recipe"]: each for each in TRUTH["recipes"]}


@pytest.fixture(scope="module")
def demo_farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "farm"
    shutil.copytree(DEMO, folder)
    return folder


@pytest.fixture(scope="module")
def units(demo_farm: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    """The unit tables of the demo farm on its last day."""
    farm = open_farm(demo_farm)
    refresh(farm, "test")
    with opened(farm.ledger, farm.settings) as ledger:
        view = ledger.view(Query(LAST_DAY))
        view.make("unit_waits")
        yield view.connection


@pytest.mark.parametrize("through", [None, 1, 2, 3])
@pytest.mark.parametrize(
    "by",
    [
        "batch",
        "container",
        "substrate",
        "substrate,treatment",
        "strain,spawn_form",
        "spawn_kg",
        "volume_l",
        "kind",
        "soak",
        "all",
    ],
)
def test_every_figure_equals_the_recomputation(demo_farm: Path, by: str, through: int | None) -> None:
    for as_of in (LAST_DAY, date(2026, 6, 15)):
        assert differences(demo_farm, as_of, by, through) == []


def test_command_line_tells_what_the_recomputation_tells(demo_farm: Path) -> None:
    farm = recompute.load(demo_farm)
    asked = ("--by", "substrate", "--farm", demo_farm, "--as-of", str(LAST_DAY), "--json")
    for name, rows in (
        ("yields", recompute.yields(farm, LAST_DAY, ["substrate"])),
        ("flushes", recompute.flushes(farm, LAST_DAY, ["substrate"])),
    ):
        for ours, theirs in zip(gillbook(name, *asked).json, rows, strict=True):
            # flushes have estimates beside the sums: tests/test_growth_*.py
            assert {key: value for key, value in ours.items() if key in theirs} == {
                key: pytest.approx(value, rel=1e-9) if isinstance(value, float) else value
                for key, value in theirs.items()
            }


def test_every_planted_mistake_is_found_and_nothing_else(demo_farm: Path) -> None:
    said = gillbook("check", "--farm", demo_farm, "--as-of", LAST_DAY, "--json")
    assert said.code == 1
    found = {
        (each["file"], each["row"], each["rule"]) for each in said.json if each["level"] not in ("waiting", "missing")
    }
    planted = {(each["file"], each["row"], each["rule"]) for each in TRUTH["mistakes"]}
    assert planted - found == set()
    # Units that nobody ended are no mistakes of the rows.
    assert {rule for _, _, rule in found - planted} <= {"lapsed", "idle", "flush_derived"}
    waiting = defaultdict(int)
    for each in said.json:
        if each["level"] == "waiting":
            waiting[each["table"]] += 1
    expected = defaultdict(int)
    roots = {each["what"]: each["waiting"] for each in TRUTH["mistakes"] if "waiting" in each}
    for counts in roots.values():
        for table, number in counts.items():
            expected[table] += number
    assert waiting == expected


def by_recipe(con: duckdb.DuckDBPyConnection, query: str) -> dict[str, list[tuple[Any, ...]]]:
    """Rows of a query whose first column is the batch, by the recipe that the generator gave it."""
    rows = defaultdict(list)
    for row in con.execute(query).fetchall():
        rows[TRUTH["recipe_by_batch"][row[0]]].append(row[1:])
    return rows


def test_efficiency_of_each_recipe_is_recovered(units: duckdb.DuckDBPyConnection) -> None:
    # Only pickings that are wrong on purpose (kg typed as g, a nought too many) stand between; they are single ones.
    query = """
        select batch, sum(fresh_g)::double, sum(dry_g)::double, count(*)
        from unit_states
        where finished and dry_g is not null and not contaminated_before_pick
        group by batch"""
    noise = TRUTH["noise"]
    told = 0
    for recipe, batches in by_recipe(units, query).items():
        number = sum(batch[2] for batch in batches)
        if len(batches) < 2:
            continue
        truth = RECIPES[recipe]["be_finished_clean_pct"]
        measured = 100 * sum(batch[0] for batch in batches) / sum(batch[1] for batch in batches)
        between = (noise["share_soak"] + noise["share_batch"]) / len(batches)
        within = (1 - noise["share_soak"] - noise["share_batch"]) / number
        assert abs(measured - truth) < 3 * noise["be_cv"] * truth * math.sqrt(between + within), recipe
        told += 1
    assert told >= 5


def test_decline_of_the_flushes_is_recovered(units: duckdb.DuckDBPyConnection) -> None:
    query = """
        select s.batch, f.flush, sum(f.fresh_g)::double
        from unit_flushes as f
        inner join unit_states as s on s.unit = f.unit
        where s.finished and f.flush <= 2
        group by s.batch, f.flush"""
    fresh: dict[int, float] = defaultdict(float)
    expected = 0.0
    for recipe, rows in by_recipe(units, query).items():
        for flush, grams in rows:
            fresh[flush] += grams
            expected += grams * RECIPES[recipe]["decline_vs_first"]["2"] if flush == 1 else 0.0
    # Over all recipes, so that the noise of single batches (cv .2, some 35 of them) averages out to some .03.
    assert fresh[2] / fresh[1] == pytest.approx(expected / fresh[1], abs=0.1)


@pytest.mark.parametrize(
    "wait", ["inoculated_to_colonised", "inoculated_to_pins", "inoculated_to_first_pick", "opened_to_pins"]
)
def test_waits_are_recovered(units: duckdb.DuckDBPyConnection, wait: str) -> None:
    query = f"""
        select s.batch, avg(w.days), count(*)
        from unit_waits as w
        inner join unit_states as s on s.unit = w.unit
        where w.wait = '{wait}' and w.days is not null
        group by s.batch"""
    gaps = [
        (mean - RECIPES[recipe]["days"][wait], number)
        for recipe, rows in by_recipe(units, query).items()
        for mean, number in rows
    ]
    assert sum(number for _, number in gaps) > 80
    assert abs(sum(gap * number for gap, number in gaps) / sum(number for _, number in gaps)) < 1.5


def test_losses_are_recovered_and_cluster_in_soaks(demo_farm: Path) -> None:
    rows = gillbook("losses", "--by", "soak,batch", "--farm", demo_farm, "--as-of", LAST_DAY, "--json").json
    expected = variance = 0.0
    lost = 0
    for row in rows:
        soak = row["soak"] or row["batch"].rstrip("ab")  # one soak was never named
        chance = TRUTH["loss_pct_by_soak"][soak] / 100
        told = row["units"] - row["units_not_yet"]
        expected += chance * told
        variance += chance * (1 - chance) * told
        lost += row["lost"]
    assert abs(lost - expected) < 4 * math.sqrt(variance)
    worst = sorted(rows, key=lambda row: -TRUTH["loss_pct_by_soak"][row["soak"] or row["batch"].rstrip("ab")])[:4]
    assert sum(row["lost"] for row in worst) > lost / 4


def test_waits_are_never_negative(units: duckdb.DuckDBPyConnection) -> None:
    told = units.execute("select count(*), min(days) from unit_waits where state = 'noted'").fetchone()
    assert told is not None
    assert told[0] > 800
    assert told[1] >= 0
