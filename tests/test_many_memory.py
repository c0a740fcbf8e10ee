"""As many farms are answered at once as there are processors, and only as many as memory holds."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.cli import farm_memory
from pipeline.cli.farm_memory import SURELY_BYTES, TIMES, TIMES_OF, at_once
from pipeline.models import statements
from pipeline.models.statements import memory_bytes

GB = 1_000_000_000


@pytest.fixture(autouse=True)
def eight(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine of four processors, and 6.4 GB of 8 that may be taken."""
    monkeypatch.setattr(farm_memory.os, "cpu_count", lambda: 4)
    monkeypatch.setattr(statements, "memory_bytes", lambda: 6.4 * GB)


def farms(at: Path, *ledgers: float) -> list[Path]:
    """Farms with ledgers of so many bytes, which take no room."""
    for number, size in enumerate(ledgers):
        (at / str(number)).mkdir()
        with (at / str(number) / "ledger.duckdb").open("wb") as file:
            file.truncate(int(size))
    return [at / str(number) for number in range(len(ledgers))]


@pytest.mark.parametrize(
    ("ledgers", "command", "number"),
    [
        ([0.002 * GB] * 300, "report", 4),
        ([0.002 * GB] * 3, "report", 3),
        ([0.46 * GB] * 10, "report", 1),
        ([0.46 * GB] * 10, "refresh", 4),
        ([0.15 * GB] * 10, "yields", 2),
        ([0.15 * GB] * 10, "next-soak", 1),
        ([5 * GB] * 2, "yields", 1),
        # One large farm among small ones keeps none of them waiting.
        ([0.002 * GB] * 10 + [0.3 * GB], "report", 4),
    ],
)
def test_no_more_farms_at_once_than_memory_holds(
    ledgers: list[float], command: str, number: int, tmp_path: Path
) -> None:
    assert at_once(farms(tmp_path, *ledgers), command) == number
    times = TIMES_OF.get(command, TIMES)
    assert number == 1 or sum(sorted(ledgers)[-number:]) * times <= 6.4 * GB


def test_a_farm_without_a_ledger_is_held_by_its_files(tmp_path: Path) -> None:
    for number in range(2):
        (tmp_path / str(number) / "harvests").mkdir(parents=True)
        with (tmp_path / str(number) / "harvests" / "2026-01.csv").open("wb") as file:
            file.truncate(690_000_000)
    assert at_once([tmp_path / "0", tmp_path / "1"], "report") == 1
    assert at_once([tmp_path / "0", tmp_path / "1"], "refresh") == 2


def test_small_farms_do_not_wait_for_a_look_at_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(statements, "memory_bytes", lambda: pytest.fail("looked"))
    assert at_once(farms(tmp_path, *[SURELY_BYTES / TIMES / 4] * 4), "report") == 4


def test_memory_is_four_fifths_of_what_there_is(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.undo()
    import os

    if not hasattr(os, "sysconf"):
        pytest.skip("the system does not tell how much memory it has")
    there = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
    # A group of processes may have less than the machine.
    assert 0.01 * there < memory_bytes() <= 0.81 * there
