"""A trial keeps its promise: what it says it will find, compare then says, in simulated trials of that design."""

import pytest

from tests.calibrate_trial import CASES, run


@pytest.mark.parametrize("at", [1, 5, 6, 10])
def test_compare_says_as_often_what_trial_promised(at: int) -> None:
    kept = run(CASES[at], 200, 5)
    # Three binomial standard errors of 200 trials; python -m tests.calibrate_trial holds all twelve to 5 points.
    assert kept.off < 0.11
    assert kept.refused == 0


def test_a_promise_is_no_small_one_everywhere() -> None:
    assert run(CASES[5], 60, 5).said > 0.6
