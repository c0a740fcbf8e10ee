"""What the report says of promises: how many are likely met, which are at risk, and what would help."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from report_months import Unit, a_month
from report_reader import read_page

from reports import page
from reports.figures import plain
from reports.month import Month
from reports.next_steps import next_steps
from reports.sections import promises


def chance(day: int, pct: float, buyer: str = "inn", **other: Any) -> dict[str, Any]:
    nothing = dict.fromkeys(("more_containers", "more_of", "inoculate_by"))
    row = {"due_on": date(2026, 10, day), "buyer": buyer, "strain": "", "promised_kg": 2.5, "chance_pct": pct}
    return row | {"median_kg": 2.0, "low80_kg": 1.0, "enough": pct >= 80} | nothing | other


def promising(*rows: dict[str, Any]) -> Month:
    month = a_month([Unit()])
    room = [{"due_on": date(2026, 10, 4), "promised_kg": 2.5, "more80_kg": 1.25, "more95_kg": 0.5, "median_kg": 3.0}]
    return replace(month, tables={**month.tables, "promise_chances": rows, "promise_room": room})


def said(sentence: Any) -> str:
    return plain(sentence).replace("\u00a0", " ")


def test_promises_at_risk_are_spelled_out_with_what_helps() -> None:
    month = promising(
        chance(2, 96.0),
        chance(3, 12.5, "", more_containers=None),
        chance(9, 60.0, more_containers=4, more_of="grey on straw", inoculate_by=date(2026, 9, 8)),
    )
    section = promises.section(month)
    assert section is not None
    assert said(section.sentence) == "1 of 3 promises ahead are safe: kept in at least four of five cases."
    assert [said(each) for each in section.notes] == [
        "2.50 kg for 3 Oct 2026: a chance of 12.5 %. No container that is begun now comes in time.",
        "2.50 kg to inn for 9 Oct 2026: a chance of 60.0 %. "
        "It helps to begin 4 more containers of grey on straw by 8 Sep 2026.",
    ]
    assert said(next_steps(month)[0]) == "Warn the buyer: 2.50 kg for 3 Oct 2026 will be there with a chance of 12.5 %."


def test_next_to_no_chance_is_no_number() -> None:
    month = promising(chance(3, 0.2))
    section = promises.section(month)
    assert section is not None
    assert said(section.notes[0]).startswith("2.50 kg to inn for 3 Oct 2026: hardly any chance. No container")
    assert said(next_steps(month)[0]) == "Warn inn: of 2.50 kg for 3 Oct 2026 about 2.00 kg will be there."


def test_more_than_three_at_risk_say_how_many_there_are() -> None:
    section = promises.section(promising(*(chance(day, 10.0) for day in range(1, 6))))
    assert section is not None
    assert len(section.notes) == promises.NAMED + 1
    assert said(section.notes[-1]) == "The first 3 of 5 promises at risk."


def test_a_month_without_promises_has_no_such_section() -> None:
    month = a_month([Unit()])
    assert promises.section(month) is None
    assert "What is promised" not in read_page(page.render(month)).text
    assert not any("Warn" in said(each) for each in next_steps(month))


def test_the_page_shows_chances_and_how_much_more_can_be_promised() -> None:
    shown = read_page(page.render(promising(chance(2, 96.0)))).text
    assert "What is promised, in the order of its days" in shown
    assert "How much more can be promised, each day by itself" in shown
