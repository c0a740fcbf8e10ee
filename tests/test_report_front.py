"""Page one: the finding, four figures beside earlier months, what to do next, one warning; and the brief page."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from report_months import CASES, FIRST, LAST, Unit, a_month, found
from report_reader import read_page

from reports import front, page
from reports.figures import plain
from reports.month import Month
from reports.next_steps import next_steps
from reports.sections import picked


def said(sentence: Any) -> str:
    return plain(sentence).replace("\u00a0", " ")


def tile(month: Month, what: str) -> tuple[str, list[str]]:
    (found,) = [each for each in front.tiles(month) if each.what == what]
    shown = f"{found.figure.full} ".replace("\u00a0", " ") if found.figure else ""
    return shown + said(found.rests_on), [said(each) for each in found.before]


def test_the_finding_is_what_was_picked_and_the_batch_that_was_lost() -> None:
    lost = [Unit("B2", str(at), flushes=()) for at in range(3)]
    month = a_month([Unit(), *lost], before=[("2026-08", 1200.0)])
    assert [said(each) for each in front.headline(month)] == [
        "0.90 kg was picked and counted in September 2026, 25 % less than in August.",
        "Batch B2 lost 3 of 3 containers.",
    ]
    assert [said(each) for each in front.headline(replace(month, tables={}))] == [
        "Nothing was picked in September 2026."
    ]


def test_a_month_that_goes_on_is_not_compared() -> None:
    month = a_month([Unit()], before=[("2026-08", 1200.0)], as_of=date(2026, 9, 14))
    assert said(front.headline(month)[0]) == "0.90 kg was picked and counted in September 2026 so far."


def test_each_tile_stands_beside_the_month_before_and_the_same_month_of_last_year() -> None:
    month = a_month([Unit(), Unit("B", "2", flushes=())], before=[("2025-09", 800.0), ("2026-08", 1200.0)])
    assert tile(month, "Picked") == (
        "0.90 kg at least 0.25 kg more is not counted yet",
        ["Aug 2026: 1.20 kg", "Sep 2025: 0.80 kg"],
    )
    assert tile(month, "Lost") == ("1 of 2 containers that ended", [])
    assert tile(a_month(), "Next four weeks") == ("cannot be foreseen yet", [])


def test_money_has_a_tile_where_books_are_kept_and_says_what_its_cost_lacks() -> None:
    month = a_month([Unit()], before=[("2025-09", 800.0), ("2026-08", 1200.0)])
    assert tile(month, "BE of what finished")
    paid = {"sold_g": 2000.0, "revenue": 20.0, "cost": 12.5, "margin": 7.5, "cost_per_kg": 13.89}
    paid |= {"lacks": "spawn (price), lime (price)"}
    months = [{**row, **paid} if row["month"] == "2026-09" else row for row in month.rows("months")]
    months[1] |= {"margin": -3.0, "lacks": ""}
    month = replace(month, tables={**month.tables, "months": months}, currency="EUR")
    assert [each.what for each in front.tiles(month)] == ["Picked", "Margin, EUR", "Lost", "Next four weeks"]
    assert tile(month, "Margin, EUR") == (
        "7.50 left: sales of 20.0 less costs of 12.5. Too high: the cost lacks spawn (price) and lime (price)",
        ["Aug 2026: -3.00"],
    )
    # A farm without a sale in its books: what was picked counts at its price.
    unsold = [{**row, "sold_g": 0.0, "lacks": ""} if row["month"] == "2026-09" else row for row in months]
    text, _ = tile(replace(month, tables={**month.tables, "months": unsold}), "Margin, EUR")
    assert text == "7.50 left: 20.0 for what was picked, at its price, less costs of 12.5"


def due(action: str, reason: str, container: str, day: int) -> dict[str, Any]:
    where = {"room": None, "position": None, "container": container, "batch": "B1", "flush": None, "command": None}
    return {
        "action": action,
        "reason": reason,
        "since": date(2026, 9, day),
        "days": 30 - day,
        "usual_days": None,
    } | where


def test_what_to_do_next_is_three_lines_with_what_and_since_when() -> None:
    rows = [due("pick", "pins", f"C{at}", 20 + at) for at in range(6)]
    rows += [due("fill", "emptied", "C9", 2), due("look", "suspect", "C7", 28), due("open", "colonised", "C8", 3)]
    month = replace(a_month([Unit()]), tables={"today": rows}, findings=[found("set_aside", 3, waiting=4)])
    assert [said(each) for each in next_steps(month)] == [
        "Look first at C7 (suspect since 28 Sep 2026).",
        "Pick C0 (due since 20 Sep 2026), C1, C2, C3 and others.",
        "Mend row 3 of harvests.csv: other rows wait for it. gillbook check shows what is wrong.",
    ]
    assert said(next_steps(replace(month, findings=()))[2]) == "Open C8 (colonised on 3 Sep 2026)."
    assert next_steps(replace(month, tables={}, findings=())) == []


def test_the_oldest_that_is_due_comes_first_with_the_place_where_it_stands() -> None:
    rows = [due("pick", "pins", "C1", 20), due("pick", "pins", "C2", 3) | {"room": "tent", "position": "A4"}]
    (line,) = next_steps(replace(a_month(), tables={"today": rows}))
    assert said(line) == "Pick C2 (tent, A4, due since 3 Sep 2026) and C1."


def test_two_bad_batches_of_a_soak_are_one_finding_and_a_loss_of_earlier_months_is_none() -> None:
    lost = [Unit(name, f"{name}{at}", flushes=()) for name in ("B2", "B3") for at in range(3)]
    month = a_month([Unit(), *lost])
    assert said(front.headline(month)[1]) == "Batch B2 lost 3 of 3 containers, and B3 of the same soak 3 of 3."
    units = [row for row in month.rows("finished_units") if row["fresh_g"]]
    assert len(front.headline(replace(month, tables={**month.tables, "finished_units": units}))) == 1


def test_what_the_records_show_to_give_more_stands_on_page_one_without_its_figures() -> None:
    month = a_month([Unit(), Unit("B", "2", substrate="mulch")])
    pair = next(iter(month.rows("compared_pairs")))
    shown = {"direction": "less", "worth": "worth it", "factor": "strain", "level": "pink", "against": "grey"}
    of = {**month.tables, "compared_pairs": [{**pair, **shown, "difference": -30.0, "measure": "be"}]}
    assert (
        said(front.shown(replace(month, tables=of)))
        == "The records show: per kg of dry substrate, grey gives more than pink."
    )
    assert front.shown(replace(month, tables={})) == ()


def test_the_months_begin_with_the_first_picking_and_the_best_says_its_mass() -> None:
    (chart,) = picked.months_chart(
        a_month([Unit()], before=[("2026-05", 0.0), ("2026-06", 3000.0), ("2026-07", 100.0), ("2026-08", 200.0)])
    )
    assert [fact.split()[0] for fact in chart.facts] == ["Jun", "Jul", "Aug", "Sep"]
    assert chart.keys == ()
    texts = next(layer for layer in chart.spec["layer"] if layer["mark"]["type"] == "text")
    values = texts["data"]["values"] if "values" in texts["data"] else chart.spec["datasets"][texts["data"]["name"]]
    assert [row["kg"] for row in values] == [3.0, 0.2, 0.9]


def test_the_brief_page_is_the_first_page_alone() -> None:
    month = CASES["first_month"]()
    whole, brief = read_page(page.render(month)), read_page(page.render(month, brief=True))
    assert brief.charts.keys() == {chart.id for chart in page.charts(month) if chart.id == "months"}
    first = [text for _, text in whole.figures]
    assert [text for _, text in brief.figures] == first[: len(brief.figures)]
    assert 4 <= len(brief.figures) < len(first) / 10
    assert "Appendix" not in brief.text
    assert (date(2026, 9, 1), date(2026, 9, 30)) == (FIRST, LAST)
