"""What is to be done today: by what was noted, and by the farm's own waits."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from ledgers import here

from schemas.contract import contract

Farm = Callable[..., Path]
DEMO = Path(__file__).resolve().parents[1] / "demo_data"
TYPES = {"integer": int, "number": (int, float), "string": str, "date": str}


def today(folder: Path, as_of: str) -> dict[str, set[tuple[str | None, str]]]:
    """By action: which containers, and why?"""
    found: dict[str, set[tuple[str | None, str]]] = {}
    for row in here("today", "--json", "--as-of", as_of, "--farm", folder).json:
        found.setdefault(row["action"], set()).add((row["container"], row["reason"]))
    return found


BATCHES = "batch,inoculated_on\nA,2026-01-01"
FILLINGS = "batch,container\nA,1\nA,2\nA,3\nA,4\nA,5\nA,6"


def test_each_container_is_told_what_it_needs(farm: Farm) -> None:
    folder = farm(
        batches=BATCHES,
        fillings=FILLINGS,
        observations="seen_on,event,container,flush\n"
        "2026-01-15,colonised,1,\n"  # to be opened
        "2026-01-15,opened,2,\n2026-01-18,pins,2,1\n"  # pins are ready after three days (2.80 d in print)
        "2026-01-20,pins,3,1\n"  # younger: looked at
        "2026-01-19,suspect,4,\n"
        "2026-01-16,emptied,5,\n"
        "2026-01-10,opened,6,",  # no pins for over a week
        harvests="picked_on,fresh_weight_g,container\n",
    )
    assert today(folder, "2026-01-21") == {
        "open": {("1", "colonised")},
        "pick": {("2", "pins")},
        "look": {("3", "young pins"), ("4", "suspect"), ("4", "not colonised"), ("6", "no pins")},
        "fill": {("5", "emptied")},
    }
    # Picked, it is no longer to be picked; before its pins nobody knows of them.
    assert today(folder, "2026-01-17")["look"] >= {("3", "not colonised")}
    here("weigh", "2", "300", "--on", "2026-01-21", "--farm", folder)
    assert "pick" not in today(folder, "2026-01-21")


def test_the_next_flush_is_due_by_the_farms_own_waits(farm: Farm) -> None:
    # Five waits from the last picking of a flush to the next one's first: 10, 11, 12, 13, 14 days; the median is 12.
    rows = ["picked_on,fresh_weight_g,container,flush"]
    for at in range(5):
        rows += [f"2026-02-01,300,{at + 1},1", f"2026-02-{11 + at},200,{at + 1},2"]
    folder = farm(batches=BATCHES, fillings=FILLINGS, harvests="\n".join([*rows, "2026-02-14,300,6,1"]))
    assert "pick" not in today(folder, "2026-02-22")
    (due,) = here("today", "--json", "--as-of", "2026-02-23", "--farm", folder).json
    told = [due[name] for name in ("container", "reason", "flush", "days", "usual_days")]
    assert told == ["1", "flush due", 3, 12, 12]
    assert today(folder, "2026-02-26")["pick"] == {(str(at), "flush due") for at in (1, 2, 3, 4, 6)}
    said = here("today", "--as-of", "2026-02-26", "--farm", folder)
    assert "6          A      flush 2: last picked 12 days ago, usual 12" in said.out.splitlines()
    # Of four waits no usual one is told.
    (folder / "harvests.csv").write_text("\n".join([*rows[:9], ""]), encoding="utf-8")
    assert today(folder, "2026-02-26") == {"end": {("5", "silent"), ("6", "silent")}}


def test_what_fell_silent_comes_with_the_line_that_ends_it(farm: Farm) -> None:
    folder = farm(
        batches=BATCHES,
        fillings="batch,container\nA,tub 1\nA,2",
        harvests="picked_on,fresh_weight_g,container\n2026-02-01,300,tub 1",
    )
    rows = here("today", "--json", "--as-of", "2026-03-10", "--farm", folder).json
    told = {row["container"]: row for row in rows if row["action"] == "end"}
    assert told["tub 1"]["command"] == 'gillbook note "tub 1" emptied --batch A --on 2026-02-01'
    assert {row["reason"] for row in told.values()} == {"silent"}
    # Beyond lapse_days it is treated as ended; typed, the line ends it.
    assert ("tub 1", "lapsed") in today(folder, "2026-04-01")["end"]
    assert here("note", "tub 1", "emptied", "--batch", "A", "--on", "2026-02-01", "--farm", folder).code == 0
    assert today(folder, "2026-04-01") == {"end": {("2", "lapsed")}, "fill": {("tub 1", "emptied")}}


def test_nothing_to_do_is_said(farm: Farm) -> None:
    folder = farm(batches=BATCHES, fillings=FILLINGS, harvests="picked_on,fresh_weight_g,container\n")
    said = here("today", "--as-of", "2026-01-05", "--farm", folder)
    assert (said.code, said.out, said.err) == (0, "", "Nothing is to be done as of 2026-01-05.\n")
    assert here("today", "--json", "--as-of", "2026-01-05", "--farm", folder).json == []


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return shutil.copytree(DEMO, tmp_path_factory.mktemp("today") / "farm")


def test_columns_and_types_are_the_contracts_and_rows_are_in_the_order_of_the_shelves(demo: Path) -> None:
    rows: list[dict[str, Any]] = here("today", "--json", "--as-of", "2026-05-20", "--farm", demo).json
    assert {row["action"] for row in rows} == {"pick", "look", "open", "end", "fill"}
    table = contract("today")
    for row in rows:
        assert list(row) == list(table.names)
        for each in table.fields:
            assert row[each.name] is None or isinstance(row[each.name], TYPES[each.type]), (each.name, row[each.name])
        assert date.fromisoformat(row["since"]) <= date(2026, 5, 20)
        assert row["days"] == (date(2026, 5, 20) - date.fromisoformat(row["since"])).days
    free = [row["container"] for row in rows if row["action"] == "fill"]
    assert free == sorted(free)  # no rooms are noted on this farm, and its numbers are of one width
    assert len({(row["action"], row["reason"], row["container"], row["batch"]) for row in rows}) == len(rows)


def test_a_container_is_either_running_or_free(demo: Path) -> None:
    for as_of in ("2026-03-20", "2026-05-20", "2026-09-30"):
        free = {
            row["container"]
            for row in here("today", "--json", "--as-of", as_of, "--farm", demo).json
            if row["action"] == "fill"
        }
        running = {row["container"] for row in here("sheet", "--json", "--as-of", as_of, "--farm", demo).json}
        assert free
        assert running
        assert not free & running
