"""Is another flush worth the room? Worked out by hand, refused where nothing tells it, covered on simulated farms."""

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import calibrate_growth
import numpy as np
import pytest
from conftest import gillbook

from pipeline.growth.another_flush import HeldUnits, stays

Farm = Callable[..., Path]
FIRST, SECOND = (500, 480, 520), (300, 310, 290)
MONEY = """price_per_kg = 10
spawn_cost_per_kg = 4
start_cost_per_container = 1
currency = "EUR"
"""


def day(number: int) -> date:
    return date(2026, 1, 1) + timedelta(days=number)


def three_soaks(farm: Farm, settings: str = "", second: tuple[int, ...] = SECOND) -> Path:
    """Three soaks of two containers: one is picked on days 30 and 44 and emptied on day 60, one is lost on day 10."""
    batches, fillings, seen, picked = [], [], [], []
    for at, name in enumerate("ABC"):
        batches.append(f"{name},{day(0)},S{name},10,70,1")
        fillings += [f"{name},{name}1,5.5", f"{name},{name}2,5.5"]
        seen += [f"{day(10)},contaminated,{name}2", f"{day(60)},emptied,{name}1"]
        picked += [f"{day(30)},{FIRST[at]},{name}1,1", f"{day(44)},{second[at]},{name}1,2"]
    return farm(
        settings=settings,
        batches="\n".join(["batch,inoculated_on,soak,substrate_wet_kg,moisture_pct,spawn_kg", *batches]),
        fillings="\n".join(["batch,container,fill_kg", *fillings]),
        observations="\n".join(["seen_on,event,container", *seen]),
        harvests="\n".join(["picked_on,fresh_weight_g,container,flush", *picked]),
    )


def test_a_day_of_waiting_is_held_against_a_day_of_a_container_begun_anew(farm: Farm) -> None:
    folder = three_soaks(farm)
    asked = ("another-flush", "--by", "substrate", "--as-of", day(200), "--farm", folder)
    (row,) = gillbook(*asked, "--json").json
    assert (row["flush"], row["soaks"], row["units_waited"], row["gave_pct"]) == (2, 3, 3, 100)
    assert (row["wait_days"], row["wait_g"]) == pytest.approx((14, 300))
    # 900 g in 3 x 14 days; anew 1500 g in 3 x (30 + 10 + a day empty after each) days.
    assert row["wait_g_per_day"] == pytest.approx(900 / 42)
    assert row["new_g_per_day"] == pytest.approx(1500 / 126)
    assert row["difference_g_per_day"] == pytest.approx(900 / 42 - 1500 / 126)
    assert row["difference_g_per_day_low"] > 0
    assert row["answer"] == "wait"
    assert row["wait_money_per_day"] is None
    said = gillbook(*asked)
    assert "where places stand empty, waiting costs nothing" in " ".join(said.err.split())
    assert "price_per_kg and spawn_cost_per_kg in farm.toml would tell" in said.err


def test_with_prices_it_is_told_in_money_less_what_a_start_costs(farm: Farm) -> None:
    folder = three_soaks(farm, MONEY, second=(30, 31, 29))
    (row,) = gillbook("another-flush", "--as-of", day(200), "--farm", folder, "--json").json
    # Half a kilogram of spawn at 4 and 1 for the work: 3 to start each of the two containers of a soak.
    assert row["wait_money_per_day"] == pytest.approx(10 * 0.09 / 42)
    assert row["new_money_per_day"] == pytest.approx((10 * 1.5 - 6 * 3) / 126)
    assert row["answer"] == "wait"
    cheap = three_soaks(farm, MONEY.replace("= 4", "= 0").replace("= 1\n", "= 0\n"), second=(30, 31, 29))
    (row,) = gillbook("another-flush", "--as-of", day(200), "--farm", cheap, "--json").json
    assert row["answer"] == "start anew"
    unpriced = three_soaks(farm, second=(30, 31, 29))
    said = gillbook("another-flush", "--as-of", day(200), "--farm", unpriced)
    assert "a new container gives more, but what it costs is not known: price_per_kg and spawn_cost_per_kg" in said.err


def test_it_refuses_what_nothing_tells(farm: Farm) -> None:
    folder = three_soaks(farm)
    asked = ("another-flush", "--farm", folder, "--json", "--as-of")
    # On day 35 no second flush has been picked; on day 46 it is, and not over.
    assert gillbook(*asked, day(35)).json == []
    said = gillbook("another-flush", "--farm", folder, "--as-of", day(35))
    assert said.err == f"No second flush is picked as of {day(35)}: nothing tells what waiting brings.\n"
    (row,) = gillbook(*asked, day(46)).json
    assert (row["answer"], row["why"]) == ("cannot tell", "no container is known that far")
    two = [each for each in gillbook(*asked, day(200), "--by", "soak,batch").json if each["batch"] == "A"]
    assert two[0]["why"] == "only 1 soak shows it; three are the least"
    assert two[0]["difference_g_per_day"] is not None


def test_emptied_by_choice_at_once_tells_nothing_of_waiting() -> None:
    kept = HeldUnits(
        soak=np.array([0, 1, 1]),
        age=np.full(3, 200.0),
        containers=np.ones(3),
        cost=np.zeros(3),
        chosen=np.array([True, True, False]),
        held_days=np.array([32.0, 50, 33]),
        fresh=np.array([[500.0, 0], [500, 0], [500, 0]]),
        resolved_age=np.array([[32.0, 32], [40, 50], [33, 33]]),
        last_age=np.array([[30.0, np.nan], [30, np.nan], [30, np.nan]]),
    )
    waiting, anew = stays(kept, 2, {"new_flush_after_days": 7, "empty_days": 1})
    # The second was waited for in vain, the third was lost while waiting; the first was never meant to go on.
    assert waiting.unit.tolist() == [1, 2]
    assert waiting.container_days.tolist() == [20, 3]
    assert anew.container_days.tolist() == [31, 31, 31]


def test_what_a_container_has_given_so_far_rises_to_its_mean(farm: Farm) -> None:
    folder = three_soaks(farm)
    curve = gillbook("another-flush", "--curve", "--as-of", day(200), "--farm", folder, "--json").json
    assert [(row["day"], row["containers"]) for row in curve] == [(30, 6), (44, 6)]
    assert [row["g_per_container"] for row in curve] == pytest.approx([250, 400])
    assert curve[0]["low_g"] < 250 < curve[0]["high_g"]
    (early,) = gillbook("another-flush", "--curve", "--as-of", day(40), "--farm", folder, "--json").json
    assert early["g_per_container"] == pytest.approx(250)


@pytest.mark.parametrize(("soaks", "span", "flush"), [(12, 120.0, 2), (24, 120.0, 3)])
def test_limits_cover_the_truth_of_simulated_farms(soaks: int, span: float, flush: int) -> None:
    told = calibrate_growth.another(soaks, span, flush, 400, seed=4)
    assert abs(told.bias) < 0.05, told
    assert told.coverage > 0.93, told
