"""Days to pins: what is counted, what competes, what waits, and how far the limits can be trusted."""

import math
from collections.abc import Callable
from datetime import date
from pathlib import Path

import calibrate_growth
import numpy as np
import pytest
from conftest import gillbook
from growth_tables import pinned_by_soak
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.farm.folder import open_farm
from pipeline.ledger.refresh import refresh
from pipeline.models.view import Query
from pipeline.models.view import opened as opened_ledger
from pipeline.stats.incidence import (
    EVENT,
    OTHER_END,
    WAITING,
    cumulative_incidence,
    limits,
    logit_limits,
    none_or_all_limits,
)

Farm = Callable[..., Path]


def test_a_loss_competes_and_a_unit_still_waiting_counts_as_long_as_it_was_followed(farm: Farm) -> None:
    folder = farm(
        batches="batch,inoculated_on\nA,2026-01-01",
        fillings="batch,container\nA,1\nA,2\nA,3\nA,4",
        observations="""seen_on,event,container
        2026-01-11,contaminated,1
        2026-01-21,pins,2
        2026-01-26,pins,3""",
    )
    (row,) = gillbook("pins", "--by", "all", "--as-of", "2026-01-31", "--farm", folder, "--json").json
    assert (row["units"], row["pinned"], row["lost"], row["waiting"]) == (4, 2, 1, 1)
    # Of 4 one is lost on day 10; of the 3 left (75 %) one in three has pins on day 20; of 2 left one on day 25.
    assert [row[f"pinned_by_{day}_pct"] for day in (14, 21, 28)] == pytest.approx([0, 25, 50])
    curve = gillbook("pins", "--by", "all", "--curve", "--as-of", "2026-01-31", "--farm", folder, "--json").json
    assert [each["day"] for each in curve] == list(range(31))
    assert [curve[day]["at_risk"] for day in (10, 11, 20, 21, 25, 26, 30)] == [4, 3, 3, 2, 2, 1, 1]
    assert curve[30]["lost_pct"] == pytest.approx(25)
    assert row["why_no_interval"] == "fewer than three soaks"
    # A day later than anything was followed to is not told.
    (row,) = gillbook("pins", "--by", "all", "--as-of", "2026-01-27", "--farm", folder, "--json").json
    assert row["pinned_by_28_pct"] is None


def test_picked_without_a_note_of_pins_the_noted_ones_of_the_batch_stand_for_it(farm: Farm) -> None:
    folder = farm(
        batches="batch,inoculated_on\nA,2026-01-01\nB,2026-01-01",
        fillings="batch,container\nA,1\nA,2\nA,3\nB,4\nB,5",
        observations="seen_on,event,container\n2026-01-21,pins,1\n2026-01-11,contaminated,3\n2026-01-11,contaminated,5",
        harvests="picked_on,fresh_weight_g,container\n2026-01-25,300,1\n2026-01-26,300,2\n2026-01-26,300,4",
    )
    (row,) = gillbook("pins", "--by", "all", "--as-of", "2026-02-20", "--farm", folder, "--json").json
    # Container 1 stands for 2; batch B notes no pins at all, so its loss is not held against them either.
    assert (row["soaks"], row["pinned"], row["lost"], row["units_unnoted"]) == (1, 1, 1, 3)
    assert row["pinned_by_21_pct"] == pytest.approx(100 * 2 / 3)
    said = gillbook("pins", "--as-of", "2026-02-20", "--farm", folder)
    assert "3 containers were picked from without a note of pins" in said.err
    assert "fewer than three soaks" in said.err


def test_soaks_and_not_containers_make_the_limits() -> None:
    # Three soaks of four that pin together: as if three containers, not twelve.
    days, ends, soaks = [20] * 4 + [22] * 4 + [30] * 4, [EVENT] * 12, [0] * 4 + [1] * 4 + [2] * 4
    curve = cumulative_incidence(days, ends, soaks)
    alone = cumulative_incidence([20, 22, 30], [EVENT] * 3, [0, 1, 2])
    assert limits(curve, curve.at(25)) == pytest.approx(limits(alone, alone.at(25)))
    assert limits(cumulative_incidence(days, ends, [0] * 4 + [1] * 8), 1) is None


