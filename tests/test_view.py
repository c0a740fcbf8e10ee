"""A view of the ledger tells of its own day and groups, or refuses."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from pipeline.farm.folder import open_farm
from pipeline.ledger.refresh import refresh
from pipeline.models import measures
from pipeline.models.view import LedgerView, Made, Query, opened

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
