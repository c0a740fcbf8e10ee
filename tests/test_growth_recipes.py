"""The BE of a recipe: soaks make its interval, from three on; it is the BE that yields tells; it covers the truth."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import date
from pathlib import Path

import calibrate_recipes
import pytest

from pipeline.cli.farm_access import read_ledger
from pipeline.farm.folder import open_farm
from pipeline.growth.recipes import recipe_row, recipes
from pipeline.models import measures
from pipeline.models.recipe_soaks import RecipeSoak
from pipeline.models.view import Query

DEMO = Path(__file__).resolve().parents[1] / "demo_data"
AS_OF = date(2026, 9, 30)
RECIPE = ("substrate", "treatment", "spawn_form")


def soak(fresh: float, dry: float = 1000.0, thrown: int = 0, clean_dry: float | None = None) -> RecipeSoak:
    return RecipeSoak(
        "straw", "steam", "grain", 4, 0, thrown, fresh, dry, fresh, dry if clean_dry is None else clean_dry
    )


def test_limits_are_students_t_over_soaks_where_all_weigh_the_same() -> None:
    row = recipe_row([soak(700), soak(800), soak(900)])
    # sd 10 points over 3 soaks: 10 / sqrt 3 = 5.7735; t(.975, 2) = 4.3027 (any t table).
    assert (row["soaks"], row["be_pct"]) == (3, pytest.approx(80.0))
    assert (row["low_pct"], row["high_pct"]) == (
        pytest.approx(80 - 24.841, abs=0.001),
        pytest.approx(104.841, abs=0.001),
    )
    assert row["why_no_interval"] is None


def test_containers_never_make_an_interval_and_fewer_than_three_soaks_have_none() -> None:
    for few in ([soak(700)], [soak(700), soak(900)], [soak(700), soak(900), soak(0.0, dry=0.0)]):
        row = recipe_row([replace(each, units=40) for each in few])
        assert (row["low_pct"], row["high_pct"], row["why_no_interval"]) == (None, None, "fewer than three soaks")
        assert row["be_pct"] is not None
    assert recipe_row([soak(800)] * 4)["why_no_interval"] == "all soaks gave the same"


def test_losses_count_with_nothing_and_clean_be_leaves_them_out() -> None:
    row = recipe_row([soak(800), soak(800, thrown=2, clean_dry=500), soak(0, thrown=4, clean_dry=0)])
    assert (row["be_pct"], row["be_clean_pct"]) == (pytest.approx(160 / 3), pytest.approx(100 * 1600 / 1500))
    assert row["contaminated_before_pick"] == 6
    assert row["low_pct"] == 0.0
    lost = recipe_row([soak(0, thrown=4, clean_dry=0)] * 3)
    assert [lost[name] for name in ("be_pct", "be_clean_pct", "low_pct", "why_no_interval")] == [
        None,
        None,
        None,
        "no BE",
    ]


def test_it_is_the_be_that_yields_tells_of_the_same_recipe(tmp_path: Path) -> None:
    shutil.copytree(DEMO, tmp_path / "demo")
    farm = open_farm(tmp_path / "demo")
    with read_ledger(farm, "measures") as ledger:
        view = ledger.view(Query(AS_OF))
        told = {tuple(row[name] for name in RECIPE): row for row in measures.yields(view.by(*RECIPE))}
        found = recipes(view, date.min, AS_OF)
        part = recipes(view, date(2026, 5, 1), date(2026, 5, 31))
        units = measures.of_month(view, date(2026, 5, 1))["finished_units"]
    assert len(found) >= 5
    for row in found:
        same = told[tuple(row[name] for name in RECIPE)]
        assert row["be_pct"] == pytest.approx(same["be_finished_pct"] or None)
        if row["be_pct"]:
            assert row["be_clean_pct"] == pytest.approx(same["be_finished_clean_pct"])
    assert any(row["low_pct"] is not None for row in found)
    assert sum(int(str(row["units"])) for row in part) == len(units) > 0


@pytest.mark.parametrize("soaks", [3, 6])
def test_the_interval_covers_the_truth(soaks: int) -> None:
    found = calibrate_recipes.covered(soaks, 15.0, 400, seed=3)
    assert 0.92 <= found.coverage <= 0.99
