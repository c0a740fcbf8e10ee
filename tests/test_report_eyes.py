"""What was seen wrong on screens and on paper, and stays mended."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from report_months import CASES, Unit, a_month

from pipeline.cli.report_command import _without_later_days
from reports import front
from reports.figures import plain
from reports.print_content import print_content
from reports.sections import courses, differences, picked
from schemas.finding import Finding

PHONE_LETTERS = 32  # of what stands at the right of a lane, that a phone has room for


def said(sentence: Any) -> str:
    return plain(sentence).replace("\u00a0", " ")


def test_what_a_batch_gave_fits_beside_its_name_on_a_phone() -> None:
    month = a_month([Unit("A", str(at), flushes=() if at < 10 else (5000.0,)) for at in range(12)])
    (chart,) = courses.courses_charts(month)
    assert chart.facts == ("A: 10.00 kg from 12, 10 lost",)
    rows = [{**row, "ended_on": None} for row in month.rows("batch_courses")]
    (running,) = courses.courses_charts(replace(month, tables={**month.tables, "batch_courses": rows}))
    assert running.facts == ("A: 10.00 kg from 12, 10 lost, running",)
    assert len(running.facts[0]) - len("A: ") <= PHONE_LETTERS + 2


def test_the_charts_of_batches_have_one_key_with_the_shapes_that_are_drawn() -> None:
    first, *others = courses.courses_charts(CASES["sixty_batches"]())
    assert [(key.colour, key.shape) for key in first.keys][-2:] == [("mass", "dot"), ("lost", "cross")]
    assert [chart.keys for chart in others] == [()] * len(others)
    assert {chart.title for chart in others} == {"The batches, continued"}


def test_a_picking_of_some_grams_is_not_shown_as_nothing() -> None:
    month = a_month([Unit()])
    days = [{**row, "fresh_g": 30.0 if row["fresh_g"] else 0.0} for row in month.rows("picked_days")]
    (chart,) = picked.calendar_chart(replace(month, tables={**month.tables, "picked_days": days}))
    shown = [row["said"] for rows in chart.spec["datasets"].values() for row in rows if "said" in row]
    assert shown == ["0.03"] * 3


def test_one_strain_needs_no_share() -> None:
    assert [said(each) for each in picked.notes(a_month([Unit()]))] == ["All of it was grey."]


def test_an_interval_that_says_nothing_presses_no_others_together() -> None:
    month = CASES["first_month"]()
    pair = {**next(iter(month.rows("compared_pairs"))), "measure": "be", "rules": "", "difference": 1.0}
    pairs = [{**pair, "low": -9.0, "high": 11.0}, {**pair, "low": -400.0, "high": 402.0}]
    (chart,) = differences.pairs_chart(replace(month, tables={**month.tables, "compared_pairs": pairs}))
    assert [row["high"] for row in chart.rows] == [11.0]
    assert chart.part.startswith("The first 1 of 2 pairs")


def test_a_cost_lacks_what_a_grower_calls_it() -> None:
    month = a_month([Unit()], currency="")
    paid = {"revenue": 20.0, "cost": 12.5, "margin": 7.5, "cost_per_kg": 1.0, "lacks": "spawn_kg, substrate_dry_kg"}
    month = replace(month, tables={**month.tables, "months": [{**row, **paid} for row in month.rows("months")]})
    (tile,) = [each for each in front.tiles(month) if each.what == "Margin"]
    assert said(tile.rests_on) == (
        "left: sales of 20.0 less costs of 12.5, in the farm's currency. "
        "Too high: the cost lacks spawn and dry substrate"
    )


def test_a_month_that_is_over_does_not_wonder_at_later_days() -> None:
    later = Finding("harvests", "harvests.csv", 7, "picked_on", "future", "warning", "2026-10-01", "a", "b", "c")
    other = replace(later, rule="number")
    assert _without_later_days([later, other], date(2026, 9, 30)) == [other]
    assert _without_later_days([later, other], date(2026, 9, 14)) == [later, other]


def test_a_key_on_paper_has_the_shape_of_its_mark() -> None:
    content: Any = print_content(CASES["first_month"]())
    keys = [key for each in content["sections"] for chart in each["charts"] for key in chart["keys"]]
    assert {"dot", "line", "block", "cross"} <= {key["shape"] for key in keys}
    assert "#fcfbf7" not in repr(content)
