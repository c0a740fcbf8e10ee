"""What is to come, borrowed from the farm's own past: from whom, at which size, how wide, and never with hindsight."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from outlook_farms import Design, records, simulated

from pipeline.outlook.ahead import look_ahead
from pipeline.outlook.backtest import (
    HIGH50,
    HIGH80,
    LEAST_ORIGINS,
    LOW50,
    LOW80,
    MEDIAN,
    Past,
    history_weeks,
    known_until,
    look_back,
    widen,
    widening,
)
from pipeline.outlook.history import LAST_AGE, PastBatches, history_of
from pipeline.outlook.need import _spread, need
from pipeline.outlook.simulate import RunningBatch, borrow, donor_pool, simulate, targets, weigh

SETTINGS = {"lapse_days": 45, "lapse_unpicked_days": 90}
TODAY = 740_000
EDGES = np.arange(5) * 7


@dataclass(frozen=True)
class Day:
    number: int

    def toordinal(self) -> int:
        return self.number


def history(
    ages: list[int],
    paths: list[dict[int, float]],
    dry: list[float | None] | None = None,
    containers: int = 2,
    substrates: str = "",
    ends: dict[int, list[int | None]] | None = None,
) -> PastBatches:
    """Batches of these ages today, in that order (the oldest first), each giving kg by age, weighed together."""
    batches: list[tuple[Any, ...]] = []
    places: list[tuple[int, int | None]] = []
    for number, age in enumerate(ages):
        substrate = substrates[number] if substrates else "straw"
        batches.append((f"B{number}", Day(TODAY - age), dry[number] if dry else None, containers, substrate, "grey"))
        places += [(number, end) for end in (ends or {}).get(number, [None] * containers)]
    pickings = [(number, None, age, kg) for number, path in enumerate(paths) for age, kg in path.items()]
    return history_of(records(batches, places, pickings), SETTINGS)


def dice(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


FOUR = [{30: 2.0, 44: 1.0}] * 4
OLD = [200, 199, 198, 197]


def test_a_path_is_cumulated_by_age_and_shares_that_run_end_and_lapse_by_what_was_known() -> None:
    found = history([200], [{30: 2.0, 44: 1.0}], ends={0: [20, None]})
    assert found.kg[0, [29, 30, 43, 44, LAST_AGE]].tolist() == [0, 2, 2, 3, 3]
    # One container ended at 20 days; the other lapsed 45 days after the last picking at 44.
    assert found.running[0, [19, 20, 88, 89]].tolist() == [1, 0.5, 0.5, 0]
    never = history([200], [{}])
    assert never.running[0, [89, 90]].tolist() == [1, 0]
    assert found.picked(TODAY - 170, TODAY - 170) == 2


def test_a_batch_borrows_what_is_left_of_the_past_at_its_own_age_and_size() -> None:
    farm = history([*OLD, 28], [*FOUR, {}], dry=[2, 2, 2, 2, 3])
    lent = borrow(farm, TODAY, RunningBatch(4, 28, 1.0, False), EDGES, donor_pool(farm, TODAY))
    assert lent is not None
    assert lent.spans_known == 4
    # 2 kg on the second day ahead, 1 kg on the 16th, by 3 kg of dry substrate for 2.
    assert lent.paths.tolist() == [[3.0, 0.0, 1.5, 0.0]] * 4


def test_without_dry_mass_containers_tell_the_size_and_only_those_that_run_count() -> None:
    farm = history([*OLD, 28], [*FOUR, {}], containers=2, ends={0: [10, None]})
    lent = borrow(farm, TODAY, RunningBatch(4, 28, 0.5, False), EDGES, donor_pool(farm, TODAY))
    assert lent is not None
    # The first donor had one of two left, as the batch has; of the others two ran where one runs here.
    assert lent.paths[:, 0].tolist() == [2.0, 1.0, 1.0, 1.0]


def test_age_alone_says_who_may_lend_or_early_failures_would_be_drawn_too_often() -> None:
    young_and_lost = {"ages": [*OLD, 50, 28], "paths": [*FOUR, {}, {}], "ends": {4: [12, 12]}}
    farm = history(**young_and_lost)  # type: ignore[arg-type]
    lent = borrow(farm, TODAY, RunningBatch(5, 28, 1.0, False), EDGES, donor_pool(farm, TODAY))
    assert lent is not None
    assert lent.pool.tolist() == [0, 1, 2, 3]


def test_four_of_the_same_recipe_lend_alone_else_all_do_and_fewer_than_four_tell_nothing() -> None:
    ages = [*OLD, 196, 195, 194, 193, 28]
    paths = [*FOUR, {30: 9.0}, {30: 9.0}, {30: 9.0}, {30: 9.0}, {}]
    for letters, whose, kg in (("ssssmmmms", "same substrate and strain", 2.0), ("ssssmmmmx", "all batches", 5.5)):
        farm = history(ages, paths, substrates=letters)
        lent = borrow(farm, TODAY, RunningBatch(8, 28, 1.0, False), EDGES, donor_pool(farm, TODAY))
        assert lent is not None
        assert (lent.source, lent.paths[:, 0].mean()) == (whose, kg)
    farm = history([200, 199, 198, 28], [*FOUR[:3], {}])
    assert borrow(farm, TODAY, RunningBatch(3, 28, 1.0, False), EDGES, donor_pool(farm, TODAY)) is None


def test_weeks_that_too_few_lived_to_see_are_not_told() -> None:
    farm = history([200, 199, 198, 43, 28], [*FOUR, {}])
    asked = targets(farm, TODAY, 28)
    found = simulate(farm, TODAY, asked[-1:], EDGES, weigh(farm, TODAY, 10, dice()), dice())
    # The fourth oldest is 43 days old: of a batch of 28 days two weeks are told.
    assert found.without_donors.tolist() == [0, 0, 1, 1]


def test_what_is_planned_begins_on_its_day() -> None:
    farm = history([*OLD, -3], [*FOUR, {}])
    asked = targets(farm, TODAY, 56)
    assert [(each.batch, each.age, each.planned) for each in asked] == [(4, -3, True)]
    edges = np.arange(9) * 7
    found = simulate(farm, TODAY, asked, edges, weigh(farm, TODAY, 10, dice()), dice())
    assert found.running.sum() == 0
    # 30 days after the third day ahead is in the fifth week, 44 days after it in the seventh.
    assert found.planned.tolist() == [[0, 0, 0, 0, 2.0, 0, 1.0, 0]] * 10
    assert targets(farm, TODAY, 3) == []


def test_the_same_seed_gives_the_same_and_another_gives_another() -> None:
    farm = history([*OLD, 28], [{30: 1.0}, {30: 2.0}, {30: 3.0}, {30: 4.0}, {}])
    asked = targets(farm, TODAY, 28)

    def drawn(seed: int) -> list[float]:
        rng = dice(seed)
        return simulate(farm, TODAY, asked, EDGES, weigh(farm, TODAY, 50, rng), rng).total[:, 0].tolist()

    assert drawn(1) == drawn(1) != drawn(2)


def test_every_donor_is_drawn_alike_and_two_batches_share_the_weights_of_a_draw() -> None:
    farm = history([*OLD, 28, 28], [{30: 1.0}, {30: 2.0}, {30: 3.0}, {30: 4.0}, {}, {}])
    lone, other = targets(farm, TODAY, 28)[-2:]
    drawn = weigh(farm, TODAY, 40_000, dice())
    kg = [simulate(farm, TODAY, [each], EDGES, drawn, dice(each.batch)).total[:, 0] for each in (lone, other)]
    assert [(kg[0] == path).mean() for path in (1, 2, 3, 4)] == pytest.approx([0.25] * 4, abs=0.01)
    # With weights from a flat Dirichlet over n donors two draws meet with a chance of 2 / (n + 1): Rubin 1981.
    assert (kg[0] == kg[1]).mean() == pytest.approx(2 / 5, abs=0.01)


def test_kilograms_scale_with_the_pickings() -> None:
    ages = [250 - 7 * number for number in range(36)]
    paths = [{30: 1.0 + number % 5, 44: 0.5} for number in range(36)]
    once = look_ahead(history(ages, paths), TODAY, 8, 500)
    tenfold = look_ahead(history(ages, [{age: 10 * kg for age, kg in path.items()} for path in paths]), TODAY, 8, 500)
    assert tenfold.bands_kg == pytest.approx(10 * once.bands_kg)
    assert tenfold.factors == pytest.approx(once.factors)


def test_what_comes_later_changes_nothing_but_the_plan_of_past_days() -> None:
    ages = [250 - 7 * number for number in range(36)]

    def told(more_later: float) -> Any:
        day = TODAY - 70
        paths = [
            {a: kg * (more_later if TODAY - age + a > day else 1) for a, kg in ((30, 1.0 + number % 5), (44, 0.5))}
            for number, age in enumerate(ages)
        ]
        return look_ahead(history(ages, paths), day, 8, 500)

    assert np.array_equal(told(1.0).bands_kg, told(7.0).bands_kg)


def past(actual: list[float], low: float = 8, high: float = 14) -> Past:
    """Past days a week apart, each of one week with a median of 10 kg, 80 % from low to high, 50 % half as wide."""
    days = np.arange(len(actual)) * 7
    ends = [low, (low + 10) / 2, 10, (high + 10) / 2, high]
    told = np.tile(np.array(ends, dtype=float), (len(actual), 1, 1))
    return Past(days, days[:, None] + 7, told, np.array(actual, dtype=float)[:, None])


def test_bands_are_widened_to_what_would_have_held_and_never_narrowed() -> None:
    # Half-widths are 4 above and 2 below. 10 misses: 8 of ratio 1 or less, 14 + 2 -> 1.5, and 10 - 6 -> 3.
    actual = [10, 11, 12, 13, 14, 9, 8, 10, 16, 4]
    # ceil(.8 x 11) = the 9th smallest of 0 0 .25 .5 .5 .75 1 1 1.5 3.
    assert widening(past(actual), 0.8) == 1.5
    assert widening(past([10] * LEAST_ORIGINS), 0.8) == 1.0
    assert widening(past([10] * (LEAST_ORIGINS - 1)), 0.8) is None
    assert widening(past([*actual, np.nan]), 0.8) == 1.5
    # By the day of the 9th only eight weeks had ended.
    assert widening(past(actual), 0.8, until=8 * 7) is None
    # Where nothing was to come and something came, no factor would have helped.
    assert widening(past([11] * LEAST_ORIGINS, 10, 10), 0.8) is None


def test_widened_bands_stay_in_order_and_above_nothing() -> None:
    told = np.array([[2.0, 6.0, 10.0, 12.0, 14.0]])
    found = widen(told, {0.8: 2.0, 0.5: 9.0})[0]
    assert found[[LOW80, MEDIAN, HIGH80]].tolist() == [0.0, 10.0, 18.0]
    assert found[[LOW50, HIGH50]].tolist() == [0.0, 18.0]
    assert widen(told, {})[0].tolist() == told[0].tolist()
    narrow = widen(np.array([[8.0, 9.0, 10.0, 12.0, 14.0]]), {0.8: 2.0, 0.5: 9.0})[0]
    assert narrow.tolist() == [6.0, 6.0, 10.0, 18.0, 18.0]


def test_a_past_day_counts_from_the_21st_week_on() -> None:
    farm = history([26 * 7, *[150] * 5], [{30: 1.0, 140: 0.1}] * 6)
    assert history_weeks(farm, TODAY) == 26
    found = look_back(farm, TODAY, np.array([0, 7]), dice())
    assert (TODAY - found.origins).tolist() == [35, 28, 21, 14, 7]  # 21 to 25 weeks of records


def test_a_need_is_met_by_the_fewest_batches_and_as_late_as_they_can_be() -> None:
    farm = history([*OLD, 28], [*FOUR, {}])
    expected = ((1.9, 0, None), (4.0, 1, 20), (5.5, 1, 6), (6.5, 2, 20), (8.5, 2, 6))
    for kg, more, days in expected:
        # By day 50: 3 kg of what runs; of a batch begun now 2 kg (from 30 days on) and 1 kg more (from 44 on).
        found = need(farm, TODAY, kg, TODAY + 50, 4, 200, dice())
        assert [each.more for each in found.chances] == list(range(more + 1)), kg
        assert (found.chances[-1].chance, found.chances[-1].start_by) == (1.0, days and TODAY + days), kg
        assert all(each.chance == 0 for each in found.chances[:-1])
    soonest = need(farm, TODAY, 6.0, TODAY + 45, 4, 200, dice())
    assert (soonest.chances[-1].more, soonest.chances[-1].start_by) == (1, TODAY + 1)
    beyond = need(farm, TODAY, 5.0, TODAY + 20, 4, 200, dice())
    assert (len(beyond.chances), beyond.chances[-1].chance) == (21, 0.0)


def test_a_chance_is_told_from_the_widened_draws() -> None:
    spread = _spread(np.array([1.0, 2.0, 3.0, 9.0]), 2.0)
    assert spread.tolist() == [0.0, 1.5, 3.5, 15.5]  # away from their median 2.5, and none below nothing
    farm = simulated(Design(weeks=52, recipes=3), seed=3)
    day = Design(weeks=52).today
    found = need(farm, day, 1.0, day + 28, len(farm.names) - 1, 400, dice())
    assert found.widened is not None
    assert found.widened > 1
    rng = dice()
    look_back(farm, day, np.array([0, 28]), rng)
    plain = simulate(farm, day, targets(farm, day, 28), np.array([0, 28]), weigh(farm, day, 400, rng), rng).total[:, 0]
    assert found.chances[0].high80 == pytest.approx(np.quantile(_spread(plain, found.widened), 0.9))


def test_weeks_whose_entries_are_missing_are_not_held_against_it() -> None:
    ages = [300 - 7 * number for number in range(30)]
    farm = history(ages, [{30: 1.0, 44: 1.0}] * 30)
    last = TODAY - ages[-1] + 44
    assert known_until(farm, last) == last
    assert known_until(farm, last + 14) == last + 14
    assert known_until(farm, last + 15) == last
    found = look_back(farm, TODAY, np.array([0, 7]), dice())
    assert found.seen[~np.isnan(found.actual)].max() <= last
