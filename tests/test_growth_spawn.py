"""Spawn rates: which rates are one, what a step brings and costs, and when a best rate may be named."""

import json
import shutil
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import calibrate_growth
import growth_farms
import numpy as np
import pytest
from compare_farms import write_farm
from conftest import gillbook
from golden_records import means, records, table

from pipeline.farm.folder import open_farm
from pipeline.ledger.refresh import refresh
from pipeline.models.view import Query
from pipeline.models.view import opened as opened_ledger
from pipeline.spawn import summary as spawn
from pipeline.spawn.best_rate import best
from pipeline.spawn.rates import RECIPE, rate_names, same_rates
from pipeline.spawn.steps import steps
from pipeline.stats.cluster_robust import fit
from pipeline.stats.optimum import band, misfit_p, optimum, quadratic

Farm = Callable[..., Path]
DEMO = Path(__file__).resolve().parents[1] / "demo_data"
PRICES = """price_per_kg = 10
spawn_cost_per_kg = 4
spawn_dry_pct_grain = 50
"""


def three_split_soaks(farm: Farm, settings: str = "") -> Path:
    """Three soaks, each split into 5 % and 10 % spawn on 10 kg wet, 3 kg dry substrate; emptied after one flush."""
    batches, fillings, seen, picked = [], [], [], []
    for at, soak in enumerate(("S1", "S2", "S3")):
        for name, kg, grams in ((f"{soak}a", 0.5, 1500 + 60 * at), (f"{soak}b", 1.0, 2100 + 90 * at)):
            batches.append(f"{name},2026-0{at + 1}-01,{soak},10,70,grain,{kg}")
            fillings.append(f"{name},{name}1,{10 + kg}")
            seen.append(f"2026-0{at + 1}-21,pins,{name}1\n2026-0{at + 2}-20,emptied,{name}1")
            picked.append(f"2026-0{at + 1}-26,{grams},{name}1")
    return farm(
        settings=settings,
        batches="\n".join(["batch,inoculated_on,soak,substrate_wet_kg,moisture_pct,spawn_form,spawn_kg", *batches]),
        fillings="\n".join(["batch,container,fill_kg", *fillings]),
        observations="\n".join(["seen_on,event,container", *seen]),
        harvests="\n".join(["picked_on,fresh_weight_g,container", *picked]),
    )


def test_each_rate_is_told_by_soak_also_with_spawn_in_the_denominator(farm: Farm) -> None:
    folder = three_split_soaks(farm, PRICES)
    low, high = gillbook("spawn", "--as-of", "2026-06-01", "--farm", folder, "--json").json
    assert (low["rate_wet_pct"], high["rate_wet_pct"]) == pytest.approx((5, 10))
    assert (low["soaks"], low["batches"], low["units"], low["units_not_yet"]) == (3, 3, 3, 0)
    # (1500 + 1560 + 1620) / 3 g from 3 kg dry; with 0.5 kg spawn that is half dry from 3.25 kg.
    assert low["be_pct"] == pytest.approx(1560 / 30)
    assert low["be_with_spawn_pct"] == pytest.approx(1560 / 32.5)
    assert low["margin_per_kg_dry"] == pytest.approx((10 * 1.56 - 4 * 0.5) / 3)
    assert (low["median_days_to_pins"], low["lost"], low["lost_pct"]) == (20, 0, 0)
    undeclared = three_split_soaks(farm)
    low, _ = gillbook("spawn", "--as-of", "2026-06-01", "--farm", undeclared, "--json").json
    assert (low["be_with_spawn_pct"], low["margin_per_kg_dry"]) == (None, None)


def test_a_soak_that_is_not_told_to_the_end_is_in_no_figure_of_be(farm: Farm) -> None:
    folder = three_split_soaks(farm)
    rows = gillbook("spawn", "--as-of", "2026-04-01", "--farm", folder, "--json").json
    assert [(row["soaks"], row["units_not_yet"]) for row in rows] == [(2, 1), (2, 1)]
    rows = gillbook("spawn", "--through-flush", "1", "--as-of", "2026-04-10", "--farm", folder, "--json").json
    assert [(row["soaks"], row["units_not_yet"]) for row in rows] == [(3, 0), (3, 0)]
    told = gillbook("spawn", "--table", "points", "--as-of", "2026-04-01", "--farm", folder, "--json").json
    assert [(row["batch"], row["known"], row["be_pct"] is None) for row in told][-2:] == [
        ("S3a", False, True),
        ("S3b", False, True),
    ]


