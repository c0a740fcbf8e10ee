"""Ordered amounts: one test of trend beside the pairs, with the soak as the unit of replication."""

import numpy as np
import pytest
from golden_records import means, records

from pipeline.compare.comparison import Comparison, compare
from pipeline.compare.measures import measure_of
from pipeline.compare.query import ComparisonQuery
from pipeline.compare.tables import trend_rows
from pipeline.models.compared_units import SPAWN_RATE
from pipeline.stats.trend import slope
from schemas.contract import contract
from tests.simulated_units import SETTINGS, farm, soak_units

RATES = (10.0, 13.0, 17.0, 21.0, 25.0)


def compared(a_percent: float, seed: int, soaks: int = 3, soak_sd: float = 10.0, strains: bool = False) -> Comparison:
    """So many soaks at each rate, with so many points of BE more for each percent of spawn."""
    dice = np.random.default_rng(seed)
    rows = []
    for at in range(soaks * len(RATES)):
        rate = RATES[at % len(RATES)]
        strain = "pink" if strains and rate > 15 else "grey"
        mean = 60 + a_percent * (rate - 17) + dice.normal(0, soak_sd)
        rows += soak_units(at, [{SPAWN_RATE: f"{rate:g}", "strain": strain}], [mean], 4, 8.0, dice)
    query = ComparisonQuery(SPAWN_RATE, measure_of("be"))
    return compare(farm(rows), query, SETTINGS)


def test_a_slope_within_blocks_is_r_lms() -> None:
    # nlme::Oats, lm(y ~ block + log(dose + .1)) on cell means: every block has every dose, so between adds nothing.
    ((_, known),) = [each.values for each in records("log dose slope")]
    cells = means("Oats", ("Block", "nitro"), "yield")
    keys = [(block, nitro) for nitro in cells for block in cells[nitro]]
    amounts = [float(np.log(float(nitro) + 0.1)) for _, nitro in keys]
    found = slope([block for block, _ in keys], amounts, [cells[nitro][block] for block, nitro in keys])
    assert found is not None
    assert found.value == pytest.approx(known["b"], rel=1e-11)
    assert found.degrees == pytest.approx(5)  # six blocks, one slope in each


def test_a_straight_line_is_shown_that_no_pair_of_rates_shows() -> None:
    shown = pairs = 0
    for seed in range(12):
        answer = compared(2.0, seed)
        assert answer.trend is not None
        shown += answer.trend.is_shown
        pairs += sum(each.judgement.direction.is_shown for each in answer.pairs) >= len(answer.pairs) / 2
    assert shown >= 9
    assert pairs <= 2


def test_no_trend_raises_few_alarms_and_its_interval_holds_the_truth() -> None:
    alarms = covered = 0
    for seed in range(60):
        flat = compared(0.0, 1000 + seed).trend
        steep = compared(1.5, 2000 + seed).trend
        assert flat is not None
        assert steep is not None
        limits = steep.estimate.limits()
        assert limits is not None
        alarms += flat.is_shown
        covered += limits[0] <= 1.5 <= limits[1]
    # Three binomial standard errors about 5 and 95 of 100.
    assert alarms <= 8
    assert covered >= 52


def test_a_trend_that_goes_with_another_factor_is_told_with_that_alike() -> None:
    answer = compared(0.0, 5, strains=True)
    (row,) = trend_rows(answer)
    assert row["held_equal"] == "strain"
    assert list(row) == list(contract("compared_trends").names)
    assert str(row["sentence"]).startswith("No trend is shown over all spawn rates, 10 to 25 %")


def test_two_amounts_and_words_have_no_trend() -> None:
    assert slope(["a", "b"], [1.0, 1.0], [3.0, 4.0]) is None
    other = {"x": np.array([1.0, 1.0, 0.0, 0.0])}
    assert slope(["a", "b", "c", "d"], [1, 1, 2, 2], [3, 4, 5, 6], other) is None
    words = compare(
        farm(soak_units(1, [{"strain": "a"}, {"strain": "b"}], [50, 60], 3, 5, np.random.default_rng(1))),
        ComparisonQuery("strain", measure_of("be")),
        SETTINGS,
    )
    assert words.trend is None
    assert trend_rows(words) == []
