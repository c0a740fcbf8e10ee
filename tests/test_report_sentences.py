"""What the report says in words, from a few literal rows and no ledger."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from report_months import FIRST, LAST, found

from reports import front, page
from reports.colours import strain_colours
from reports.drawing import Chart
from reports.figures import Figure, Name, brief, plain
from reports.glossary import definitions
from reports.month import Month, first_day
from reports.sections import courses, finished, losses, picked, recipes, rejected, stages
from reports.words import isolated, spoken, visible, with_days_named

Rows = Sequence[Mapping[str, Any]]


def month(**tables: Rows) -> Month:
    return Month("A farm", FIRST, LAST, "turned_up", tables, (), ())


def months(*rows: tuple[str, float, int], **other: Any) -> list[dict[str, Any]]:
    """Rows of `months`: (month, fresh_g, pickings), and what else the last one holds."""
    nothing = {
        "units_finished": 0,
        "units_lost": 0,
        "be_finished_pct": None,
        "picked_late_pct": None,
        "culled_pct": None,
    } | dict.fromkeys(("sold_g", "revenue", "cost", "margin", "cost_per_kg", "lacks"))
    told = [{"month": name, "fresh_g": fresh, "pickings": n} | nothing for name, fresh, n in rows]
    told[-1] |= other
    return told


def said(sentence: Any) -> str:
    return plain(sentence).replace("\u00a0", " ")


def charts(month: Month, block: str) -> dict[str, Chart]:
    return {chart.id: chart for each in page.sections(month) if each.id == block for chart in each.charts}


@pytest.mark.parametrize(
    ("days", "told"),
    [
        ({3: 500.0, 12: 1500.0}, "Most was picked on 12 September 2026: 1.50 kg. All came in 8 pickings."),
        ({12: 1500.0, 20: 1500.0}, "Most was picked on 12 September 2026: 1.50 kg. All came in 8 pickings."),
        ({}, "2.00 kg was picked in 8 pickings."),
    ],
)
def test_the_best_day_of_the_month_is_said(days: dict[int, float], told: str) -> None:
    rows = [{"day": date(2026, 9, day), "fresh_g": g, "pickings": 4} for day, g in days.items()]
    assert said(picked.sentence(month(months=months(("2026-09", 2000.0, 8)), picked_days=rows))) == told


def test_a_month_without_a_picking_says_so() -> None:
    nothing = months(("2026-08", 412.0, 2), ("2026-09", 0.0, 0))
    assert said(picked.sentence(month(months=nothing))) == "No day of September 2026 has a picking."
    assert said(picked.sentence(replace(month(), as_of=date(2026, 9, 14)))) == (
        "No day of September 2026 has a picking so far."
    )


@pytest.mark.parametrize(
    ("text", "value", "column", "told"),
    [
        ("14.84", 14840.0, "fresh_g", "14.8"),
        ("9.99", 9994.0, "fresh_g", "9.99"),
        ("0.13", 125.0, "fresh_g", "0.13"),
        ("1\u202f234.57", 1234567.0, "fresh_g", "1\u202f235"),
        ("100.0", 100.0, "be_finished_pct", "100"),
        ("-111.58", -111.58, "margin", "-112"),
        ("79", 79, "pickings", "79"),
        ("\u2013", None, "be_finished_pct", "\u2013"),
    ],
)
def test_a_sentence_says_three_digits(text: str, value: float | None, column: str, told: str) -> None:
    (shown,) = brief((Figure(text, value, (f"months/0/{column}",)),))
    assert isinstance(shown, Figure)
    assert (shown.text, shown.value) == (told, value)


def waits(*rows: tuple[str, float, float]) -> list[dict[str, Any]]:
    """Rows of `waiting_months`: (month, g picked, g waiting)."""
    return [
        {"month": name, "pickings_waiting": int(g > 0), "waiting_g": g, "picked_and_waiting_g": picked + g}
        | {"rows_awaited": int(g > 0), "awaited_file": "batches.csv" if g else ""}
        for name, picked, g in rows
    ]


def test_what_waits_is_weighed_and_what_it_would_change_is_said() -> None:
    rows = months(("2026-08", 2500.0, 9), ("2026-09", 2000.0, 8))
    told = month(months=rows, waiting_months=waits(("2026-08", 2500.0, 0.0), ("2026-09", 2000.0, 3200.0)))
    more = "1 picking is not counted: 1 row of batches.csv is faulty."
    more += " With what is known of it the month gave about 108 % more than in August."
    assert said(picked.waiting(told)) == said(front.warning(told)) == more
    assert (
        said(front.headline(told)[0]) == "2.00 kg was picked and counted in September 2026, 20 % less than in August."
    )
    head = {tile.what: said(tile.rests_on) for tile in front.tiles(told)}
    assert head["Picked"] == "at least 3.20 kg more is not counted yet"
    so_far = replace(told, as_of=date(2026, 9, 14))
    assert said(picked.waiting(so_far)) == "1 picking is not counted: 1 row of batches.csv is faulty."
    assert picked.waiting(month(months=rows, waiting_months=waits(("2026-09", 2000.0, 0.0)))) == ()


def test_a_month_that_is_not_over_is_not_compared_with_whole_months() -> None:
    rows = months(("2026-08", 2500.0, 9), ("2026-09", 1000.0, 3))
    so_far = replace(month(months=rows), as_of=date(2026, 9, 14))
    assert said(front.headline(so_far)[0]) == "1.00 kg was picked in September 2026 so far."
    assert said(page.as_of(so_far)) == "As of 14 September 2026: the month is not over."


def test_last_years_mark_stands_on_the_months_that_have_one() -> None:
    told = months(("2025-08", 700.0, 1), ("2025-09", 800.0, 1), ("2026-08", 1200.0, 2), ("2026-09", 900.0, 1))
    (chart,) = picked.months_chart(month(months=told))
    assert [row.get("before") for row in chart.rows] == [None, None, 0.7, 0.8]
    assert [row.get("before_row") for row in chart.rows] == [None, None, 0, 1]
    assert chart.facts[-1] == "Sep 2026 0.90 kg (a year before 0.80)"
    assert [key.means for key in chart.keys] == ["picked", "the same month a year before"]
    (young,) = picked.months_chart(month(months=told[2:]))
    assert young.keys == ()


def that_finished(*rows: tuple[str, str, float | None], lost: bool = False) -> Month:
    """Units that finished: (batch, container, BE) each; the month's BE is the first one's."""
    units = [
        {"batch": b, "container": c, "strain": "grey", "be_pct": be, "contaminated_before_pick": lost, "substrate": "x"}
        | {"treatment": "steam", "spawn_form": "grain", "fresh_g": 0.0 if lost else 10.0 * (be or 1.0)}
        | {"substrate_dry_g": None if be is None else 1000.0}
        for b, c, be in rows
    ]
    names = dict.fromkeys(b for b, _, _ in rows)
    batches = [
        {"batch": b, "substrate": "x", "units": 1, "fresh_g": 1.0, "be_pct": next(be for n, _, be in rows if n == b)}
        | {"units_without_dry_mass": sum(1 for n, _, be in rows if n == b and be is None)}
        | {"substrate_dry_g": 1000.0 * sum(1 for n, _, be in rows if n == b and be is not None) or None}
        for b in names
    ]
    known = [be for _, _, be in rows if be is not None]
    told = months(("2026-09", 9.0, 1), units_finished=len(rows), be_finished_pct=(known and known[0]) or None)
    return month(months=told, finished_units=units, finished_batches=batches)


def test_be_is_never_told_without_what_it_rests_on() -> None:
    one = that_finished(("A", "1", 72.68))
    assert said(finished.sentence(one)) == "BE was 72.7 % for what finished in September 2026: 1 container of 1 batch."
    assert "cannot tell recipes apart" in " ".join(said(note) for note in finished.notes(one))
    assert said(finished.sentence(that_finished(("A", "1", 72.68), ("A", "2", None), ("B", "", 50.0)))) == (
        "BE was 72.7 % for what finished in September 2026: 2 containers of 2 batches. Left out: 1 "
        "without a known dry mass."
    )
    assert "cannot tell recipes" not in " ".join(
        said(n) for n in finished.notes(that_finished(("A", "1", 7.0), ("B", "2", 9.0)))
    )


def test_without_dry_mass_or_without_an_end_there_is_no_be() -> None:
    assert said(finished.sentence(that_finished(("A", "1", None), ("A", "2", None)))) == (
        "2 containers of 1 batch finished in September 2026, none with a known dry substrate mass, "
        "so their BE is not known."
    )
    assert said(finished.sentence(month(months=months(("2026-09", 9.0, 1))))) == (
        "No container finished in September 2026, so the month has no biological efficiency (BE) of its own."
    )


def test_units_thrown_out_before_a_picking_are_told() -> None:
    thrown = [said(note) for note in finished.notes(that_finished(("A", "1", 0.0), lost=True))]
    assert "1 was thrown out for contamination before a first picking, and counts with nothing given." in thrown


def test_a_month_of_losses_has_no_be_but_says_how_many_were_lost() -> None:
    lost = that_finished(("A", "1", 0.0), ("A", "2", 0.0), ("B", "3", 0.0), lost=True)
    assert said(finished.sentence(lost)) == "3 containers finished in September 2026 and gave nothing: 3 lost."
    tile = next(each for each in front.tiles(with_recipes(lost)) if each.what == "BE of what finished")
    assert (said(tile.rests_on), tile.figure) == ("3 lost", None)


def with_recipes(month: Month) -> Month:
    """The month with what the head of the page needs beside."""
    return replace(month, tables={**month.tables, "finished_recipes": []})


def test_lost_containers_with_a_dry_mass_are_no_be_of_those_without() -> None:
    """A recipe whose picked containers have no dry mass has no BE, whatever its lost ones weighed."""
    some = that_finished(("A", "1", 0.0), ("A", "2", None))
    units = [row | {"fresh_g": 0.0 if row["be_pct"] == 0 else 400.0} for row in some.rows("finished_units")]
    told = replace(some, tables={**some.tables, "finished_units": units})
    assert said(finished.sentence(told)) == (
        "2 containers of 1 batch finished in September 2026, none that gave a picking with a known dry substrate mass, "
        "so their BE is not known."
    )


def recipe(treatment: str, soaks: int, be: float | None, limits: tuple[float, float] | None = None) -> dict[str, Any]:
    kind = {"substrate": "wheat straw", "treatment": treatment, "spawn_form": ""}
    low, high = limits or (None, None)
    return kind | {
        "soaks": soaks,
        "units": 4,
        "units_without_dry_mass": 0,
        "contaminated_before_pick": 0,
        "be_pct": be,
        "low_pct": low,
        "high_pct": high,
        "be_clean_pct": be,
        "why_no_interval": None if limits else "fewer than three soaks",
    }


def test_recipes_are_told_with_their_intervals_and_soaks_and_few_soaks_are_grey() -> None:
    firm = [recipe("cold_lime", 6, 80.0, (70.0, 90.0)), recipe("hot_lime", 3, 60.0, (20.0, 99.5))]
    several = month(recipes=[recipe("steam", 1, 140.0), *firm, recipe("none", 1, None)])
    assert said(recipes.sentence(several)) == (
        "So far wheat straw, cold lime, not noted gave most: BE 80.0 % (70.0 to 90.0) from 6 soaks. "
        "Least: wheat straw, hot lime, not noted, BE 60.0 % (20.0 to 99.5) from 3 soaks."
    )
    assert [said(note) for note in recipes.notes(several)] == [
        "BE says how many kg came from a hundred kg of dry substrate.",
        "Recipes without a BE stand in the table alone: no container is over, or no dry mass known.",
        "Months and soaks differ too: whether one is better stands under What holds and what leans.",
    ]
    (chart,) = recipes.section(several).charts
    assert [(row["row"], row["be"], row["grey"]) for row in chart.rows] == [
        (0, 140.0, True),
        (1, 80.0, False),
        (2, 60.0, False),
    ]
    assert [key.colour for key in chart.keys] == ["estimate", "interval", "few"]
    assert said(recipes.sentence(month())) == "No recipe has a BE yet."
    weighed_none = [recipe("cold_lime", 0, None) | {"units": 4, "units_without_dry_mass": 4}]
    assert said(recipes.sentence(month(recipes=weighed_none))) == (
        "No recipe has a BE: of none of 4 containers that ended the dry mass is known."
    )
    alone = month(recipes=[recipe("steam", 1, 40.0)])
    assert said(recipes.sentence(alone)) == "So far wheat straw, steam, not noted gave BE 40.0 % from 1 soak."
    assert [said(note) for note in recipes.notes(alone)][1:] == []


def test_clean_be_stands_beside_where_containers_were_thrown_out() -> None:
    thrown = recipe("steam", 4, 50.0, (30.0, 70.0)) | {"contaminated_before_pick": 2, "be_clean_pct": 75.0}
    (chart,) = recipes.section(month(recipes=[thrown, recipe("none", 1, 20.0)])).charts
    assert [row["clean"] for row in chart.rows] == [75.0, None]
    assert chart.facts[0].endswith(
        "steam \u00b7 not noted: 50.0\u00a0% (30.0 to 70.0) \u00b7 4 soaks \u00b7 75.0 clean"
    )
    assert "clean" in [key.colour for key in chart.keys]


def soak(name: str, units: int, lost: int) -> dict[str, Any]:
    return {"soak": name, "inoculated_on": FIRST, "units": units, "lost": lost, "lost_pct": 100 * lost / units}


@pytest.mark.parametrize(
    ("soaks", "told"),
    [
        (
            [soak("a", 36, 12), soak("b", 36, 0)],
            "12 of 72 containers were lost without a picking, all in 1 of 2 soaks.",
        ),
        ([soak("a", 5, 1), soak("b", 5, 0)], "1 of 10 containers was lost without a picking, in 1 of 2 soaks."),
        ([soak("a", 5, 1), soak("b", 5, 2)], "3 of 10 containers were lost without a picking, in 2 of 2 soaks."),
        ([soak("a", 1, 0)], "None of 1 container was lost without a picking."),
        ([], "The fate of no container is known yet, so no loss can be counted."),
    ],
)
def test_losses_are_told_with_their_soaks(soaks: list[dict[str, Any]], told: str) -> None:
    assert said(losses.sentence(month(soaks=soaks))) == told


def loss(lost: int, low: float | None, why: str | None) -> dict[str, Any]:
    fate = {"units": 82, "units_not_yet": 10, "lost": lost, "lost_pct": 10.0, "soaks": 6, "soaks_with_loss": 1}
    rest = {"low_pct": low, "high_pct": low and 29.46, "why_no_interval": why, "contaminated_before_pick": 0}
    return {"substrate": "straw", "treatment": "hot_lime", "contaminated_after_pick": 0} | fate | rest


def test_a_loss_has_its_interval_or_why_there_is_none() -> None:
    with_one, without = month(losses=[loss(12, 0.25, None)]), month(losses=[loss(9, None, "fewer than three soaks")])
    unlost = month(losses=[loss(0, None, "fewer than three soaks")], soaks=[soak("a", 5, 0)])
    assert said(losses.loss_facts(with_one, 0)) == "12 of 72, all in 1 of 6 soaks · 0.2 to 29.5 %"
    assert said(losses.loss_facts(without, 0)) == "9 of 72, all in 1 of 6 soaks · no range"
    assert said(losses.loss_facts(unlost, 0)) == "0 of 72, from 6 soaks · no range"
    # A chart of nothing lost would be empty.
    assert not charts(unlost, "losses").keys() & {"losses", "soaks"}
    assert "interval" in [key.colour for key in charts(with_one, "losses")["losses"].keys]
    assert "interval" not in [key.colour for key in charts(without, "losses")["losses"].keys]


def test_late_picking_is_told_of_the_mass_with_a_stage_or_not_at_all() -> None:
    rows = months(("2026-09", 9.0, 1), picked_late_pct=4.77, culled_pct=1.5)
    assert said(stages.sentence(month(months=rows))) == (
        "4.8 % of the mass with a stage was picked late (caps turned up). "
        "1.5 % of the fresh mass was trimmed or culled."
    )
    assert "(caps flat or older)" in said(stages.sentence(replace(month(months=rows), late_from="flat")))
    none = months(("2026-09", 9.0, 1), culled_pct=0.0)
    assert said(stages.sentence(month(months=none))).startswith("No cap stage was noted, so late picking is not known")


def test_late_stages_have_one_colour_and_mass_without_a_stage_is_not_drawn() -> None:
    rows = [
        {"cap_stage": stage, "fresh_g": 1.0, "pickings": 1, "share_pct": 25.0}
        | {"share_of_staged_pct": 100 / 3 if stage else None}
        for stage in ("turned_down", "flat", "turned_up", "")
    ]
    chart = charts(replace(month(stages=rows), late_from="flat"), "stages")["stages"]
    assert [row["colour"] for row in chart.rows] == ["mass", "late", "late"]


def test_rows_set_aside_and_those_that_wait_are_counted_once_each() -> None:
    findings = [found("set_aside", 3), found("set_aside", 3, "y"), found("set_aside", 4), found("waiting", 9)]
    told = replace(month(), findings=[*findings, found("warning", 5), found("dropped", 6)])
    assert said(rejected.sentence(told)) == (
        "2 rows are set aside, and 1 more waits for them; what they hold is in no figure above."
    )
    assert said(rejected.sentence(month())) == "Every row of the files is counted: none is set aside."
    assert said(front.warning(told)) == "2 rows of the files cannot be counted: see Rows to mend."
    assert [said(note) for note in rejected.notes(told)] == [
        "1 row with a cell that could not be used: counted all the same.",
        "1 row with a warning: counted all the same.",
    ]


def coloured(*begun: str, shown: Sequence[str] = ()) -> Mapping[str, str]:
    """The colours of strains: in the order begun; `shown`: of the month's tables alone."""
    rows = [{"strain": name, "first_on": FIRST} for name in begun]
    return strain_colours(month(strains_begun=rows, finished_units=[{"strain": name} for name in shown]))