def test_a_step_pays_where_the_gain_lies_above_its_spawn(farm: Farm) -> None:
    folder = three_split_soaks(farm, PRICES)
    asked = ("spawn", "--as-of", "2026-06-01", "--farm", folder)
    (step,) = gillbook(*asked, "--table", "steps", "--json").json
    assert (step["design"], step["soaks_both"]) == ("within soaks", 3)
    # 600, 630, 660 g more of 3 kg dry: 20, 21, 22 points; .5 kg of spawn more for 3 kg dry.
    assert step["be_difference_pct"] == pytest.approx(21)
    # t(.975, 2) = 4.30265 (any t table) times 1 / sqrt(3)
    assert step["be_difference_high_pct"] - 21 == pytest.approx(4.30265 / 3**0.5, abs=1e-4)
    assert step["extra_spawn_per_kg_dry"] == pytest.approx(0.5 / 3)
    assert step["margin_difference"] == pytest.approx(10 * 0.21 - 4 * 0.5 / 3)
    assert step["answer"] == "pays"
    said = gillbook(*asked)
    assert "pays" in said.out
    assert "At 10.00 a kg of mushrooms and 4.00 a kg of spawn, the prices of the day" in said.err
    assert "best rate: cannot tell, for two rates were tested; a best one takes four." in said.err
    dear = three_split_soaks(farm, PRICES.replace("= 4", "= 40"))
    (step,) = gillbook("spawn", "--as-of", "2026-06-01", "--farm", dear, "--table", "steps", "--json").json
    assert step["answer"] == "does not pay"
    plain = gillbook("spawn", "--as-of", "2026-06-01", "--farm", three_split_soaks(farm))
    assert "gives more" in plain.out
    assert "price_per_kg and spawn_cost_per_kg in farm.toml would tell" in plain.err
    assert "2026-06-01,fresh,,,PRICE,kg and 2026-06-01,spawn,,,PRICE,kg" in plain.err


def test_within_and_its_mistakes(farm: Farm) -> None:
    folder = three_split_soaks(farm)
    asked = ("--as-of", "2026-06-01", "--farm", folder)
    rows = gillbook("spawn", "--within", "soak=S2", *asked, "--json").json
    assert [row["soaks"] for row in rows] == [1, 1]
    said = gillbook("spawn", "--within", "soak=S2", *asked)
    assert "only 1 soak is far enough at one of the rates; three are the least" in said.err
    assert gillbook("spawn", "--within", "strain=pink", *asked, "--json").json == []
    assert "It takes spawn_kg and substrate_wet_kg" in gillbook("spawn", "--within", "strain=pink", *asked).err
    for words, told in (("strain", "write a column and its value"), ("srtain=grey", "Did you mean strain?")):
        said = gillbook("spawn", "--within", words, *asked)
        assert (said.code, told in said.err) == (2, True)


def test_rates_a_little_apart_are_one_and_never_chain_into_another() -> None:
    assert same_rates([5.0, 10.2, 5.3, 9.8, 20]).tolist() == [0, 1, 0, 1, 2]
    assert same_rates([5, 5.6, 6.2, 6.8]).tolist() == [0, 0, 1, 1]


def test_every_rate_of_a_recipe_has_a_name_of_its_own() -> None:
    assert rate_names((5.0, 9.96)) == ("5.0 %", "10.0 %")
    assert len(set(rate_names((0.02, 0.04, 5.0)))) == 3


def tried(folder: Path, rates: Sequence[float], **columns: Sequence[Any]) -> dict[str, Any]:
    """The step between two rates, each tried on three soaks, the higher one giving 40 points more; columns: one cell a
    soak. They alternate from month to month, if no days are told.
    """
    days = columns.pop("on", [date(2026, 1 + at, 5) for at in range(len(rates))])
    rows = [
        {"on": day, "spawn_kg": rate, "substrate_wet_kg": 10, "be": 40 + 40 * (rate > 0.5) + at}
        | {name: cells[at] for name, cells in columns.items()}
        for at, (day, rate) in enumerate(zip(days, rates, strict=True))
    ]
    folder.mkdir()
    write_farm(folder, rows)
    opened = open_farm(folder)
    refresh(opened, "test")
    with opened_ledger(opened.ledger, opened.settings) as ledger:
        view = ledger.view(Query(date(2026, 12, 31), RECIPE))
        (told,) = steps(spawn.spawn(view, opened.settings, {}))
    return told


