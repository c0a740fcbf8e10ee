"""One process answers for many farms: what one leaves in it reaches no other, and what ends it costs one answer."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import pytest
from conftest import write_table
from ledgers import BATCHES, FILLINGS, HARVESTS, NOW, refreshed
from own_files import workbook

from pipeline.cli import farm_answers
from pipeline.cli.farm_answers import FarmAnswer, answers_of, process_answer
from pipeline.cli.farm_workers import FarmWorker, farm_workers
from pipeline.cli.many_command import READING
from pipeline.ledger.lock import locked

HERE = Path(__file__).parent
DEMO = HERE.parent / "demo_data"
CHILD = "child_of_many"
# The words of each command that many farms answer; all of them by make fuzz, for that takes a minute or two.
COMMANDS = {
    "compare": ("compare", "substrate"),
    "check": ("check",),
    "yields": ("yields", "--by", "substrate", "--json"),
    "refresh": ("refresh",),
    "today": ("today",),
    "days": ("days",),
    "losses": ("losses", "--by", "container"),
    "months": ("months", "--weeks"),
    "flushes": ("flushes",),
    "pins": ("pins", "--curve"),
    "another-flush": ("another-flush",),
    "spawn": ("spawn",),
    "money": ("money", "--by", "recipe"),
    "query": ("query", "select count(*) from harvests"),
    "history": ("history",),
    "outlook": ("outlook", "--weeks", "2"),
    "plan": ("plan", "--kg", "5"),
    "promise check": ("promise check",),
    "next-soak": ("next-soak",),
    "trace": ("trace", "--batch", "A"),
    "doctor": ("doctor",),
    "report": ("report",),
    "export": ("export", "--format", "json"),
}
AUDIT = ("check", "--deep")
WHOLE = "GILLBOOK_FUZZ" in os.environ
# The audit first: the report quotes the last one.
WORDS = [AUDIT, *COMMANDS.values()] if WHOLE else list(COMMANDS.values())[:3]
CLOCK = re.compile(r"clock +\d{4}-\d\d-\d\d \d\d:\d\d")
OUNCES = """currency = "EUR"
decimal_mark = ","
date_order = "day_month_year"
[headings.harvests]
fresh_weight_g = {column = "fresh_weight_g", unit = "oz"}
"""


def write_small(folder: Path, settings: str = "", **tables: str) -> Path:
    folder.mkdir()
    (folder / "farm.toml").write_text(settings, encoding="utf-8")
    for table, text in ({"batches": BATCHES, "fillings": FILLINGS, "harvests": HARVESTS} | tables).items():
        write_table(folder, table, text)
    return folder


@pytest.fixture(scope="module")
def farms(tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[Path]]:
    """Farms that differ in all that a process could keep, and some that go wrong; two are being refreshed meanwhile."""
    at = tmp_path_factory.mktemp("many")
    shutil.copytree(DEMO, at / "rich")
    write_small(at / "plain")
    ounces = write_small(at / "ounces", OUNCES)
    for path, lines in {
        "batches.csv": (
            "batch;inoculated_on;substrate_wet_kg;moisture_pct;strain;substrate",
            "A;01.01.2026;9,5;70;x;y",
        ),
        "fillings.csv": ("batch;container;fill_kg", "A;1;4,5"),
        "harvests.csv": ("picked_on;fresh_weight_g;container", "01.02.2026;10,5;1"),
    }.items():
        (ounces / path).write_text("\n".join(lines) + "\n", encoding="utf-8")
    write_small(at / "empty", **{table: BATCHES.splitlines()[0] for table in ("batches",)}, fillings="batch,container")
    write_table(at / "empty", "harvests", "picked_on,fresh_weight_g,container")
    write_small(at / "faulty", 'late_from = "flat"', harvests=f"{HARVESTS}\n2026-02-30,x,1\n2026-02-08,-3,9")
    write_small(at / "torn", "lapse_days = ")
    unreadable = write_small(at / "unreadable")
    (unreadable / "harvests.csv").write_bytes(b"picked_on\n\xff\x00\xfe")
    in_cells = write_small(at / "in_cells")
    (in_cells / "harvests.csv").unlink()
    (in_cells / "harvests.xlsx").write_bytes(workbook(["2026-02-01", 300, "1", "A", 1]))
    for name in ("dies", "mistaken", "busy", "never_loaded"):
        write_small(at / name)
    for name in ("rich", "plain", "ounces", "empty", "faulty", "in_cells", "busy"):
        refreshed(at / name)
    write_table(at / "busy", "harvests", f"{HARVESTS}\n2026-02-09,50,1")
    with locked(at / "busy" / "ledger.lock", NOW), locked(at / "never_loaded" / "ledger.lock", NOW):
        yield sorted(path for path in at.iterdir() if path.is_dir())


@pytest.fixture(autouse=True)
def child_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", str(HERE))


def asked(words: Sequence[str], farm: Path) -> list[str]:
    return [
        *words,
        *(("--to", str(farm.parent / f"{farm.name}.out")) if words[0] == "export" else ()),
        "--farm",
        str(farm),
    ]


def exported(farm: Path) -> dict[str, bytes]:
    """What stands in the folder that a farm was exported to, which goes."""
    folder = farm.parent / f"{farm.name}.out"
    found = {path.relative_to(folder).as_posix(): path.read_bytes() for path in sorted(folder.rglob("*.*"))}
    shutil.rmtree(folder, ignore_errors=True)
    return found


def spelt(value: Any) -> str:
    """A value to the last digit, and the types in it, without regard to which of its parts are one object."""
    if is_dataclass(value):
        return f"{type(value).__name__}({', '.join(spelt(getattr(value, each.name)) for each in fields(value))})"
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{spelt(key)}: {spelt(cell)}" for key, cell in value.items()) + "}"
    if isinstance(value, list | tuple):
        return f"{type(value).__name__}[{', '.join(map(spelt, value))}]"
    if hasattr(value, "tolist"):
        return spelt(value.tolist())
    if type(value).__module__.split(".")[0] == "pipeline" and hasattr(value, "__dict__"):
        return f"{type(value).__name__}{spelt(vars(value))}"
    assert " object at 0x" not in repr(value), type(value)
    return repr(value)


def shown(answer: tuple[object, int], farm: Path, words: Sequence[str]) -> str:
    found, code = answer
    files = exported(farm) if words[0] == "export" else {}
    if words[0] == "report":
        files = {path.name: path.read_bytes() for path in sorted((farm / "out").glob("report-*"))}
    # `doctor` tells the time.
    return f"{code} {CLOCK.sub('now', spelt(found))} {files}"


@pytest.fixture(scope="module")
def alone(farms: list[Path]) -> dict[tuple[str, ...], str]:
    """What each farm answers to each command in a process of its own."""
    every = [(words, farm) for words in WORDS for farm in farms]
    with pytest.MonkeyPatch.context() as patch, ThreadPoolExecutor(2) as threads:
        patch.setenv("PYTHONPATH", str(HERE))
        answers = list(threads.map(lambda each: process_answer(CHILD, asked(*each)), every))
    return {(*words, farm.name): shown(found, farm, words) for (words, farm), found in zip(every, answers, strict=True)}


@pytest.mark.parametrize("backwards", [False, True])
def test_each_farm_answers_in_a_shared_process_what_it_answers_in_one_of_its_own(
    farms: list[Path], alone: dict[tuple[str, ...], str], backwards: bool
) -> None:
    order = farms[::-1] if backwards else farms
    with farm_workers(CHILD, 1) as workers:
        for words in WORDS:
            for farm in order:
                assert shown(workers.ask(asked(words, farm)), farm, words) == alone[*words, farm.name], (
                    words,
                    farm.name,
                )


def test_the_farms_that_are_compared_differ_and_some_go_wrong(
    farms: list[Path], alone: dict[tuple[str, ...], str]
) -> None:
    said = {farm.name: alone[*COMMANDS["yields"], farm.name] for farm in farms}
    assert len(set(said.values())) == len(said)
    assert said["dies"] == "9 None {}"
    for name, words in {
        "torn": "is not valid TOML",
        "mistaken": "gillbook made a mistake: RuntimeError",
        "busy": "These figures are from before it began",
        "never_loaded": "The ledger is locked by process",
        "unreadable": "harvests.csv",
        "faulty": "rows are set aside",
        "ounces": "297.6",
        "in_cells": "300",
    }.items():
        assert words in said[name], name


def test_every_command_of_many_farms_is_compared() -> None:
    assert tuple(sorted(COMMANDS)) == tuple(sorted(READING))


def test_no_variable_of_the_process_is_another_after_other_farms(farms: list[Path]) -> None:
    by_name = {farm.name: farm for farm in farms}
    good, others = by_name.pop("rich"), [by_name[name] for name in by_name if name not in ("dies", "mistaken")]
    requests = [[asked(words, good) for words in WORDS], [asked(words, farm) for farm in others for words in WORDS]]
    done = subprocess.run(
        [sys.executable, "-m", "state_of_many"], input=json.dumps(requests), capture_output=True, text=True, check=False
    )
    for farm in farms:
        exported(farm)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout) == {}, done.stdout


def test_a_process_that_ends_costs_its_farm_alone() -> None:
    worker = FarmWorker(CHILD)
    first, code = worker.ask(["who"])
    assert code == 0
    assert worker.ask(["who"]) == (first, 0)
    assert worker.ask(["end"]) == (None, 7)
    other, code = worker.ask(["who"])
    assert (isinstance(other, int), other == first, code) == (True, False, 0)
    # What an earlier farm left behind may have ended it: so this farm is asked once more, in a new process.
    again, code = worker.ask(["end of an earlier one"])
    assert (isinstance(again, int), again == other, code) == (True, False, 0)
    worker.end()


def test_a_process_that_took_much_memory_is_followed_by_another() -> None:
    worker = FarmWorker(CHILD)
    first = worker.ask(["enough"])
    assert worker.ask(["who"]) != first
    worker.end()


def test_what_the_process_held_that_began_it_is_not_its_own() -> None:
    held = bytearray(1_200_000_000)
    worker = FarmWorker(CHILD)
    first = worker.ask(["who"])
    del held
    assert worker.ask(["who"]) == first
    worker.end()


def test_what_is_printed_or_read_beside_the_answer_disturbs_neither() -> None:
    worker = FarmWorker(CHILD)
    assert [worker.ask(["print and read"]), worker.ask(["print and read"])] == [(b"", 0), (b"", 0)]
    worker.end()


def test_after_ctrl_c_no_other_farm_is_asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def pressed(running: Mapping[Future[object], str]) -> Iterator[Future[object]]:
        next(iter(running)).result()
        raise KeyboardInterrupt
        yield

    monkeypatch.setattr(farm_answers, "as_completed", pressed)
    with pytest.raises(KeyboardInterrupt):
        answers_of({str(number): ["note", str(tmp_path / "notes")] for number in range(40)}, 1, CHILD)
    asked_of = (tmp_path / "notes").read_text(encoding="utf-8").splitlines()
    # The one that was being asked answers to its end; half of them would take a second.
    assert 1 <= len(asked_of) < 20


def test_farms_are_answered_in_their_order_whoever_is_done_first(farms: list[Path]) -> None:
    named = {farm.name: [*COMMANDS["yields"], "--farm", str(farm)] for farm in farms if farm.name in ("rich", "dies")}
    named |= {f"who {number}": ["who"] for number in range(5)}
    found = answers_of(named, 2, CHILD)
    assert list(found) == list(named)
    assert found["dies"].code == 3
    assert found["dies"].gathered.notes == ["its process ended without an answer (9)."]
    assert isinstance(found["rich"], FarmAnswer)
    assert found["rich"].gathered.json
