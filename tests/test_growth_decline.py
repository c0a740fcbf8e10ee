"""The decline of flushes: containers that still produce do not bias it, soaks make the limits, the young refuse."""

import json
import math
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import calibrate_growth
import numpy as np
import pytest
from conftest import gillbook
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.cli.group_screen import with_limits
from pipeline.growth.decline import Resolved, decline_gave, decline_per_flush, decline_started, too_early
from pipeline.stats.ratio import degrees_of_freedom, ratio_of_sums

Farm = Callable[..., Path]
DEMO = Path(__file__).resolve().parents[1] / "demo_data"


def containers(*rows: tuple[int, float, float | None, float, float]) -> Resolved:
    """Rows of soak, age, age at which the flush was told (None: still producing), g of the flush, g of flush 1."""
    soak, age, told, fresh, first = zip(*rows, strict=True)
    ages = [math.nan if each is None else each for each in told]
    return Resolved(
        np.array(soak), np.array(age, float), np.array(ages), np.array(fresh, float), np.array(first, float)
    )


OLD_AND_YOUNG = containers(
    (0, 100, 60, 500, 1000),  # told at 60 days, when only one of the two starts is that old: stands for two
    (0, 100, 35, 0, 1000),  # emptied at 35 days without a second flush
    (1, 40, 35, 0, 800),
    (1, 40, None, 0, 800),  # still produces: in no sum
)


def test_a_container_told_late_stands_for_the_young_ones() -> None:
    assert decline_started(OLD_AND_YOUNG).value == pytest.approx(2 * 500 / (2 * 1000 + 1000 + 800))
    assert decline_gave(OLD_AND_YOUNG).value == pytest.approx(0.5)


def test_the_ratio_is_refused_while_the_oldest_start_is_too_young_or_still_produces() -> None:
    assert too_early(OLD_AND_YOUNG, 60) is None
    assert too_early(OLD_AND_YOUNG, 101) == ("the oldest start is 100 days old; the flush was told as late as day 101")
    producing = containers((0, 100, None, 0, 1000), (1, 40, 35, 0, 800))
    assert too_early(producing, 60) == "the oldest start still produces"
    assert too_early(containers((0, 9, None, 0, 0)), 60) == "no container is known that far"
    # A container lost before flush 1 adds to neither sum, so its age says nothing.
    assert too_early(containers((0, 70, 60, 3, 9), (0, 70, None, 0, 0)), 60) is None


def test_one_soak_has_a_ratio_without_limits_and_equal_soaks_t_of_one_less() -> None:
    alone = decline_started(containers((0, 90, 50, 5, 10), (0, 90, 50, 6, 10)))
    assert (alone.value, alone.low, alone.high) == (pytest.approx(0.55), None, None)
    # se of a ratio of two equal soaks: sqrt(2 (.05^2 + .05^2)) / 2 = .05; t(.975, 1) = 12.7062 (any t table)
    two = ratio_of_sums([5, 6], [10, 10])
    assert two.high == pytest.approx(0.55 + 12.7062 * 0.05, abs=1e-4)
    assert degrees_of_freedom(np.array([1.0, 1, 1, 1])) == pytest.approx(3)
    # One soak that weighs as much as all others: few degrees.
    assert degrees_of_freedom(np.array([9.0, 1, 1, 1])) == 1.0


def test_decline_per_flush_is_the_constant_share_where_there_is_one() -> None:
    flushes = [(k, ratio_of_sums([0.5 ** (k - 1), 0.5 ** (k - 1) * 2], [1, 2])) for k in (2, 3)]
    told = decline_per_flush(flushes)
    assert told is not None
    assert (told.pct, told.flushes, told.soaks) == (pytest.approx(50), 2, 2)
    assert decline_per_flush([]) is None


rows = st.tuples(
    st.integers(0, 3), st.sampled_from([40.0, 70, 100]), st.integers(30, 40), st.integers(0, 9), st.integers(1, 9)
)


@settings(max_examples=100, deadline=None)
@given(st.lists(rows, min_size=2), st.integers(2, 1000))
def test_grams_or_kilograms_give_the_same_and_with_all_told_it_is_the_plain_ratio(found: list[Any], scale: int) -> None:
    of = containers(*found)
    told = decline_started(of)
    assert told.value == pytest.approx(of.fresh.sum() / of.first.sum())
    scaled = decline_started(Resolved(of.soak, of.age, of.resolved_age, of.fresh * scale, of.first * scale))
    assert scaled.value == pytest.approx(told.value)
    assert scaled.high == pytest.approx(told.high)