def test_a_step_is_refused_for_the_reasons_of_any_comparison(tmp_path: Path) -> None:
    turns = [0.5, 1, 0.5, 1, 0.5, 1]
    assert tried(tmp_path / "a", turns)["answer"] == "gives more"
    found = tried(tmp_path / "b", [0.5] * 3 + [1] * 3)
    assert found["answer"] == "cannot tell"
    assert found["why"] == (
        "all soaks of 5.0 % were started (the last on 2026-03-05) before the first of 10.0 % (2026-04-05): season, "
        "room and spawn changed in between, too"
    )
    assert found["next_step"].startswith("Start 5.0 % again beside 10.0 %")
    lots = tried(tmp_path / "c", turns, spawn_lot=["L1", "L2"] * 3)
    assert lots["why"].startswith("every soak of 10.0 % had L2 (spawn lot) and every one of 5.0 % L1")
    # Not only the lot and the season: any column that went along.
    of_strain = tried(tmp_path / "d", turns, treatment_h=[20, 4] * 3)
    assert of_strain["why"].startswith("every soak of 10.0 % had less")
    few = tried(tmp_path / "e", [0.5, 1, 0.5, 1, 0.5])
    assert few["why"] == "only 2 soaks are far enough at one of the rates; three are the least"


def test_a_best_rate_is_refused_for_them_too(tmp_path: Path) -> None:
    folder = tmp_path / "farm"
    folder.mkdir()
    rates = [0.5, 1, 1.5, 2] * 3
    gave = {0.5: 40, 1: 60, 1.5: 61, 2: 44}
    rows = [
        {"on": date(2026, 1 + at, 5), "spawn_kg": rate, "substrate_wet_kg": 10, "be": gave[rate] + at / 10}
        | {"treatment_h": 20 - 4 * (at % 4)}
        for at, rate in enumerate(rates)
    ]
    write_farm(folder, rows)
    (told,) = gillbook("spawn", "--table", "best", "--as-of", "2027-06-01", "--farm", folder, "--json").json
    assert (told["answer"], told["best_rate_wet_pct"]) == ("cannot tell", None)
    assert told["why"].startswith("every soak of 10.0 % had less")
    write_farm(folder, [{**row, "treatment_h": 20} for row in rows])
    (told,) = gillbook("spawn", "--table", "best", "--as-of", "2027-06-01", "--farm", folder, "--json").json
    assert told["answer"] == "found"


@pytest.mark.parametrize(("name", "told"), records("quadratic optimum"))
def test_top_and_fieller_limits_are_those_of_r(name: str, told: dict[str, Any]) -> None:
    data, block, place, value, scale = (
        ("Oats", "Block", "nitro", "yield", 1) if name == "oats" else ("CO2", "Plant", "conc", "uptake", 100)
    )
    means: dict[tuple[str, float], list[float]] = {}
    for row in table(data):
        means.setdefault((row[block], float(row[place]) / scale), []).append(float(row[value]))
    fit = quadratic(
        np.array([x for _, x in means]), np.array([np.mean(each) for each in means.values()]), [b for b, _ in means]
    )
    assert fit is not None
    assert (fit.slope, fit.bend, fit.degrees) == (pytest.approx(told["b1"]), pytest.approx(told["b2"]), told["df"])
    top = optimum(fit)
    assert (top.at, top.low, top.high) == pytest.approx((told["optimum"], told["lo"], told["hi"]), rel=1e-11)
    assert top.bounded is told["bounded"]


def test_a_slope_within_blocks_is_r_lms() -> None:
    # nlme::Oats, lm(y ~ block + log(dose + .1)) on cell means.
    ((_, told),) = [each.values for each in records("log dose slope")]
    cells = means("Oats", ("Block", "nitro"), "yield")
    blocks = list(cells["0"])
    keys = [(block, nitro) for nitro in cells for block in blocks]
    x = np.array([[*(float(block == each) for each in blocks), np.log(float(nitro) + 0.1)] for block, nitro in keys])
    gave = [cells[nitro][block] for block, nitro in keys]
    found = fit([block for block, _ in keys], x, gave, [*blocks, "dose"], 0.0).level("dose")
    assert found.value == pytest.approx(told["b"], rel=1e-11)


def test_a_curve_takes_four_rates_and_four_soaks_and_a_misfit_is_seen() -> None:
    x = np.array([5.0, 10, 20, 30, 5, 10, 20, 30])
    y = np.array([40.0, 60, 70, 62, 42, 61, 72, 60])
    assert band(x, y, [1, 2, 3, 4, 5, 6, 7, 8]) is not None
    assert band(x, y, [1, 1, 1, 1, 2, 2, 2, 2]) is None
    assert misfit_p(x, y) > 0.01
    assert misfit_p(x, np.array([40.0, 90, 40, 90, 41, 91, 41, 91])) < 0.001
    assert quadratic(np.array([5.0, 10, 5, 10]), y[:4]) is None