def test_a_strain_has_one_colour_and_the_fifth_shares_a_grey() -> None:
    firsts = {"f": "strain-blue", "d": "strain-golden", "b": "strain-green", "c": "strain-sky"}
    assert coloured("f", "d", "b", "c", "a", shown=["z"]) == firsts | dict.fromkeys("az", "strain-other")


names = st.lists(st.sampled_from(["blue", "Blue 2", "pink", "grey", "white", "A", "B", "C", "D", "E"]), unique=True)


@given(begun=names)
def test_a_strain_keeps_its_colour_and_wears_no_other_ones_name(begun: list[str]) -> None:
    whole = coloured(*begun)
    for until in range(len(begun)):
        assert coloured(*begun[:until]).items() <= whole.items()
    for name, colour in whole.items():
        told = {"blue": "strain-blue", "pink": "strain-pink", "grey": "strain-grey", "white": "strain-other"}
        own = told.get(name.casefold().split()[0])
        assert own is None or colour in (own, "strain-other"), (name, colour)
        assert own or colour not in ("strain-pink", "strain-grey"), (name, colour)
    worn = [colour for colour in whole.values() if colour != "strain-other"]
    assert len(worn) == len(set(worn))


def test_words_of_cells_are_readable_and_cannot_turn_the_text_around_them() -> None:
    assert spoken("treatment", "cold_lime") == "cold lime"
    assert spoken("treatment", "my_own") == "my_own"
    assert spoken("cause", "green_mould") == "green mould"
    assert spoken("wait", "flush_2_to_3") == "flush 2 to 3"
    assert spoken("strain", " ") == "not noted"
    assert visible("a\u202eb\tc\x00") == "ab c\ufffd"
    assert isolated("\u05d0") == "\u2068\u05d0\u2069"
    assert isolated("grey") == "grey"
    assert plain((Name("x\u2066"), ".")) == "x."


