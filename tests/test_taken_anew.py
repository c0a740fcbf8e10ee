"""All files taken in anew: what does not hang on pickings is decided while they are read, and comes out the same."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from ledgers import refreshed, tables
from small_farms import write_farm
from test_part_of_the_farm import RandomFarm

from pipeline.ledger import anew
from pipeline.models.lineage import LEDGER, STAGE, model, names


@pytest.fixture
def early(monkeypatch: pytest.MonkeyPatch) -> list[frozenset[str]]:
    """Which models each refresh decided before pickings were there."""
    found: list[frozenset[str]] = []
    decide = anew.decide_without_pickings

    def noted(*given: object) -> frozenset[str]:
        found.append(decide(*given))  # type: ignore[arg-type]
        return found[-1]

    monkeypatch.setattr(anew, "decide_without_pickings", noted)
    return found


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A farm with rows of every kind of fault."""
    folder = tmp_path / "farm"
    folder.mkdir()
    write_farm(folder, RandomFarm(random.Random("anew"), True).files, "")
    return folder


def behind(name: str) -> set[str]:
    """What a model reads, and what that reads."""
    found: set[str] = set()
    waiting = [name]
    while waiting:
        reads = model(waiting.pop()).reads - found
        found |= reads
        waiting += [each for each in reads if each in names(LEDGER) | names(STAGE)]
    return found


def test_it_comes_out_as_when_all_is_decided_at_the_end(
    folder: Path, early: list[frozenset[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    refreshed(folder)
    assert len(early) == 1
    assert {"batches", "filling_shares", "clear_observations", "sales"} <= early[0]
    assert [name for name in early[0] if "stage_harvests" in behind(name)] == []
    found = tables(folder)
    (folder / "ledger.duckdb").unlink()
    # Where there is much to read nothing is decided beside it.
    monkeypatch.setattr(anew, "MUCH_TO_READ", 0)
    refreshed(folder)
    assert len(early) == 1
    expected = tables(folder)
    assert [name for name in expected if found[name] != expected[name]] == []


def test_nothing_is_decided_early_where_a_file_is_gone_and_may_stand_elsewhere(
    folder: Path, early: list[frozenset[str]]
) -> None:
    copy = folder / "kept/files/fillings/fillings/a.csv"
    refreshed(folder)
    assert copy.exists()
    (folder / "ledger.duckdb").unlink()
    (folder / "fillings/a.csv").rename(folder / "fillings/c.csv")
    refreshed(folder)
    assert len(early) == 1
    assert not copy.exists(), "it was taken for renamed"


def test_a_farm_without_pickings_is_decided_at_the_end(folder: Path, early: list[frozenset[str]]) -> None:
    for path in (folder / "harvests").glob("*.csv"):
        path.unlink()
    refreshed(folder)
    assert early == []
    assert tables(folder)["filling_shares"]
