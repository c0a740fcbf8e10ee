"""What was seen wrong on screens and on paper, and stays mended."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from typing import Any

from report_months import CASES, Unit, a_month

from pipeline.cli.report_command import _without_later_days
from reports import front
from reports.colours import STRONGEST
from reports.document import part
from reports.figures import plain
from reports.page import render
from reports.print_content import print_content
from reports.sections import courses, differences, flushes, losses, picked, recipes, spawn
from schemas.contract import contract
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
    paid = {
        "sold_g": 2000.0,
        "revenue": 20.0,
        "cost": 12.5,
        "margin": 7.5,
        "cost_per_kg": 1.0,
        "lacks": "spawn_kg, substrate_dry_kg",
    }
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


def test_a_likely_range_over_all_there_can_be_is_left_out() -> None:
    month = CASES["first_month"]()
    firm = {**month.rows("recipes")[0], "soaks": 3, "be_pct": 38.5, "low_pct": 20.0, "high_pct": 90.0}
    wide = {**firm, "treatment": "steam", "be_pct": 22.0, "low_pct": 0.0, "high_pct": 214.0}
    month = replace(month, tables={**month.tables, "recipes": [wide]})
    assert said(recipes.sentence(month)).endswith("BE 22.0 % from 3 soaks, too few for a likely range.")
    (chart,) = recipes.section(month).charts
    assert [(row["low"], row["high"], row["grey"]) for row in chart.rows] == [(None, None, True)]
    both = replace(month, tables={**month.tables, "recipes": [wide, firm]})
    assert said(recipes.sentence(both)).endswith("gave BE 38.5 % (20.0 to 90.0) from 3 soaks.")
    kind = {**month.rows("losses")[0], "lost_pct": 12.5, "low_pct": 0.0, "high_pct": 100.0}
    lost = replace(month, tables={**month.tables, "losses": [kind, {**kind, "high_pct": 52.2}]})
    assert [said(losses.loss_facts(lost, at)).split(" \u00b7 ")[1] for at in (0, 1)] == ["no range", "0.0 to 52.2 %"]
    assert [row["high"] for row in losses.shares_chart(lost)[0].rows] == [None, 52.2]


def test_charts_of_batches_are_as_high_as_each_other() -> None:
    def lanes(batches: int) -> list[int]:
        month = a_month([Unit(f"B{at:02}", str(at)) for at in range(batches)])
        return [len(chart.facts) for chart in courses.courses_charts(month)]

    assert [lanes(batches) for batches in (1, 8, 11, 21)] == [[1], [8], [6, 5], [7, 7, 7]]
    assert (sum(lanes(60)), max(lanes(60)), min(lanes(60))) == (30, 8, 7)


def test_a_limit_beside_nothing_is_not_nothing_and_a_rate_keeps_its_sign() -> None:
    month = CASES["first_month"]()
    pair = {**month.rows("compared_pairs")[0], "measure": "days", "unit": "d", "direction": "less", "worth": ""}
    pair |= {"factor": "spawn_rate", "level": "20 %", "against": "5 %", "difference": -3.62, "low": -7.19}
    month = replace(month, tables={**month.tables, "compared_pairs": [pair | {"high": -0.046}]})
    told = plain(differences.shown_pair(month, 0))
    assert told.endswith("20\u00a0% had pins sooner than 5\u00a0% by 3.6 d (0.05 to 7.2).")


def test_lines_that_cross_have_dashes_of_their_own() -> None:
    (chart,) = flushes.slopes_chart(CASES["first_month"]())
    (line,) = [each for each in chart.spec["layer"] if each["mark"]["type"] == "line"]
    dashes = line["encoding"]["strokeDash"]["scale"]
    assert {row["line"] for row in chart.rows} <= set(dashes["domain"])
    assert len({tuple(each) for each in dashes["range"]}) == len(dashes["domain"])


def test_a_page_one_without_a_chart_leaves_its_paper_to_what_follows() -> None:
    first = a_month([Unit()])
    later = a_month([Unit()], before=[("2026-08", 400.0)])
    assert ['class="first leads"' in render(month) for month in (first, later)] == [False, True]


def test_a_long_unit_is_not_cut_at_an_axis() -> None:
    (chart,) = differences.pairs_chart(CASES["first_month"]())
    titles = [each["encoding"]["x"]["axis"]["title"] for each in chart.spec["layer"] if "axis" in _across(each)]
    assert chart.title == "Differences in BE, points"
    assert set(titles) == {"points"}


def test_figures_are_read_on_the_strongest_shade_in_both_schemes() -> None:
    styles = part("styles/report.css")
    schemes = [dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", each)) for each in styles.split(":root {")[1:3]]
    assert [each["paper"] for each in schemes] == ["#fcfbf7", "#161a18"]
    for scheme in schemes:
        for shade in ("mass", "lost"):
            both = zip(_channels(scheme[shade]), _channels(scheme["paper"]), strict=True)
            ground = [STRONGEST * over + (1 - STRONGEST) * under for over, under in both]
            dark, light = sorted((_luminance(ground), _luminance(_channels(scheme["ink"]))))
            assert (light + 0.05) / (dark + 0.05) >= 4.5, (shade, scheme["paper"])


def _channels(colour: str) -> list[float]:
    return [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]


def _luminance(channels: list[float]) -> float:
    """The relative luminance of WCAG 2.2."""
    linear = [each / 12.92 if each <= 0.04045 else ((each + 0.055) / 1.055) ** 2.4 for each in channels]
    return sum(share * each for share, each in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def test_a_step_of_spawn_is_left_out_where_its_interval_says_nothing() -> None:
    month = CASES["first_month"]()
    step = {**month.rows("spawn_steps")[0], "be_difference_pct": 39.7, "answer": "cannot tell", "soaks_to": 2}
    wide = step | {"soaks_to": 9, "be_difference_low_pct": -130.0, "be_difference_high_pct": 108.0}
    narrow = step | {"be_difference_low_pct": -12.3, "be_difference_high_pct": 63.9}
    both = replace(month, tables={**month.tables, "spawn_steps": [wide, narrow]})
    assert "(-12.3 to 63.9)" in said(spawn.sentence(both))
    alone = replace(month, tables={**month.tables, "spawn_steps": [wide]})
    assert said(spawn.sentence(alone)) == "No step from one spawn rate to the next has a difference in BE yet."


def test_heads_and_words_of_tables_are_said_once_and_in_a_growers_words() -> None:
    paid = {name: 5.0 for name in contract("money").names if contract("money").field(name).is_number}
    recipe = {"substrate": "straw", "treatment": "cold_lime", "spawn_form": "grain", "units": 2, "lacks": ""}
    month = a_month([Unit()])
    short = {**recipe, "lacks": "spawn_kg"}
    month = replace(month, tables={**month.tables, "money": [paid | recipe, paid | short]})
    table = recipes.money_table(month)
    assert table is not None
    heads = [f"{each.title}, {each.unit}" if each.unit else each.title for each in table.heads]
    assert {"Cost per kg", "Lacks"} <= set(heads)
    assert [plain((row[-1],)) for row in table.rows if row[-1]] == ["nothing", "spawn_kg"]
    decided = differences.section(CASES["first_month"]()).tables[-1]
    assert decided.rows[0][0] == "BE"


def _across(layer: Any) -> Any:
    return layer["encoding"].get("x", {})
