"""A report's comparisons may be worked out beside it: by another process, with the same tables, or not at all."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest

from pipeline.cli import farm_workers, report_beside
from pipeline.cli.farm_access import read_ledger
from pipeline.cli.report_beside import Beside, process_beside
from pipeline.cli.report_command import gather
from pipeline.cli.report_tables import compared
from pipeline.cli.show import GATHERING
from pipeline.farm.folder import Farm, open_farm
from pipeline.models.view import Ledger
from reports.page import render
from tests.conftest import gillbook, write_table

DEMO = Path(__file__).resolve().parents[1] / "demo_data"
PRICES = """
    from_on,item,name,buyer,price,per
    2026-01-01,fresh,,,10.00,kg
    2026-06-01,fresh,,,11.50,kg
"""
FIRST, LAST = date(2026, 9, 1), date(2026, 9, 30)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Farm:
    folder = tmp_path_factory.mktemp("beside") / "farm"
    shutil.copytree(DEMO, folder)
    write_table(folder, "prices", PRICES)
    return open_farm(folder)


@pytest.fixture
def ledger(demo: Farm) -> Iterator[Ledger]:
    with read_ledger(demo, "measures") as found:
        yield found


@pytest.fixture
def large(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(report_beside, "SHARED_FROM_BYTES", 0)


@pytest.fixture
def two_processors(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(report_beside.os, "cpu_count", lambda: 2)


def process_that(monkeypatch: pytest.MonkeyPatch, does: str) -> None:
    """Have this run in the place of the process beside."""
    monkeypatch.setattr(farm_workers, "process_of", lambda _module: ([sys.executable, "-c", does], None))


def refuse(*_: object) -> None:
    raise AssertionError("the report worked it out itself")


@pytest.mark.usefixtures("two_processors", "large")
@pytest.mark.parametrize("ours", [True, False], ids=["spawn rates here", "spawn rates there"])
def test_a_process_beside_gives_the_same_month(
    ours: bool, demo: Farm, ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    alone = gather(ledger, demo, FIRST, LAST)
    with process_beside() as beside:
        monkeypatch.setattr("pipeline.cli.report_command._compared", refuse)
        monkeypatch.setattr("pipeline.cli.report_beside.taken", lambda _: ours)
        both = gather(ledger, demo, FIRST, LAST, beside)
    assert alone.tables["compared_pairs"]
    # What a difference brings is told at the prices of the day: they are the ledger's, not farm.toml's alone.
    assert any(row["expected_loss_money"] for row in alone.tables["compared_pairs"])
    assert list(both.tables) == list(alone.tables)
    assert vars(both) == vars(alone)
    assert render(both) == render(alone)


@pytest.mark.usefixtures("two_processors")
@pytest.mark.parametrize(
    "does",
    ["", "import sys; sys.stdin.buffer.read(1); sys.stdout.write('nonsense')", "import os; os.kill(os.getpid(), 9)"],
)
def test_where_the_process_ends_the_report_does_it_itself(
    does: str, demo: Farm, ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    process_that(monkeypatch, does)
    with process_beside() as beside:
        month = gather(ledger, demo, FIRST, LAST, beside)
    alone = compared(ledger, LAST)
    assert {name: month.tables[name] for name in alone} == alone


@pytest.mark.usefixtures("two_processors")
def test_another_ledger_is_not_answered_for(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    with process_beside() as beside:
        assert beside is not None
        monkeypatch.setattr("pipeline.models.measures.ledger_id", lambda _: "made from other files")
        assert beside.ask(ledger, LAST)
        assert beside.answer(dict) is None


def test_a_task_is_taken_once(tmp_path: Path) -> None:
    task = tmp_path / "task"
    task.touch()
    assert [report_beside.taken(task) for _ in range(2)] == [True, False]


@pytest.mark.usefixtures("two_processors")
def test_the_spawn_rates_of_a_small_farm_are_of_the_process_beside(
    demo: Farm, ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pipeline.cli.report_tables.of_spawn", refuse)
    with process_beside() as beside:
        assert gather(ledger, demo, FIRST, LAST, beside).tables["spawn_levels"]


@pytest.mark.usefixtures("two_processors", "large")
def test_no_task_is_left_behind(ledger: Ledger, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(report_beside.tempfile, "tempdir", str(tmp_path))
    with process_beside() as beside:
        assert beside is not None
        assert beside.ask(ledger, LAST)
        assert list(tmp_path.iterdir())
    assert not list(tmp_path.iterdir())


def test_nothing_is_asked_about_a_large_ledger(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[object] = []
    monkeypatch.setattr(report_beside.pickle, "dump", lambda *given: asked.append(given))
    monkeypatch.setattr(report_beside, "ALONE_FROM_BYTES", 1000)
    with subprocess.Popen([sys.executable, "-c", ""], stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdin
        assert process.stdout
        beside = Beside(process, process.stdin, process.stdout)
        assert not beside.ask(ledger, LAST)
    assert not asked


def of_many(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(GATHERING, "of_many", True)


def one_processor(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(report_beside.os, "cpu_count", lambda: 1)


@pytest.mark.parametrize("make_busy", [of_many, one_processor])
@pytest.mark.usefixtures("two_processors")
def test_no_process_is_started_where_no_processor_is_free(
    make_busy: Callable[[pytest.MonkeyPatch], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    make_busy(monkeypatch)
    monkeypatch.setattr(farm_workers.subprocess, "Popen", refuse)
    with process_beside() as beside:
        assert beside is None


@pytest.mark.usefixtures("two_processors")
def test_the_process_ends_with_the_report(monkeypatch: pytest.MonkeyPatch) -> None:
    process_that(monkeypatch, "import time; time.sleep(600)")
    started: list[subprocess.Popen[bytes]] = []
    popen = subprocess.Popen
    monkeypatch.setattr(farm_workers.subprocess, "Popen", lambda *a, **k: started.append(popen(*a, **k)) or started[0])
    with pytest.raises(KeyboardInterrupt), process_beside():
        raise KeyboardInterrupt
    assert started[0].poll() is not None


def test_the_command_says_what_went_wrong_as_before(tmp_path: Path) -> None:
    said = gillbook("report", "--farm", tmp_path)
    assert said.code == 2
    assert "Traceback" not in said.err


def test_the_process_beside_loads_nothing_that_reads_a_command_line() -> None:
    code = "import sys; from pipeline.cli import report_child; from pipeline.cli.report_tables import ready_to_compare"
    told = f"{code}; ready_to_compare(); print([each for each in ('typer', 'jinja2', 'rich') if each in sys.modules])"
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"
