"""Does compare raise few false alarms? A small seeded part of tests/calibrate.py, through the code of the command."""

from dataclasses import replace

import numpy as np
import pytest
from calibrate import DESIGNS, LEAST_COVERAGE, MOST_ALARMS, Design, Done, containers, run, told
from calibrate_unfinished import DESIGNS as UNFINISHED
from calibrate_unfinished import run as run_unfinished

FARMS, SEED = 400, 11


@pytest.mark.parametrize(
    ("name", "naive"),
    # What a test of containers does in these designs: a false alarm in a fifth to a half of farms.
    [
        ("3v3, ICC 0.5", 0.25),
        ("2v5, small arm 2x as variable", 0.4),
        ("some split: 2 of 2+2+2", 0.15),
        ("6v6 in 3 months of their own", 0.3),
    ],
)
def test_false_alarms_stay_below_the_limit_where_containers_raise_many(name: str, naive: float) -> None:
    (design,) = [each for each in DESIGNS if each.name == name]
    done = run(design, FARMS, SEED)
    assert done.alarms <= MOST_ALARMS
    assert done.coverage >= LEAST_COVERAGE
    assert done.naive >= naive
    assert done.passes


def test_splitting_soaks_tells_more_than_more_soaks() -> None:
    # 20,000 simulated farms: the power for 1 SD is 52 % with 6 soaks of each, 92 % with 6 soaks split 3 + 3.
    apart, split = (run(Design("", alone, split=split), 200, SEED) for alone, split in (((6, 6), 0), ((0, 0), 6)))
    assert apart.power == pytest.approx(0.52, abs=0.09)
    assert split.power == pytest.approx(0.92, abs=0.06)


def test_counting_soaks_of_months_that_levels_never_share_raises_many_alarms() -> None:
    # Why months are counted there: 4,000 farms gave 10 % at half the spread between soaks, here is a little less.
    (design,) = [each for each in DESIGNS if each.name == "6v6 in 3 months of their own"]
    rng = np.random.default_rng(SEED)
    farms = [containers(design, rng) for _ in range(FARMS)]
    plain = [told([replace(part, month="") for part in farm])[0].p for farm in farms]
    assert sum(p is not None and p < 0.05 for p in plain) > 0.075 * FARMS


@pytest.mark.parametrize(
    ("alarms", "coverage", "passes"), [(0.065, 0.94, True), (0.066, 0.95, False), (0.05, 0.939, False)]
)
def test_a_design_that_passes_a_limit_is_told(alarms: float, coverage: float, passes: bool) -> None:
    done = Done("x", 2000, alarms, 0.4, coverage, 0.2)
    assert done.passes == passes
    assert ("passes a limit" in str(done)) != passes


def test_soaks_of_which_a_fifth_still_runs_count_and_shift_no_level() -> None:
    done = {each.rule: each for each in run_unfinished(UNFINISHED[0], 30, 3)}
    rule = done["four fifths"]
    assert rule.soaks > done["whole soaks"].soaks + 0.3
    # The limit is 1.5 %; thirty farms know it to three of their errors.
    assert max(map(abs, rule.bias)) < 0.015 + 3 * rule.error
    assert min(rule.coverage, rule.level_coverage) > 0.8
