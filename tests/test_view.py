"""A view of the ledger tells of its own day and groups, or refuses."""

from __future__ import annotations

import ast
import os
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from pipeline.farm.folder import open_farm
from pipeline.ledger.refresh import refresh
from pipeline.models import measures, view
from pipeline.models.view import LedgerView, Made, Query, open_ledger, opened

ROOMS = ("compare", "growth", "spawn", "outlook", "planning", "trial", "trace")
# What a view has for loaders alone: rooms above take what a loader of pipeline/models gives.
FOR_LOADERS = {"records", "tuples", "arrays", "set_variables", "make", "connection", "of_fillings"}
MakeFarm = Callable[..., Path]
FARM = {
    "batches": "batch,inoculated_on,substrate\nA,2026-01-01,straw\nB,2026-02-01,mulch",
    "fillings": "batch,container\nA,1\nA,2\nB,3",
    "harvests": "picked_on,fresh_weight_g,container\n2026-02-10,100,1",
}


def test_views_of_one_day_find_their_own_groups(farm: MakeFarm) -> None:
    made = open_farm(farm(**FARM))
    refresh(made, "test")
    with opened(made.ledger, made.settings) as ledger:
        by_batch = ledger.view(Query(date(2026, 3, 1), ("batch",)))
        whole = by_batch.by()
        assert [row["units"] for row in measures.yields(whole)] == [3]
        assert [row["units"] for row in measures.yields(by_batch)] == [2, 1]
        assert measures.losses(by_batch.by("container"))[0]["container"] == "1"
        assert list(by_batch.groups().values()) == [{"batch": "A"}, {"batch": "B"}]


def test_groups_are_not_made_anew_while_they_stay_the_same(farm: MakeFarm) -> None:
    made = open_farm(farm(**FARM))
    refresh(made, "test")
    with opened(made.ledger, made.settings) as ledger:
        whole = ledger.view(Query(date(2026, 3, 1)))
        assert len(measures.losses(whole.by("batch"))) == 2
        ledger.connection.execute("delete from unit_groups")
        assert measures.losses(whole.by("batch")) == []
        assert len(measures.losses(whole.by("substrate"))) == 2


def test_a_view_refuses_once_another_has_replaced_its_tables(farm: MakeFarm) -> None:
    made = open_farm(farm(**FARM))
    refresh(made, "test")
    with opened(made.ledger, made.settings) as ledger:
        early = ledger.view(Query(date(2026, 1, 15)))
        late = ledger.view(Query(date(2026, 3, 1)))
        assert measures.yields(late)[0]["units"] == 3
        with pytest.raises(RuntimeError, match="a newer view"):
            measures.yields(early)
        with pytest.raises(RuntimeError, match="a newer view"):
            early.by("batch")


def test_a_view_without_unit_tables_cannot_be_read(farm: MakeFarm) -> None:
    made = open_farm(farm(**FARM))
    refresh(made, "test")
    with opened(made.ledger, made.settings) as ledger:
        unprepared = LedgerView(ledger.connection, made.settings, Made(), Query(date(2026, 3, 1)))
        with pytest.raises(RuntimeError):
            measures.yields(unprepared)


def read_by(source: str) -> list[str]:
    """What of a view is for loaders alone and is used in this source, with its line."""
    found = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Attribute)]
    return [f"{each.lineno} {each.attr}" for each in found if each.attr in FOR_LOADERS]


@pytest.mark.parametrize("room", ROOMS)
def test_rooms_read_models_through_loaders(room: str) -> None:
    modules = sorted((Path(__file__).parent.parent / "pipeline" / room).glob("*.py"))
    assert modules
    found = [f"{path.name}:{each}" for path in modules for each in read_by(path.read_text(encoding="utf-8"))]
    assert found == []


def test_a_room_that_reads_a_model_itself_is_found() -> None:
    assert read_by('rows = view.by("batch").records("yields")') == ["1 records"]


def test_a_small_ledger_is_read_by_one_thread(farm: MakeFarm, monkeypatch: pytest.MonkeyPatch) -> None:
    made = open_farm(farm(**FARM))
    refresh(made, "test")

    def threads() -> list[tuple[int]]:
        with open_ledger(made.ledger) as con:
            return con.execute("select current_setting('threads')").fetchall()

    assert threads() == [(1,)]
    monkeypatch.setattr(view, "ONE_THREAD_BELOW", 0)
    assert threads() == [(os.cpu_count(),)]
