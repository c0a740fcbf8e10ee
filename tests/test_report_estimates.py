"""What the report says of decline, pins, comparisons, spawn rates and the weeks ahead, from a few literal rows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from itertools import pairwise
from typing import Any

from hypothesis import given
from hypothesis import strategies as st
from report_estimates import row_of
from report_months import FIRST, LAST

from reports import front, page
from reports.drawing import Chart
from reports.figures import plain
from reports.month import Month
from reports.sections import another_flush, differences, flushes, outlook, pins, spawn
from schemas.answers import StepAnswer

Rows = Sequence[Mapping[str, Any]]


def month(**tables: Rows) -> Month:
    return Month("A farm", FIRST, LAST, "turned_up", tables, (), ())


def said(sentence: Any) -> str:
    return plain(sentence).replace("\u00a0", " ")


def charts(month: Month, block: str) -> dict[str, Chart]:
    return {chart.id: chart for each in page.sections(month) if each.id == block for chart in each.charts}


def flush(substrate: str, k: int, known: int, share: float | None, not_yet: int = 0, **limits: float) -> dict[str, Any]:
    row = row_of("flushes", substrate=substrate, flush=k, units_known=known, units_not_yet=not_yet, fresh_g=1.0)
    return row | {"decline_started": share} | limits


def test_the_decline_is_told_per_container_started_with_its_limits_and_what_is_not_yet_known() -> None:
    limits = {"decline_started_low": 0.52, "decline_started_high": 0.73}
    rows = [flush("straw", 2, 3, 0.4), flush("mulch", 2, 20, 0.63, 12, **limits)]
    assert said(flushes.sentence(month(flushes=rows))) == (
        "On mulch the second flush gives 0.63 of the first (0.52 to 0.73). 20 containers show it; 12 not that far yet."
    )
    assert said(flushes.sentence(month(flushes=rows[:1]))) == (
        "On straw the second flush gives 0.40 of the first. 3 containers show it."
    )
    assert said(flushes.sentence(month(flushes=[flush("straw", 1, 3, 1.0)]))) == (
        "No container shows two flushes to compare yet."
    )


def test_the_decline_per_flush_is_one_number_with_limits() -> None:
    declines = [
        row_of("declines", substrate="straw", soaks=12, flushes_used=2, decline_per_flush_pct=48.3)
        | {"decline_per_flush_low_pct": 40.6, "decline_per_flush_high_pct": 55.0},
        row_of("declines", substrate="mulch", soaks=0, flushes_used=0, why_no_decline="none"),
    ]
    told = [said(note) for note in flushes.notes(month(flushes=[flush("straw", 1, 3, 1.0)], declines=declines))]
    assert told[0] == "On straw each flush gives 48.3 % less than the one before (40.6 to 55.0), from 12 soaks."
    assert not any("mulch" in note for note in told)


def test_a_flush_without_limits_is_read_out_without_them() -> None:
    first = flush("straw", 1, 9, 1.0)
    bare = charts(month(flushes=[first, flush("straw", 2, 9, 0.5)]), "flushes")["slopes"]
    limits = {"decline_started_low": 0.4, "decline_started_high": 0.7}
    limited = charts(month(flushes=[first, flush("straw", 2, 9, 0.5, **limits)]), "flushes")["slopes"]
    assert bare.facts[1] == "straw, flush 2: 0.50 of flush 1"
    assert limited.facts[1] == "straw, flush 2: 0.50 of flush 1 (0.40 to 0.70)"


@given(heights=st.lists(st.floats(0, 2), max_size=6))
def test_names_at_the_ends_of_lines_never_lie_upon_each_other(heights: list[float]) -> None:
    moved = flushes.spread(heights, 0.1)
    assert all(after - before > 0.0999 for before, after in pairwise(sorted(moved)))
    assert all(height <= at for height, at in zip(heights, moved, strict=True))


def pinned(**told: Any) -> dict[str, Any]:
    counts = {"substrate": "straw", "soaks": 4, "units": 20, "pinned": 12, "lost": 3, "waiting": 5, "units_unnoted": 0}
    return row_of("pins", **{**counts, **told})


def test_pins_are_told_of_all_started_with_losses_and_waiting_ones() -> None:
    half = pinned(median_days=24, median_low_days=23, median_high_days=27)
    assert said(pins.sentence(month(pins=[half]))) == (
        "On straw half of all containers started have pins by day 24 (23 to 27). Of 20 containers 12 showed them, "
        "3 were lost before, 5 wait."
    )
    # What is told adds up to all, and nothing is told that there is none of.
    unnoted = said(pins.sentence(month(pins=[pinned(lost=1, waiting=0, units_unnoted=7, median_days=24)])))
    assert unnoted.endswith("Of 20 containers 12 showed them, 1 was lost before, 7 have no note of pins.")
    few = pinned(pinned_by_21_pct=10.0, pinned_by_28_pct=40.0, why_no_interval="fewer than three soaks")
    told = said(pins.sentence(month(pins=[few])))
    assert told.startswith("On straw half of all containers started have no pins yet: 40.0 % by the day 28. Of")
    assert said(pins.notes(month(pins=[few]))[0]) == "No limits for straw: fewer than three soaks."
    assert said(pins.sentence(month(pins=[pinned(pinned=0)]))).startswith("No container shows yet")


def waited(answer: str, why: str | None = None, **told: Any) -> dict[str, Any]:
    rest = {"difference_g_per_day": 5.7, "difference_g_per_day_low": 3.0, "difference_g_per_day_high": 8.5}
    row = row_of("another_flush", substrate="straw", flush=2, soaks=5, units_waited=9, units_not_held=0)
    return row | rest | {"answer": answer, "why": why} | told


def test_another_flush_is_told_where_it_can_be_and_else_why_not() -> None:
    assert said(another_flush.sentence(month(another_flush=[waited("wait")]))) == (
        "On straw waiting for flush 2 pays: against one begun anew it brings 5.7 (3.0 to 8.5) g a container-day."
    )
    money = {"difference_money_per_day": -0.04, "difference_money_per_day_low": -0.07}
    dear = month(another_flush=[waited("start anew", **money, difference_money_per_day_high=-0.01)])
    assert "does not pay: against one begun anew it brings -0.04 (-0.07 to -0.01) a container-day" in said(
        another_flush.sentence(dear)
    )
    open_ = month(another_flush=[waited("cannot tell", "anything from -2.0 to 5.0 fits")])
    assert said(another_flush.sentence(open_)) == "Whether another flush is worth the room cannot be decided yet."
    assert said(another_flush.notes(open_)[0]) == "Cannot tell for straw, flush 2: anything from -2.0 to 5.0 fits."


def pair(verdict: str, rules: str, measure: str = "be", **told: Any) -> dict[str, Any]:
    row = row_of("compared_pairs", factor="substrate", measure=measure, level="straw", against="mulch", soaks=4)
    row |= {"soaks_against": 4, "soaks_split": 0, "difference": 20.0, "smallest_effect": 10.0, "unit": "points"}
    row |= {"direction": verdict, "worth": "worth it" if verdict == "more" else "cannot tell"}
    return row | {"verdict": verdict, "rules": rules, "sentence": f"straw against mulch: {verdict}."} | told


def test_what_holds_is_told_first_and_far_intervals_are_not_drawn() -> None:
    limits = {"low": 12.0, "high": 28.0}
    rows = [
        pair("cannot tell", "R3 R2", low=-400.0, high=440.0),
        pair("cannot tell", "R7", low=-5.0, high=45.0),
        pair("more", "R9", **limits),
        pair("more", "R9", "losses", **limits),
        pair("cannot tell", "R1", "losses"),
    ]
    told = month(compared_pairs=rows)
    assert said(differences.sentence(told)) == ("1 of 3 differences in BE between recipes or containers can be judged.")
    notes = [said(note) for note in differences.notes(told)]
    assert notes == [
        "Substrate: straw gave more than mulch by 20.0 points (12.0 to 28.0), and it is worth it.",
        "Substrate, losses: mulch lost less than straw by 20.0 points (12.0 to 28.0), and it is worth it.",
    ]
    assert [row["row"] for row in charts(told, "holds")["differences"].rows] == [2, 1]
    # The first page says it without figures, and nothing of a difference that does not matter.
    assert said(front.shown(told)) == "The records show: per kg of dry substrate, straw gives more than mulch."
    small = pair("cannot tell", "R9", worth="no difference that matters", low=-3.0, high=4.0)
    assert front.shown(month(compared_pairs=[small])) == ()
    assert said(differences.sentence(month(compared_pairs=rows[:1]))).startswith("None of 1 difference in BE")


def test_a_spawn_step_is_told_with_its_limits_and_the_next_step() -> None:
    step = row_of("spawn_steps", substrate="straw", supplement="", treatment="cold_lime", strain="", spawn_form="grain")
    step |= {"from_rate_wet_pct": 5.0, "to_rate_wet_pct": 10.0, "soaks_from": 4, "soaks_to": 5, "soaks_both": 4}
    step |= {"be_difference_pct": 35.1, "be_difference_low_pct": -2.4, "be_difference_high_pct": 72.6}
    step |= {"answer": "cannot tell", "why": "anything from -2.0 to 5.0 fits", "next_step": "Split soaks."}
    told = month(spawn_steps=[step])
    assert said(spawn.sentence(told)) == (
        "On straw \u00b7 cold lime \u00b7 grain, from 5.0 to 10.0 % spawn: BE changes by +35.1 points (-2.4 to 72.6): "
        "cannot tell."
    )
    assert said(spawn.notes(told)[0]).endswith("5.0 to 10.0 %: anything from -2.0 to 5.0 fits. Split soaks.")
    assert said(spawn.sentence(month())).startswith("No recipe was tried at more than one spawn rate")
    # A step with an answer comes before one that rests on more soaks and has none.
    open_ = step | {"answer": StepAnswer.CANNOT_TELL, "soaks_from": 40}
    answered = step | {"from_rate_wet_pct": 10.0, "to_rate_wet_pct": 20.0, "answer": StepAnswer.PAYS}
    assert "from 10.0 to 20.0 %" in said(spawn.sentence(month(spawn_steps=[open_, answered])))


def week(**told: Any) -> dict[str, Any]:
    row = row_of("outlook", week=1, first_day=date(2026, 10, 1), last_day=date(2026, 10, 7), median_kg=5.0)
    row |= {"low50_kg": 4.0, "high50_kg": 6.0, "low80_kg": 2.0, "high80_kg": 8.5, "running_kg": 5.0, "planned_kg": 0.0}
    return row | {"batches_without_donors": 0, "past_seen": 0} | told


def test_the_weeks_ahead_are_told_with_a_band_and_how_well_they_were_told_before() -> None:
    held = week(past_seen=17, past_held_80_pct=76.5, past_off_kg=1.9, widened_by=1.2, planned_kg=1.5)
    assert said(outlook.sentence(month(outlook=[held]))) == (
        "Expect about 5.00 kg in the week from 1 October 2026. In four of five cases it is 2.00 to 8.50 kg."
    )
    notes = [said(note) for note in outlook.notes(month(outlook=[held]))]
    assert said(outlook.past_sentence(month(outlook=[held]))) == (
        "Tried on 17 past days, the 80 % band of the first week held what came in 76.5 % of them. "
        "The median was off by 1.90 kg on average."
    )
    assert notes[0] == "In all the weeks ahead, 1.50 kg would come from batches not yet begun."
    young = [said(note) for note in outlook.notes(month(outlook=[week(batches_without_donors=2)]))]
    assert young[0].startswith("In 1 week some batches are left out")


def test_without_an_outlook_the_page_says_why() -> None:
    told = Month("A farm", FIRST, LAST, "turned_up", {}, (), (), why_no_outlook="The records reach back 5 weeks.")
    assert said(outlook.sentence(told)) == "What is to come cannot be foreseen. The records reach back 5 weeks."
    assert charts(told, "ahead") == {}
