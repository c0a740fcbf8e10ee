"""The sums that the ledger keeps by container and flush are those of its pickings, whatever day is asked about."""

from __future__ import annotations

import random
from collections import defaultdict
from datetime import date, timedelta
from pathlib import Path

import pytest
from ledgers import refreshed
from small_farms import write_farm
from test_part_of_the_farm import FIRST, RandomFarm

from pipeline.farm.folder import open_farm
from pipeline.models.view import Query, opened

DAYS = [FIRST + timedelta(day) for day in (-1, *range(0, 145, 6), 400)]
EVERY_PICKING = "select batch_line, filling_line, flush, picked_on, fresh_weight_g, derived from harvest_assignments"
Sums = dict[tuple[int, int | None, int], tuple[date, date, object, int, int]]


def summed(pickings: list[tuple[int, int | None, int, date, object, bool]], as_of: date) -> Sums:
    """The sums by place and flush up to a day, one picking after another."""
    found = defaultdict(list)
    for batch, filling, flush, day, grams, derived in pickings:
        if day <= as_of:
            found[batch, filling, flush].append((day, grams, derived))
    return {
        key: (
            min(day for day, *_ in of),
            max(day for day, *_ in of),
            sum(grams for _, grams, _ in of),
            len(of),
            sum(derived for *_, derived in of),
        )
        for key, of in found.items()
    }


@pytest.mark.parametrize("seed", range(3))
def test_sums_of_any_day_are_those_of_its_pickings(tmp_path: Path, seed: int) -> None:
    made = RandomFarm(random.Random(seed), blank=True)
    write_farm(tmp_path, made.files, "")
    refreshed(tmp_path)
    farm, straddling = open_farm(tmp_path), 0
    with opened(farm.ledger, farm.settings) as ledger:
        pickings = ledger.connection.execute(EVERY_PICKING).fetchall()
        assert len(pickings) > 20
        assert any(filling is None for _, filling, *_ in pickings)
        for day in DAYS:
            view = ledger.view(Query(day))
            view.make("unit_flushes")
            told = view.connection.execute("select * from picked_so_far").fetchall()
            assert {row[:3]: row[3:] for row in told} == summed(pickings, day)
            assert len(told) == len({row[:3] for row in told})
            straddling += len(view.connection.execute("select * from straddling_flushes").fetchall())
    assert straddling > 0


def test_a_whole_batch_is_summed_only_from_the_day_on_that_it_is_one(tmp_path: Path) -> None:
    """Containers 1 and 2 until something is picked that names the batch alone, on 10 March; one unit from then on."""
    (tmp_path / "farm.toml").touch()
    files = {
        "batches": "batch,inoculated_on\nA,2026-01-01\n",
        "fillings": "batch,container\nA,1\nA,2\n",
        "harvests": "picked_on,fresh_weight_g,container,batch,flush\n"
        "2026-02-01,300,1,A,1\n2026-02-20,100,1,A,1\n2026-02-10,200,2,A,1\n2026-03-10,50,,A,1\n",
    }
    for name, text in files.items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    refreshed(tmp_path)
    farm = open_farm(tmp_path)
    asked = "select fresh_g::double, fresh_g_pooled::double, first_day, last_day from unit_flushes order by all"
    found = {}
    with opened(farm.ledger, farm.settings) as ledger:
        for day in (date(2026, 2, 15), date(2026, 3, 9), date(2026, 3, 10)):
            view = ledger.view(Query(day))
            view.make("unit_flushes")
            found[day.isoformat()] = view.connection.execute(asked).fetchall()
    first, middle, last, pooled = (date(2026, 2, 1), date(2026, 2, 10), date(2026, 2, 20), date(2026, 3, 10))
    assert found == {
        "2026-02-15": [(200.0, 0.0, middle, middle), (300.0, 0.0, first, first)],
        "2026-03-09": [(200.0, 0.0, middle, middle), (400.0, 0.0, first, last)],
        "2026-03-10": [(650.0, 50.0, first, pooled)],
    }
