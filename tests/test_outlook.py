"""What is to come, borrowed from the farm's own past: from whom, at which size, how wide, and never with hindsight."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from outlook_farms import Design, records, simulated

from pipeline.outlook.ahead import DAYS, Ahead, look_ahead
from pipeline.outlook.backtest import (
    HIGH80,
    LOW80,
    MEDIAN,
    MOST_WEEKS,
    WEEK_ENDS,
    Misses,
    Past,
    Spans,
    history_weeks,
    known_until,
    look_back,
    past_days,
)
from pipeline.outlook.drawing import Borrowed, Drawing, places
from pipeline.outlook.history import LAST_AGE, PastBatches, history_of
from pipeline.outlook.levels import USUAL, Likeness, donors, sizes
from pipeline.outlook.need import need
from pipeline.outlook.running import RunningBatch, targets
from pipeline.outlook.simulate import expected_kg, simulate
from pipeline.outlook.widening import FIRST_FACTOR, LEAST_FACTOR, Factors, missed_of_late, spread, widen, widened

SETTINGS = {"lapse_days": 45, "lapse_unpicked_days": 90}
TODAY = 740_000
DAYS_OF_4 = np.arange(1, 5) * 7


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


def runs(age: int, ended: int | None, picked: list[int]) -> bool:
    """Whether a container runs at this age, as known then. In plain words: neither ended nor lapsed."""
    before = [day for day in picked if day <= age]
    lapsed = age >= before[-1] + 45 if before else age >= 90
    return not lapsed and (ended is None or age < ended)


def test_the_share_that_runs_is_that_of_looking_at_each_container_at_each_age() -> None:
    rng = dice(7)
    for _ in range(20):
        batches = [("B", Day(TODAY - 300), None, None, "straw", "grey")] * 3
        places = [(int(batch), rng.choice([None, 0, 50, 120, 400])) for batch in rng.integers(0, 3, 8)]
        # Some of one container, some weighed together for its batch; a gap may be long, an end may come before.
        rows = [(places[at][0], at, int(age), 1.0) for at in range(8) for age in rng.integers(0, 380, 3)]
        rows += [(int(batch), None, int(age), 1.0) for batch, age in zip((0, 0, 2), (100, 250, 30), strict=True)]
        found = history_of(records(batches, places, rows), SETTINGS)
        for batch in range(3):
            mine = [at for at, place in enumerate(places) if place[0] == batch]
            for age in range(0, LAST_AGE + 1, 5):
                run = [
                    runs(age, places[at][1], sorted(row[2] for row in rows if row[0] == batch and row[1] in (at, None)))
                    for at in mine
                ]
                assert found.running[batch, age] == (sum(run) / len(run) if run else 0.0)


def test_what_was_picked_day_by_day_adds_up_to_what_the_batches_gave() -> None:
    farm = history([200, 199, 28, -3], [{30: 2.0, 44: 1.0}, {29: 0.5}, {28: 4.0}, {}])
    first = TODAY - 200
    assert farm.picked_after(first + 29, 2).tolist() == [2.5, 0.0]
    assert farm.picked_after(first - 10, 8).tolist() == [0.0] * 8
    assert farm.picked_after(first - 2, 500).sum() == farm.picked(first, TODAY) == 7.5
    assert history([], []).picked_after(TODAY, 2).tolist() == [0.0, 0.0]


def lent(farm: PastBatches, target: RunningBatch, likeness: Likeness = USUAL, draws: int = 200) -> Borrowed | None:
    drawing = Drawing(donors(farm, TODAY, likeness), draws, dice())
    return drawing.kg(target, DAYS_OF_4, dice(2).random(draws))


def test_a_batch_borrows_what_is_left_of_the_past_at_its_own_age_and_size() -> None:
    farm = history([*OLD, 28], [*FOUR, {}], dry=[2, 2, 2, 2, 3])
    found = lent(farm, RunningBatch(4, 28, 1.0, False))
    assert found is not None
    # 2 kg on the second day ahead, 1 kg on the 16th, by 3 kg of dry substrate for 2: sums to the end of each week.
    assert found.kg == pytest.approx(np.tile([3.0, 3.0, 4.5, 4.5], (200, 1)))
    assert found.donors == 4


def test_without_dry_mass_containers_tell_the_size_and_only_those_that_run_count() -> None:
    farm = history([*OLD, 28], [*FOUR, {}], containers=2, ends={0: [10, None]})
    found = lent(farm, RunningBatch(4, 28, 0.5, False))
    assert found is not None
    # The first donor had one of two left, as the batch has; of the others two ran where one runs here.
    assert sorted(set(found.kg[:, 0].round(9))) == [1.0, 2.0]


def test_age_alone_says_who_may_lend_or_early_failures_would_be_drawn_too_often() -> None:
    farm = history([*OLD, 50, 28], [*FOUR, {}, {}], ends={4: [12, 12]})
    drawing = Drawing(donors(farm, TODAY, USUAL), 10, dice())
    assert drawing.who_lends(np.array([28]))[0].tolist() == [[True] * 4 + [False] * 2]


def test_recipes_are_held_by_the_wider_kind_and_by_less_the_more_is_known_of_them() -> None:
    def level(own: int, letter: str) -> float:
        ages = [200 - number for number in range(12 + own)] + [0]
        paths = [{30: 2.0}] * 12 + [{30: 1.0}] * own + [{}]
        farm = history(ages, paths, substrates="s" * 12 + "m" * own + letter)
        calm = np.zeros((1, 2))
        lend = donors(farm, TODAY, USUAL)
        return float(lend.levels(np.ones((1, 12 + own)), 12 + own, calm)[0] * lend.kg_by_age[-1])

    assert level(0, "s") == pytest.approx(1.0)
    mulch = [level(own, "m") for own in (1, 3, 12)]
    assert mulch == sorted(mulch, reverse=True)
    assert 0.5 < mulch[2] < 0.65 < mulch[0] < 1.0
    # Straw is not drawn down by mulch, nor a third recipe above the two.
    assert level(12, "s") > 0.9
    assert 0.5 < level(12, "x") < 0.95


def test_a_recipe_never_tried_has_a_wider_band_than_one_well_known() -> None:
    paths = [{30: 2.0, 44: 1.0}] * 12
    ages = [200 - number for number in range(12)]
    widths = []
    for letter in "sx":
        farm = history([*ages, 28], [*paths, {}], substrates="s" * 12 + letter)
        found = lent(farm, RunningBatch(12, 28, 1.0, False), draws=500)
        assert found is not None
        widths.append(float(np.ptp(np.quantile(found.kg[:, 0], [0.1, 0.9]))))
    assert widths[0] < 0.1 < widths[1]


def test_fuller_containers_count_less_under_a_power_and_unknown_mass_is_the_usual_fill() -> None:
    farm = history([*OLD, 28], [*FOUR, {}], dry=[2, 2, 2, 8, None])
    assert sizes(farm, 1.0) == pytest.approx([2, 2, 2, 8, 2])
    assert sizes(farm, 0.5) == pytest.approx([2, 2, 2, 4, 2])


def test_the_season_of_the_year_before_counts_where_a_year_is_known() -> None:
    ages = [7 * number for number in range(80, 4, -1)]
    paths = [{30: 2.0 + np.sin(2 * np.pi * -age / 364)} for age in ages]
    farm = history([*ages, -84], [*paths, {}])
    lend = donors(farm, TODAY, Likeness(memory_weeks=10, season=True))
    # What is begun in twelve weeks falls into the quarter where the year before gave most.
    assert lend.season(len(ages)) > 1.2
    assert donors(farm, TODAY, USUAL).season(len(ages)) == 1.0
    young = history([*ages[40:], -84], [*paths[40:], {}])
    assert donors(young, TODAY, Likeness(season=True)).season(len(ages) - 40) == 1.0


def test_the_past_says_which_likeness_it_prefers_and_one_day_s_choice_reads_nothing_later() -> None:
    # The kg fall by half within weeks: the shortest memory misses least.
    ages = [7 * number for number in range(50, 0, -1)]
    farm = history(ages, [{30: 4.0 if age > 180 else 1.0} for age in ages])
    misses = Misses(farm, TODAY)
    assert misses.learnt(TODAY).memory_weeks == 10
    assert misses.learnt(int(misses.days[0])) == USUAL


def test_fewer_than_four_tell_nothing_and_weeks_that_too_few_lived_to_see_are_not_told() -> None:
    farm = history([200, 199, 198, 28], [*FOUR[:3], {}])
    farm_of_three = history([200, 199, 198, -1], [*FOUR[:3], {}])
    assert lent(farm_of_three, RunningBatch(3, -1, 1.0, True)) is None
    assert lent(farm, RunningBatch(3, 28, 1.0, False)) is None
    farm = history([200, 199, 198, 43, 28], [*FOUR, {}])
    asked = targets(farm, TODAY, 28)
    found = simulate(Drawing(donors(farm, TODAY, USUAL), 10, dice()), asked.where(slice(-1, None)), DAYS_OF_4)
    # The fourth oldest is 43 days old: of a batch of 28 days two weeks are told.
    assert found.without_donors.tolist() == [0, 0, 1, 1]


def test_what_is_planned_begins_on_its_day() -> None:
    farm = history([*OLD, -3], [*FOUR, {}])
    asked = targets(farm, TODAY, 56)
    assert [(each.batch, each.age, each.planned) for each in asked] == [(4, -3, True)]
    ends = np.arange(1, 9) * 7
    found = simulate(Drawing(donors(farm, TODAY, USUAL), 10, dice()), asked, ends)
    assert found.running.sum() == 0
    # 30 days after the third day ahead is in the fifth week, 44 days after it in the seventh.
    assert found.planned == pytest.approx(np.tile([0, 0, 0, 0, 2.0, 2.0, 3.0, 3.0], (10, 1)))
    assert len(targets(farm, TODAY, 3)) == 0


def test_the_same_seed_gives_the_same_and_another_gives_another() -> None:
    farm = history([*OLD, 28], [{30: 1.0}, {30: 2.0}, {30: 3.0}, {30: 4.0}, {}])
    asked = targets(farm, TODAY, 28)

    def drawn(seed: int) -> list[float]:
        drawing = Drawing(donors(farm, TODAY, USUAL), 50, dice(seed))
        return simulate(drawing, asked, DAYS_OF_4).total[:, 0].tolist()

    assert drawn(1) == drawn(1) != drawn(2)


def test_batches_drawn_together_give_what_each_gives_alone() -> None:
    design = Design(weeks=60, recipes=2, per_week=4.0)
    farm = simulated(design, 5)
    asked = targets(farm, design.today, 28)
    drawing = Drawing(donors(farm, design.today, USUAL), 50, dice())
    found = simulate(drawing, asked, DAYS_OF_4, apart=True)
    again = Drawing(donors(farm, design.today, USUAL), 50, dice())
    each = [again.kg(target, DAYS_OF_4, again.rng.random(50)) for target in asked]
    assert all(one is not None for one in each)
    for to_come, sums in ((False, found.running), (True, found.planned)):
        kg = sum(one.kg for one, target in zip(each, asked, strict=True) if one and target.planned == to_come)
        assert sums == pytest.approx(kg, rel=1e-12)
    for one, borrowed in zip(each, found.borrowed, strict=True):
        assert one is not None
        assert borrowed is not None
        assert (one.donors, one.source) == (borrowed.donors, borrowed.source)
        assert borrowed.kg == pytest.approx(one.kg.mean(axis=0), rel=1e-12, abs=1e-15)


def test_beyond_the_span_of_an_age_nobody_gains_and_it_is_no_longer_than_that() -> None:
    design = Design(weeks=60, recipes=2)
    drawing = Drawing(donors(simulated(design, 5), design.today, USUAL), 10, dice())
    ages = np.arange(-40, 200)
    spans = drawing.spans(ages, WEEK_ENDS, np.full(len(ages), 100))
    for age, span in zip(ages.tolist(), spans, strict=True):
        gain = np.diff(drawing.lent(age, WEEK_ENDS), axis=0, prepend=0.0).any(axis=1) & (WEEK_ENDS <= 100)
        days = np.flatnonzero(gain).tolist()
        assert not days or (span.start <= days[0] and days[-1] < span.stop)
        assert age > 0 or (span.start, span.stop) == ((days[0], days[-1] + 1) if days else (26, 26))
        assert span.stop in (26, *range(15))


def test_the_mean_without_drawing_is_that_of_the_draws() -> None:
    design = Design(weeks=40, recipes=2)
    farm = simulated(design, 5)
    lend = donors(farm, design.today, USUAL)
    asked = targets(farm, design.today, 28)
    drawn = simulate(Drawing(lend, 2000, dice()), asked, DAYS_OF_4).total.mean(axis=0)
    assert expected_kg(lend, asked, DAYS_OF_4)[0] == pytest.approx(drawn, rel=0.2)


def test_kilograms_scale_with_the_pickings() -> None:
    ages = [250 - 7 * number for number in range(36)]
    paths = [{30: 1.0 + number % 5, 44: 0.5} for number in range(36)]
    once = look_ahead(history(ages, paths), TODAY, 500)
    tenfold = look_ahead(history(ages, [{age: 10 * kg for age, kg in path.items()} for path in paths]), TODAY, 500)
    assert tenfold.weeks_kg == pytest.approx(10 * once.weeks_kg)
    assert tenfold.sums_kg == pytest.approx(10 * once.sums_kg)
    assert tenfold.factors.sums == pytest.approx(once.factors.sums)


def test_what_comes_later_changes_nothing_but_the_plan_of_past_days() -> None:
    ages = [250 - 7 * number for number in range(36)]

    def told(more_later: float) -> Any:
        day = TODAY - 70
        paths = [
            {a: kg * (more_later if TODAY - age + a > day else 1) for a, kg in ((30, 1.0 + number % 5), (44, 0.5))}
            for number, age in enumerate(ages)
        ]
        return look_ahead(history(ages, paths), day, 500)

    assert np.array_equal(told(1.0).weeks_kg, told(7.0).weeks_kg)
    assert np.array_equal(told(1.0).sums_kg, told(7.0).sums_kg)


ORIGINS = np.arange(40) * 7


def past(actual: list[float], low: float = 8, high: float = 14) -> Past:
    """Past days a week apart, each of one week with a median of 10 kg, 80 % from low to high, and nothing beyond."""
    told = np.full((len(actual), MOST_WEEKS, 5), np.nan)
    told[:, 0] = [low, (low + 10) / 2, 10, (high + 10) / 2, high]
    came = np.full((len(actual), MOST_WEEKS), np.nan)
    came[:, 0] = actual
    return Past(np.arange(len(actual)) * 7, Spans(told, came), Spans(told, came))


def widening(of: Past, day: int) -> Factors:
    return widened(of, day).factors


def test_bands_are_widened_by_what_they_missed_from_what_is_usual_on() -> None:
    assert widening(past([]), 0).weeks == pytest.approx([max(FIRST_FACTOR, LEAST_FACTOR)] * MOST_WEEKS, rel=0.05)
    # Of ratio 3 each: the more are seen, the wider, until the bands hold what comes.
    factors = [widening(past([22.0] * number), 7 * number) for number in (1, 2, 60)]
    assert 1.0 < factors[0].weeks[0] < factors[1].weeks[0]
    assert 2.7 < factors[2].weeks[0] < 4.0
    # A later lead of which nothing was seen is widened as the one before; a first week and a sum of one are one.
    assert factors[1].weeks[0] == factors[1].sums[0]
    assert factors[1].weeks[5] == pytest.approx(factors[1].weeks[0], rel=0.25)
    assert widening(past([10.0] * 60), 7 * 60).weeks[0] == LEAST_FACTOR
    # What had not ended by the day says nothing.
    assert widening(past([22.0] * 60), 0).weeks[0] == widening(past([]), 0).weeks[0]
    # Where nothing was to come and something came, no factor would have helped.
    assert np.isfinite(widening(past([11.0] * 60, 10, 10), 7 * 60).weeks).all()


def test_bands_that_missed_of_late_are_wider_than_by_all_that_was_seen() -> None:
    calm, stormy = [10.5] * 40, [22.0] * 12
    after, before = widening(past(calm + stormy), 7 * 52), widening(past(stormy + calm), 7 * 52)
    assert after.weeks[0] > 1.5 * before.weeks[0]
    # By hand: nothing missed for long, so the share of misses is 8 x .2 of 8 and of those seen, which weigh less the
    # longer ago they were.
    seen = sum(0.5 ** (ago / 12) for ago in range(40))
    assert missed_of_late(np.full((2, 40, MOST_WEEKS), np.nan), np.ones((2, 40, MOST_WEEKS)), ORIGINS, 280) == (
        pytest.approx([1.0, 1.0])
    )
    ratio = np.full((2, 40, MOST_WEEKS), np.nan)
    ratio[:, :, 0] = 0.5
    assert missed_of_late(ratio, np.ones((2, 40, MOST_WEEKS)), ORIGINS, 280) == pytest.approx(
        [np.exp(4 * (1.6 / (seen + 8) - 0.2))] * 2
    )


def test_widened_bands_stay_in_order_and_above_nothing() -> None:
    told = np.array([[2.0, 6.0, 10.0, 12.0, 14.0]])
    assert widen(told, np.array([2.0]))[0].tolist() == [0.0, 2.0, 10.0, 14.0, 18.0]
    assert widen(told, np.array([1.0]))[0].tolist() == told[0].tolist()
    assert spread(np.array([1.0, 2.0, 3.0, 9.0]), 2.0).tolist() == [0.0, 1.5, 3.5, 15.5]


def test_a_past_day_counts_from_the_21st_week_on() -> None:
    farm = history([26 * 7, *[150] * 5], [{30: 1.0, 140: 0.1}] * 6)
    assert history_weeks(farm, TODAY) == 26
    assert (TODAY - past_days(farm, TODAY)).tolist() == [35, 28, 21, 14, 7]  # 21 to 25 weeks of records


def as_one(farm: PastBatches, factor: float = 1.0, draws: int = 200) -> Ahead:
    """An outlook of this farm with bands widened by this factor."""
    drawing = Drawing(donors(farm, TODAY, USUAL), draws, dice())
    asked = targets(farm, TODAY, int(DAYS[-1]))
    factors = Factors(np.full(MOST_WEEKS, factor), np.full(MOST_WEEKS, factor))
    return Ahead(asked, simulate(drawing, asked, DAYS), drawing, past([]), factors, USUAL)


def test_a_need_is_met_by_the_fewest_batches_and_as_late_as_they_can_be() -> None:
    farm = history([*OLD, 28], [*FOUR, {}])
    ahead = as_one(farm)
    expected = ((1.9, 0, None), (4.0, 1, 20), (5.5, 1, 6), (6.5, 2, 20), (8.5, 2, 6))
    for kg, more, days in expected:
        # By day 50: 3 kg of what runs; of a batch begun now 2 kg (from 30 days on) and 1 kg more (from 44 on).
        found = need(ahead, kg, 50, 4)
        assert [each.more for each in found.chances] == list(range(more + 1)), kg
        assert (found.chances[-1].chance, found.chances[-1].start_in) == (1.0, days), kg
        assert all(each.chance == 0 for each in found.chances[:-1])
    soonest = need(ahead, 5.9, 45, 4)
    assert (soonest.chances[-1].more, soonest.chances[-1].start_in) == (1, 1)
    beyond = need(ahead, 5.0, 20, 4)
    assert (len(beyond.chances), beyond.chances[-1].chance) == (21, 0.0)


def test_whatever_is_asked_the_same_days_have_the_same_numbers() -> None:
    rng = dice(9)
    for seed in range(6):
        design = Design(
            int(rng.integers(22, 60)), recipes=int(rng.integers(1, 4)), per_week=float(rng.uniform(0.5, 1.5))
        )
        ahead = look_ahead(simulated(design, seed), design.today, 300)
        weeks, sums = ahead.weeks_kg, ahead.sums_kg
        assert weeks[0] == pytest.approx(sums[0])
        for week in rng.integers(0, MOST_WEEKS, 4).tolist():
            by_then = need(ahead, float(rng.uniform(0.1, 90)), int(WEEK_ENDS[week]), 0).chances[0]
            ends = sums[week][[MEDIAN, LOW80, HIGH80]]
            assert (by_then.median, by_then.low80, by_then.high80) == pytest.approx(tuple(ends))
        # A day between two weeks lies between them.
        between = [need(ahead, 1.0, days, 0).chances[0].median for days in (14, 17, 21)]
        assert between == sorted(between)


def test_weeks_whose_entries_are_missing_are_not_held_against_it() -> None:
    ages = [300 - 7 * number for number in range(30)]
    farm = history(ages, [{30: 1.0, 44: 1.0}] * 30)
    last = TODAY - ages[-1] + 44
    assert known_until(farm, last) == last
    assert known_until(farm, last + 14) == last + 14
    assert known_until(farm, last + 15) == last
    found = look_back(farm, TODAY, Misses(farm, TODAY), dice())
    ends = found.origins[:, None] + WEEK_ENDS
    assert ends[~np.isnan(found.weeks.actual)].max() <= last


@pytest.mark.parametrize("parts", [1, 2, 3, 8, 65, 150])
def test_a_chance_falls_where_that_share_of_the_weights_lies_below_it(parts: int) -> None:
    heaped = np.cumsum(dice().exponential(size=(40, parts)), axis=1)
    chances = dice(2).random((3, 40))
    chances[0, :5] = 0.0
    told = [(heaped < (each * heaped[:, -1])[:, None]).sum(axis=1) for each in chances]
    flat = places(np.ascontiguousarray(heaped.T), chances)
    assert (flat // 40).tolist() == np.array(told).tolist()
    assert (flat % 40 == np.arange(40)).all()