def test_no_spread_is_no_evidence() -> None:
    # 1 - .05^(1/b): 63 % of 3 soaks, 39 % of 6 (exact binomial).
    assert none_or_all_limits(0, 3) == pytest.approx((0, 0.63), abs=0.005)
    assert none_or_all_limits(1, 6) == pytest.approx((0.61, 1), abs=0.005)
    curve = cumulative_incidence([20, 20, 21], [EVENT] * 3, [0, 1, 2])
    assert limits(curve, None) == pytest.approx((0, 0.6316), abs=1e-4)
    assert limits(curve, 1) == pytest.approx((0.3684, 1), abs=1e-4)


def test_a_share_and_its_rest_have_the_same_limits_seen_from_either_side() -> None:
    # Log-odds of 20 % are -1.38629; an error of .08 is .5 on that scale, and t(.975, 4) = 2.77645 (any t table).
    low, high = logit_limits(0.2, 0.08, 4) or (0, 0)
    assert (low, high) == pytest.approx((1 / (1 + math.exp(2.77452)), 1 / (1 + math.exp(-0.00193))), abs=1e-5)
    assert logit_limits(0.8, 0.08, 4) == pytest.approx((1 - high, 1 - low))
    assert logit_limits(0.0, 0.08, 4) is logit_limits(0.2, 0.0, 4) is None


units = st.lists(
    st.tuples(st.integers(0, 40), st.sampled_from([WAITING, EVENT, OTHER_END]), st.integers(0, 4)), min_size=1
)


@settings(max_examples=200, deadline=None)
@given(units, st.randoms(use_true_random=False))
def test_shares_only_rise_and_neither_order_nor_copies_change_them(rows: list[tuple[int, int, int]], dice) -> None:
    curve = cumulative_incidence(*zip(*rows, strict=True))
    assert (np.diff(curve.share) >= 0).all()
    assert (curve.share + curve.other_share <= 1 + 1e-12).all()
    assert curve.influence.sum(axis=0) == pytest.approx(np.zeros(len(curve.day)), abs=1e-9)
    shuffled = dice.sample(rows, len(rows))
    again = cumulative_incidence(*zip(*shuffled, strict=True))
    assert again.share == pytest.approx(curve.share)
    assert again.standard_error == pytest.approx(curve.standard_error)
    twice = cumulative_incidence(*zip(*rows, *rows, strict=True))
    weighed = cumulative_incidence(*zip(*rows, strict=True), 2.0)
    for each in (twice, weighed):
        assert each.share == pytest.approx(curve.share)
        # Copies within the soaks tell nothing new.
        assert each.standard_error == pytest.approx(curve.standard_error)


@pytest.mark.parametrize(("soaks", "span", "day"), [(6, 80.0, 25), (12, 60.0, 28), (24, 80.0, 21)])
def test_limits_cover_the_truth_of_simulated_farms(soaks: int, span: float, day: int) -> None:
    told = calibrate_growth.pins(soaks, span, day, 400, seed=11)
    assert abs(told.bias) < 0.04, told
    # 95 % nominal; 400 farms tell it to +- 2.2 points.
    assert told.coverage > 0.925, told


def test_two_levels_that_are_alike_seldom_seem_to_differ_by_their_soaks() -> None:
    # By simulation: 3-5 % false alarms by soak, 30-33 % by a naive test of containers.
    ours, naive = calibrate_growth.pins_alarms(4, 80.0, 400, seed=3)
    assert ours < 0.065
    assert naive > 0.15


def test_each_soak_says_its_share_for_a_comparison_of_levels(farm: Farm) -> None:
    folder = farm(
        batches="batch,inoculated_on,soak,substrate\nA,2026-01-01,S1,straw\nB,2026-01-01,S1,mulch\nC,2026-01-02,,straw",
        fillings="batch,container\nA,1\nA,2\nB,3\nB,4\nC,5",
        observations="seen_on,event,container\n2026-01-21,pins,1\n2026-01-21,pins,3\n2026-01-21,pins,4",
    )
    opened = open_farm(folder)
    refresh(opened, "test")
    query = Query(date(2026, 3, 1), ("substrate",))
    with opened_ledger(opened.ledger, opened.settings) as ledger:
        view = ledger.view(query)
        rows = pinned_by_soak(view, 30)
    # Nobody's pins are cut short by day 30, so a soak's value is its own share; a soak with two levels has two.
    assert rows == pytest.approx({(1, "soak S1"): 100, (2, "soak S1"): 50, (2, "batch C"): 0})