def test_the_command_tells_it_beside_the_plain_sums_and_says_why_not(farm: Farm) -> None:
    folder = farm(
        batches="batch,inoculated_on,substrate\nA,2026-01-01,straw\nB,2026-01-03,straw\nC,2026-03-01,mulch",
        fillings="batch,container\nA,1\nA,2\nB,3\nC,4",
        observations="seen_on,event,container\n2026-02-05,emptied,2",
        harvests="""picked_on,fresh_weight_g,container,flush
        2026-01-30,1000,1,1
        2026-02-15,600,1,2
        2026-01-31,1000,2,1
        2026-02-02,1000,3,1
        2026-02-17,500,3,2
        2026-03-28,900,4,1""",
    )
    asked = ("--by", "substrate", "--as-of", "2026-04-20", "--farm", folder)
    said = {(row["substrate"], row["flush"]): row for row in gillbook("flushes", *asked, "--json").json}
    straw = said["straw", 2]
    assert straw["decline_started"] == pytest.approx(1100 / 3000)
    assert straw["decline_gave"] == pytest.approx(1100 / 2000)
    assert straw["decline_started_low"] < straw["decline_started"] < straw["decline_started_high"]
    assert straw["why_no_decline"] is None
    assert said["straw", 1]["decline_started"] == 1
    # Batch C is 50 days old; flush 2 was told as late as 10 days after 2026-02-15.
    assert ("mulch", 2) not in said
    plain = gillbook("flushes", *asked)
    assert "straw: each flush gives 63 (" in plain.err
    per_flush = gillbook("flushes", "--per-flush", *asked, "--json").json
    assert [row["decline_per_flush_pct"] for row in per_flush] == [None, pytest.approx(100 * (1 - 1100 / 3000))]
    assert per_flush[0]["why_no_decline"] == "no flush after the first is told yet"
    young = gillbook("flushes", "--by", "substrate", "--as-of", "2026-02-20", "--farm", folder)
    assert "No decline for straw: the oldest start still produces." in young.err


@pytest.mark.parametrize(
    ("low", "high", "shown"),
    [
        (22, 26, "24 (22-26)"),
        (-0.3, 26, "24 (0-26)"),
        (-2, 26, "24 (-2 to 26)"),
        (22, None, "24 (22-?)"),
        (None, None, "24"),
    ],
)
def test_limits_are_shown_so_that_no_minus_is_read_as_a_dash(low: float | None, high: float | None, shown: str) -> None:
    assert with_limits({"n": 24.2, "low": low, "high": high}, "n", "low", "high", 0) == shown
    assert with_limits({"n": None, "low": low, "high": high}, "n", "low", "high", 0) is None


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("decline") / "farm"
    shutil.copytree(DEMO, folder)
    return folder


def test_planted_declines_of_the_demo_farm_lie_inside_the_limits(demo: Path) -> None:
    truth = json.loads((DEMO / "TRUTH.json").read_text(encoding="utf-8"))
    recipes: dict[str, list[dict[str, Any]]] = {}
    for each in truth["recipes"]:
        recipes.setdefault(each["substrate"], []).append(each)
    told = gillbook("flushes", "--by", "substrate", "--as-of", truth["last_day"], "--farm", demo, "--json").json
    checked = 0
    for row in told:
        if row["flush"] == 1:
            continue
        for column, planted in (
            ("decline_started", "decline_vs_first"),
            ("decline_gave", "decline_of_units_that_gave"),
        ):
            # A substrate holds several recipes: some share between the least and the most of them is true of it.
            values = [each[planted][str(row["flush"])] for each in recipes[row["substrate"]]]
            assert row[f"{column}_low"] <= max(values), row
            assert row[f"{column}_high"] >= min(values), row
            checked += 1
    assert checked == 12


@pytest.mark.parametrize(("soaks", "span", "flush"), [(12, 84.0, 2), (12, 120.0, 3), (24, 120.0, 3)])
def test_simulated_farms_are_told_without_bias_and_covered(soaks: int, span: float, flush: int) -> None:
    started, gave, naive = calibrate_growth.decline(soaks, span, flush, 500, seed=5)
    # By simulation: bias at most 1.2 %, zeros for the unfinished -15 % at flush 2 and -32 % at flush 3.
    assert abs(started.bias) < 0.02, started
    assert abs(gave.bias) < 0.02, gave
    assert naive.bias < -0.1, naive
    # 95 % nominal; 500 farms tell it to +- 2 points.
    assert started.coverage > 0.93, started
    assert gave.coverage > 0.915, gave