def test_what_varies_has_the_name_of_its_column_and_a_day_its_words() -> None:
    named = ("volume_l", "treatment_h", "spawn_rate", "ph_end")
    assert [spoken("factor", each) for each in named] == ["volume", "hours of treatment", "spawn rate", "pH at the end"]
    assert [spoken("of", each) for each in ("be", "margin")] == ["BE", "margin"]
    assert with_days_named("From 2026-06-02 on.") == "From 2 June 2026 on."


def test_a_batch_weighed_together_is_named_whole() -> None:
    """Its one unit is no container: S08 has five of them, and B1 is one by itself."""
    course = {"units": 1, "units_running": 0, "units_lost": 0, "fresh_g": 5360.0, "inoculated_on": FIRST}
    course |= dict.fromkeys(("pins_on", "first_picked_on", "ended_on"))
    kind = {"soak": "S", "strain": "grey", "substrate": "straw", "treatment": "", "spawn_form": "", "kind": "bag"}
    told = month(
        batch_courses=[course | {"batch": name} for name in ("B1", "S08")],
        batch_kinds=[kind | {"batch": name, "containers": n} for name, n in (("B1", 1), ("S08", 3), ("S08", 2))],
        batch_pickings=[],
    )
    (chart,) = courses.courses_charts(told)
    assert chart.facts == ("B1: 5.36 kg from 1, running", "S08: 5.36 kg, whole batch, running")
    assert said(courses.sentence(told)) == "2 batches were running in the month; none still goes on."


def test_the_month_before_january_is_december() -> None:
    assert first_day(date(2026, 1, 1), 1) == date(2025, 12, 1)
    assert first_day(date(2026, 12, 1), -1) == date(2027, 1, 1)


def test_a_source_that_points_to_another_column_is_that_ones() -> None:
    entries = {entry.name: entry for entry in definitions({"losses"}, losses.VIEWS)[0].entries}
    assert entries["high_pct"].source == entries["low_pct"].source != ""
    assert entries["lost_pct"].unit == "%"
