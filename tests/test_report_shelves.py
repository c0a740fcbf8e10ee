"""The map of the shelves: what each written position gave and lost, in walking order; nothing where none is written."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from report_months import HOSTILE, a_month

from pipeline.cli.farm_access import read_ledger
from pipeline.farm.folder import open_farm
from pipeline.models.measures import positions
from pipeline.models.view import Query
from reports.figures import plain
from reports.month import Month
from reports.page import main_sections, render
from reports.sections import shelves

BATCHES = (
    "batch,inoculated_on,strain,substrate,substrate_dry_kg,containers_filled\n"
    "A,2026-01-05,grey,straw,4,4\nZ,2026-01-05,grey,straw,2,2\n"
)
HARVESTS = "picked_on,fresh_weight_g,container,batch\n2026-02-01,500,1,A\n2026-02-03,700,2,A\n2026-02-03,900,,Z\n"
OBSERVATIONS = "seen_on,event,container,batch\n2026-02-10,emptied,1,A\n2026-01-20,contaminated,3,A\n"


def told(folder: Path) -> list[dict[str, Any]]:
    with read_ledger(open_farm(folder), "test") as ledger:
        return [dict(row) for row in positions(ledger.view(Query(date(2026, 2, 20))))]


def test_each_position_has_what_its_containers_gave_and_lost(farm: Callable[..., Path]) -> None:
    fillings = "batch,container,room,position\nA,1,north,B10\nA,2,north,B2\nA,3,north,B2\nA,4,north,\nZ,5,north,B3\n"
    rows = told(farm(batches=BATCHES, fillings=fillings, harvests=HARVESTS, observations=OBSERVATIONS))
    # B2 is come by before B10; what was weighed for batch Z together is of no place.
    assert [(row["room"], row["position"], row["units"], row["lost"], row["fresh_g"]) for row in rows] == [
        ("north", "B2", 2, 1, 700.0),
        ("north", "B10", 1, 0, 500.0),
    ]
    # 500 g over a quarter of 4 kg; and B2's finished container gave nothing, so it has no BE.
    assert [row["be_pct"] for row in rows] == [None, pytest.approx(50.0)]
    assert [row["units_running"] for row in rows] == [1, 0]


def test_without_positions_there_is_nothing_at_all(farm: Callable[..., Path]) -> None:
    folder = farm(batches=BATCHES, fillings="batch,container\nA,1\nA,2\n", harvests=HARVESTS)
    assert told(folder) == []
    assert shelves.section(a_month()) is None
    assert "shelves" not in [each.id for each in main_sections(a_month())]


def placed(*rows: tuple[str, str, float, int]) -> Month:
    made = [
        {"room": room, "position": position, "units": 3, "units_running": 0, "lost": lost}
        | {"fresh_g": kg * 1000, "be_pct": None}
        for room, position, kg, lost in rows
    ]
    month = a_month()
    return replace(month, tables={**month.tables, "positions": made})


def test_the_map_has_a_line_a_shelf_a_number_a_square_and_a_mark_for_what_was_lost() -> None:
    month = placed(("n", "A1", 2.0, 0), ("n", "A2", 0.0, 3), ("n", "B1", 5.5, 1), ("s", "A1", 1.0, 0))
    north, south = shelves.shelves_charts(month)
    assert [(row["line"], row["column"]) for row in north.rows] == [(0, 0), (0, 1), (1, 0)]
    assert (north.subject, south.subject) == ("n", "s")
    assert [fact.split(": ")[1] for fact in north.facts] == [
        "2.00 kg of 3 containers",
        "0.00 kg of 3 containers, 3 lost",
        "5.50 kg of 3 containers, 1 lost",
    ]
    assert north.title.endswith("; \u2715 containers lost")
    assert south.title.endswith("so far")
    made = shelves.section(month)
    assert made is not None
    said = plain(made.sentence).replace("\u00a0", " ")
    assert said == "Position n B1 gave most so far: 5.50 kg from 3 containers."
    assert 'id="chart-shelves-1"' in render(month)


def test_many_positions_and_rooms_say_of_how_many_they_show_some() -> None:
    many = placed(*((f"room {at}", f"{letter}{at}", 1.0, 0) for at in range(5) for letter in "ABCDEFGHIJKLMNOP"))
    found = shelves.shelves_charts(many)
    assert len(found) == shelves.ROOMS_SHOWN
    assert found[-1].part == "The first 12 of 16 positions. The first 3 of 5 rooms."


def test_names_of_places_are_text() -> None:
    page = render(placed(*((name, name, 1.0, 1) for name in HOSTILE)))
    assert HOSTILE[0] not in page