@pytest.mark.parametrize("seed", range(12))
def test_a_quadratic_within_soaks_is_the_fit_with_a_column_a_soak(seed: int) -> None:
    """By the definition: least squares with a column of its own for each block (numpy.linalg.lstsq)."""
    draw = np.random.default_rng(seed)
    rates, soaks = draw.choice([4.0, 6.5, 9.7, 12.0, 16.3], 60), draw.integers(0, 14, 60)
    y = 60 + 3 * rates - 0.14 * rates**2 + draw.normal(0, 9, 14)[soaks] + draw.normal(0, 4, 60)
    every = np.unique(soaks)
    design = np.column_stack([(soaks[:, None] == every).astype(float), rates, rates**2])
    coefficients, squares, rank, _ = np.linalg.lstsq(design, y, rcond=None)
    variance = squares[0] / (60 - rank)
    fit = quadratic(rates, y, soaks)
    assert fit is not None
    assert (fit.slope, fit.bend, fit.degrees) == (*map(pytest.approx, coefficients[-2:]), 60 - rank)
    assert fit.covariance == pytest.approx(np.linalg.inv(design.T @ design)[-2:, -2:] * variance, rel=1e-6)


def test_a_best_rate_takes_what_it_takes() -> None:
    rng = np.random.default_rng(3)
    named = growth_farms.spawn_recipe(rng, "within", 6, (5.0, 10.0, 15.0, 20.0, 30.0), "parabola")
    (told,) = best(growth_farms.tested(named))
    # By margin, 10 a kilogram and 4 for spawn: the top of 9 - .025 (r - 14)^2 - .1333 r lies at 11.3 %.
    assert told["answer"] == "found"
    assert told["best_low_pct"] <= 11.33 <= told["best_high_pct"]
    reasons = {
        ("within", 6, (5.0, 10.0, 20.0)): "three rates were tested; a best one takes four",
        ("between", 2, (5.0, 10.0, 20.0, 30.0)): "of 5.0 % only 2 soaks are far enough",
    }
    for (design, soaks, rates), why in reasons.items():
        (told,) = best(growth_farms.tested(growth_farms.spawn_recipe(rng, design, soaks, rates, "parabola")))
        assert (told["answer"], told["why"], told["best_rate_wet_pct"]) == ("cannot tell", why, None)
    rising = growth_farms.spawn_recipe(rng, "within", 6, (5.0, 6.0, 8.0, 10.0), "parabola")
    (told,) = best(growth_farms.tested(rising))
    assert told["answer"] == "cannot tell"


@pytest.mark.parametrize(("design", "soaks"), [("between", 3), ("within", 6), ("mixed", 6)])
def test_margins_of_steps_are_covered_and_a_best_rate_is_seldom_wrong(design: str, soaks: int) -> None:
    told = calibrate_growth.spawn_steps(design, soaks, "levelling", 150, seed=9)
    assert told.coverage > 0.93, told
    # So many farms are drawn that a run stays short; make calibrate draws more.
    for curve, least in (("levelling", 0.93), ("parabola", 0.93)):
        named, right = calibrate_growth.best_rates(design, soaks, curve, 60, seed=9)
        assert named > 4
        assert right >= least * named, (curve, named, right)
    for curve in ("flat", "straight"):
        # Their best rate is the lowest or the highest tested: nothing inside may be named.
        named, _ = calibrate_growth.best_rates(design, soaks, curve, 60, seed=9)
        assert named <= 2, curve


def test_planted_differences_of_the_demo_farm_lie_inside_the_limits(tmp_path: Path) -> None:
    folder = tmp_path / "farm"
    shutil.copytree(DEMO, folder)
    with (folder / "farm.toml").open("a", encoding="utf-8") as settings:
        settings.write(PRICES)
    truth = json.loads((DEMO / "TRUTH.json").read_text(encoding="utf-8"))
    be = {
        each["spawn_rate_wet_pct"]: each["be_finished_clean_pct"] * (1 - each["loss_pct_in_a_usual_soak"] / 100)
        for each in truth["recipes"]
        if each["recipe"].startswith("straw grain")
    }
    within = ("--within", "substrate=wheat straw", "--within", "treatment=cold_lime", "--within", "spawn_form=grain")
    asked = (*within, "--as-of", truth["last_day"], "--farm", folder, "--json")
    told = gillbook("spawn", "--table", "steps", *asked).json
    assert [(round(row["from_rate_wet_pct"]), round(row["to_rate_wet_pct"])) for row in told] == [(5, 10), (10, 20)]
    for row in told:
        low, high = round(row["from_rate_wet_pct"]), round(row["to_rate_wet_pct"])
        gain = be[high] - be[low]
        paid = gain / 10 - 4 * row["extra_spawn_per_kg_dry"]
        assert row["be_difference_low_pct"] <= gain <= row["be_difference_high_pct"], (row, gain)
        assert row["margin_difference_low"] <= paid <= row["margin_difference_high"], (row, paid)
    assert gillbook("spawn", "--table", "curves", *asked).json == []
