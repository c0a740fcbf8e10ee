"""From a lot, a soak, a batch, a container or a day: does a trace find what belongs to it, all of it, and no more?"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from conftest import write_table
from ledgers import refreshed

from pipeline.farm.folder import open_farm
from pipeline.models import measures
from pipeline.models.trace_tables import TraceQuery
from pipeline.models.view import Ledger, Query
from pipeline.models.view import opened as opened_ledger
from pipeline.trace.trace import trace
from schemas.finding import WrongRequest

DEMO = Path(__file__).resolve().parents[1] / "demo_data"
LAST_DAY = date(2026, 9, 30)
AS_OF = date(2026, 3, 10)
# Two batches of one soak with two lots, one more batch of the first lot, one of neither; container 1 is filled again.
TABLES = {
    "batches": """
        batch,inoculated_on,soak,spawn_lot
        A,2026-01-01,S1,L1
        B,2026-01-01,S1,L2
        C,2026-01-10,,L1
        D,2026-03-01,,L3
        """,
    "fillings": """
        batch,container,room,position
        A,1,cellar,top
        A,2,,
        B,3,,
        C,4,,
        D,1,,
        """,
    "observations": """
        seen_on,event,container,cause
        2026-01-20,contaminated,2,green_mould
        """,
    "harvests": """
        picked_on,fresh_weight_g,container,picker
        2026-02-01,300,1,M
        2026-02-01,250,3,
        2026-02-15,150,1,M
        2026-02-15,90,4,
        2026-03-08,500,1,
        """,
}


PICKED_OF_E = "picked_on,fresh_weight_g,batch\n2026-02-10,400,E\n2026-02-11,300,E"


def asked(folder: Path, as_of: date = AS_OF, **wanted: Any) -> dict[str, list[dict[str, Any]]]:
    refreshed(folder)
    opened = open_farm(folder)
    with opened_ledger(opened.ledger, opened.settings) as ledger:
        return trace(ledger.view(Query(as_of)), TraceQuery(**wanted))


def related(tables: dict[str, list[dict[str, Any]]]) -> dict[str, str]:
    return {row["batch"]: row["relation"] for row in tables["trace_batches"]}


def places(tables: dict[str, list[dict[str, Any]]]) -> list[tuple[str, str, str]]:
    return [(row["batch"], row["container"], row["state"]) for row in tables["trace_containers"]]


def picked(tables: dict[str, list[dict[str, Any]]]) -> list[tuple[str, str, float, bool]]:
    return [
        (row["picked_on"].isoformat(), row["container"], row["fresh_g"], row["asked"])
        for row in tables["trace_pickings"]
    ]


def test_a_lot_leads_to_its_batches_containers_and_pickings_and_to_no_other(farm: Callable[..., Path]) -> None:
    found = asked(farm(**TABLES), spawn_lot="L1")
    assert related(found) == {"A": "traced", "C": "traced", "B": "same soak"}
    assert places(found) == [("A", "1", "refilled"), ("A", "2", "contaminated"), ("C", "4", "running")]
    assert picked(found) == [
        ("2026-02-01", "1", 300, True),
        ("2026-02-15", "1", 150, True),
        ("2026-02-15", "4", 90, True),
    ]
    first = found["trace_containers"][0]
    assert (first["room"], first["position"], first["closed_on"]) == ("cellar", "top", date(2026, 3, 1))
    traced, near, rest = found["trace_losses"]
    assert [(row["who"], row["containers"], row["lost"], row["not_yet"]) for row in (traced, near, rest)] == [
        ("traced", 3, 1, 0),
        ("near", 1, 0, 0),  # B; D was inoculated 50 days after C
        ("rest", 2, 0, 0),
    ]
    assert (traced["soaks"], traced["soaks_with_loss"]) == (2, 1)
    assert traced["lost_pct"] == pytest.approx(100 / 3)


def test_a_container_leads_up_to_all_batches_it_was_filled_from(farm: Callable[..., Path]) -> None:
    found = asked(farm(**TABLES), container="1")
    assert related(found) == {"A": "traced", "D": "traced", "B": "same soak", "C": "same spawn lot"}
    assert [row["fresh_g"] for row in found["trace_containers"]] == [450, 500]
    assert [row["spawn_lot"] for row in found["trace_batches"][:2]] == ["L1", "L3"]


def test_a_day_leads_to_what_was_picked_then_and_to_what_else_the_same_containers_gave(
    farm: Callable[..., Path],
) -> None:
    found = asked(farm(**TABLES), picked=date(2026, 2, 1))
    assert places(found) == [("A", "1", "refilled"), ("B", "3", "running")]
    assert picked(found) == [
        ("2026-02-01", "1", 300, True),
        ("2026-02-01", "3", 250, True),
        ("2026-02-15", "1", 150, False),
    ]


def test_several_things_asked_must_all_hold(farm: Callable[..., Path]) -> None:
    folder = farm(**TABLES)
    assert places(asked(folder, soak="S1", spawn_lot="L2")) == [("B", "3", "running")]
    assert places(asked(folder, soak="C")) == [("C", "4", "running")]  # a batch without a soak is its own
    with pytest.raises(WrongRequest, match=r"No container fits all of what was asked as of 2026-03-10. Ask for less"):
        asked(folder, batch="D", spawn_lot="L1")


def test_a_soak_s_name_means_the_soak_and_not_a_batch_that_is_called_so(farm: Callable[..., Path]) -> None:
    folder = farm(**{**TABLES, "batches": TABLES["batches"].rstrip() + "\n        S1,2026-01-05,,L9"})
    assert set(related(asked(folder, soak="S1"))) == {"A", "B", "C"}


def test_a_batch_without_filling_rows_is_one_place_with_all_that_it_gave(farm: Callable[..., Path]) -> None:
    batches = TABLES["batches"].rstrip() + "\n        E,2026-01-05,,L9"
    found = asked(farm(**{**TABLES, "batches": batches, "harvests": PICKED_OF_E}), batch="E")
    assert places(found) == [("E", "", "running")]
    assert [row["fresh_g"] for row in found["trace_containers"]] == [700]
    assert found["trace_batches"][0]["fresh_g"] == 700


def test_what_is_later_than_the_as_of_date_is_not_there(farm: Callable[..., Path]) -> None:
    folder = farm(**TABLES)
    early = asked(folder, date(2026, 1, 15), spawn_lot="L1")
    assert places(early) == [("A", "1", "running"), ("A", "2", "running"), ("C", "4", "running")]
    assert early["trace_pickings"] == []
    assert early["trace_losses"][0]["lost_pct"] is None
    with pytest.raises(WrongRequest, match=r"--spawn-lot L3: no spawn lot is called so as of 2026-01-15\."):
        asked(folder, date(2026, 1, 15), spawn_lot="L3")


def test_what_was_weighed_together_is_listed_and_never_divided(farm: Callable[..., Path]) -> None:
    tables = {**TABLES, "harvests": "picked_on,fresh_weight_g,batch\n2026-01-15,800,A\n2026-02-01,400,A"}
    found = asked(farm(**tables), container="2")
    # Container 2 was thrown out on 20 January: nothing of February can be of it.
    assert picked(found) == [("2026-01-15", "", 800, True)]
    assert [row["fresh_g"] for row in found["trace_containers"]] == [0]
    assert places(asked(farm(**tables), picked=date(2026, 2, 1))) == [("A", "1", "refilled")]


def test_rows_set_aside_and_waiting_that_belong_to_it_are_told(farm: Callable[..., Path]) -> None:
    folder = farm(**TABLES)
    write_table(folder, "batches", TABLES["batches"].rstrip() + "\n        E,2026-01-12,,L1\n        E,2026-01-13,,L1")
    write_table(folder, "fillings", TABLES["fillings"].rstrip() + "\n        E,9,,\n        E,8,x,\n        E,8,y,")
    write_table(
        folder,
        "harvests",
        "picked_on,fresh_weight_g,container\n2026-02-01,300,1\nsoon,80,4\n2026-02-05,70,9\n2025-12-01,60,3\n2026-02-06,50,8",
    )
    found = asked(folder, spawn_lot="L1")
    aside = [(row["file"], row["row"], row["level"], row["batch"], row["fresh_g"]) for row in found["trace_rejected"]]
    assert aside == [
        ("batches.csv", 6, "set_aside", "E", None),
        ("batches.csv", 7, "set_aside", "E", None),
        ("fillings.csv", 7, "waiting", "E", None),
        ("fillings.csv", 8, "set_aside", "E", None),
        ("fillings.csv", 9, "set_aside", "E", None),
        ("harvests.csv", 3, "set_aside", "C", 80),  # its day cannot be read, but 4 was filled once only
        ("harvests.csv", 4, "waiting", "E", 70),
        ("harvests.csv", 6, "waiting", "E", 50),
    ]
    assert [row["row"] for row in asked(folder, batch="E")["trace_rejected"]] == [6, 7, 7, 8, 9, 4, 6]
    assert [row["row"] for row in asked(folder, container="9")["trace_rejected"]] == [7, 4]
    assert [row["row"] for row in asked(folder, date(2026, 2, 4), container="9")["trace_rejected"]] == [7]
    assert [row["row"] for row in asked(folder, picked=date(2026, 2, 5))["trace_rejected"]] == [4]


def test_row_order_does_not_matter(farm: Callable[..., Path]) -> None:
    def told(tables: dict[str, str]) -> Any:
        found = asked(farm(**tables), spawn_lot="L1")
        return {name: [{**row, "row": 0} for row in rows] for name, rows in found.items()}

    def turned(text: str) -> str:
        head, *rows = [line.strip() for line in text.strip().splitlines()]
        return "\n".join([head, *reversed(rows)])

    assert told(TABLES) == told({name: turned(text) for name, text in TABLES.items()})


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Ledger]:
    folder = tmp_path_factory.mktemp("trace") / "farm"
    shutil.copytree(DEMO, folder)
    refreshed(folder)
    opened = open_farm(folder)
    with opened_ledger(opened.ledger, opened.settings) as ledger:
        yield ledger


def test_every_lot_of_the_demo_farm_and_the_rest_are_the_whole(demo: Ledger) -> None:
    view = demo.view(Query(LAST_DAY, ("spawn_lot",)))
    yields = {row["spawn_lot"]: row for row in measures.yields(view)}
    by_container = measures.losses(view.by("batch", "container"))
    pooled = view.connection.execute("select distinct batch from unit_states where container is null").fetchall()
    whole = set()
    for lot, row in yields.items():
        found = trace(demo.view(Query(LAST_DAY)), TraceQuery(spawn_lot=lot))
        assert sum(each["fresh_g"] for each in found["trace_pickings"]) == pytest.approx(float(row["fresh_g"]))
        traced = [each for each in found["trace_batches"] if each["relation"] == "traced"]
        assert sum(each["fresh_g"] for each in traced) == pytest.approx(float(row["fresh_g"]))
        mine = {each["batch"] for each in traced}
        # Of batches that were not weighed together, what was lost is the same by another way.
        single = mine - {name for (name,) in pooled}
        expected = sum(each["lost"] for each in by_container if each["batch"] in single)
        assert sum(each["lost"] for each in traced if each["batch"] in single) == expected
        losses = {each["who"]: each for each in found["trace_losses"]}
        whole.add(losses["traced"]["containers"] + losses["rest"]["containers"])
        assert losses["near"]["containers"] <= losses["rest"]["containers"]
    assert len(whole) == 1


def test_the_bucket_that_keeps_failing_is_traced_to_its_losses(demo: Ledger) -> None:
    found = trace(demo.view(Query(LAST_DAY)), TraceQuery(container="B17"))  # planted: FAILING_CONTAINER in TRUTH.json
    losses = {each["who"]: each for each in found["trace_losses"]}
    assert losses["traced"]["lost_pct"] == 100
    assert losses["rest"]["lost_pct"] < 20
