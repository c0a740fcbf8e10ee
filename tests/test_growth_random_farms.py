"""Do the tables of growth hold on farms drawn at random, mistakes and all?"""

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from growth_tables import growth_tables
from test_against_recompute import START, random_farm

from pipeline.farm.folder import open_farm
from pipeline.ledger.refresh import refresh
from pipeline.models.groups import grouping
from pipeline.models.known_flushes import known_flushes
from pipeline.models.view import Query, opened

BY = ("all", "substrate", "kind,strain", "batch", "soak", "substrate,treatment,strain,spawn_form")


@pytest.mark.parametrize("seed", range(12))
def test_shares_are_shares_and_counts_add_up(tmp_path: Path, seed: int) -> None:
    random_farm(tmp_path, seed)
    farm = open_farm(tmp_path)
    refresh(farm, "test")
    with opened(farm.ledger, farm.settings) as ledger:
        for days, by in ((30, BY[seed % 6]), (70, BY[(seed + 1) % 6]), (160, BY[(seed + 2) % 6])):
            query = Query(START + timedelta(days=days), grouping(by))
            view = ledger.view(query)
            tables = growth_tables(view, ledger.settings)
            for row in tables["pins"]:
                told = row["pinned"] + row["lost"] + row["waiting"]
                assert told + row["units_unnoted"] == row["units"]
            for row in tables["pins_curve"]:
                assert row["pinned_pct"] is None or 0 <= row["pinned_pct"] + row["lost_pct"] <= 100 + 1e-9
                if row["low_pct"] is not None:
                    assert 0 <= row["low_pct"] <= row["pinned_pct"] + 1e-9
                    assert row["pinned_pct"] - 1e-9 <= row["high_pct"] <= 100 + 1e-9
            for row in tables["flushes"]:
                assert row["decline_started"] is not None or row["why_no_decline"]
                if row["decline_started_low"] is not None:
                    assert 0 <= row["decline_started_low"] <= row["decline_started"] <= row["decline_started_high"]
            for row in tables["another_flush"]:
                assert (row["answer"] == "cannot tell") == (row["why"] is not None)
                assert row["gave_pct"] is None or 0 <= row["gave_pct"] <= 100
            for row in tables["spawn_steps"]:
                assert row["from_rate_wet_pct"] < row["to_rate_wet_pct"]
                assert (row["answer"] == "cannot tell") == (row["next_step"] is not None)
            known = known_flushes(view)
            through = known.units.known_through
            for flush, ages in enumerate(known.resolved_age, start=1):
                assert (np.isnan(ages) == (through < flush)).all()


def test_with_everything_told_the_decline_is_the_plain_ratio(tmp_path: Path) -> None:
    for seed in range(6):
        folder = tmp_path / str(seed)
        folder.mkdir()
        random_farm(folder, 100 + seed)
        farm = open_farm(folder)
        refresh(farm, "test")
        with opened(farm.ledger, farm.settings) as ledger:
            query = Query(date(2027, 12, 31), ("substrate",))
            view = ledger.view(query)
            view.make("unit_states")
            undated = view.connection.execute("select count(*) from unit_states where inoculated_on is null").fetchone()
            for row in growth_tables(view, ledger.settings)["flushes"]:
                if undated == (0,) and row["decline_vs_first"] is not None:
                    assert row["decline_started"] == pytest.approx(row["decline_vs_first"])
