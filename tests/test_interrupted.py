"""Ctrl-C at any moment ends a command with 130 and one plain line; a query has limits on memory, rows and time."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from conftest import write_table
from ledgers import here

ENDLESS = "select count(*) from range(100000) a, range(100000) b, range(10000) c"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("farm")
    write_table(made, "batches", "batch,inoculated_on,substrate_wet_kg\nA,2026-01-01,10")
    write_table(made, "fillings", "batch,container,fill_kg\nA,7,5")
    write_table(made, "harvests", "picked_on,fresh_weight_g,container\n2026-02-01,400,7")
    assert here("refresh", "--farm", made).code == 0
    return made


def interrupted(folder: Path, after_s: float, *words: str) -> tuple[int, str]:
    """How the command ends, and what it says, where Ctrl-C is pressed after so many seconds."""
    with subprocess.Popen(
        [sys.executable, "-c", "from pipeline.cli import run; run()", *words, "--farm", str(folder)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        # A shell gives each command of its own the signals as they are by default.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),  # noqa: PLW1509
    ) as process:
        time.sleep(after_s)
        os.kill(process.pid, signal.SIGINT)
        try:
            said = process.communicate(timeout=60)[1].decode()
        finally:
            process.kill()  # one that goes on would be waited for without end
    return process.returncode, said


def test_the_first_ctrl_c_stops_a_query(folder: Path) -> None:
    assert interrupted(folder, 3, "query", ENDLESS) == (130, "\nAborted!\n")


@pytest.mark.parametrize("words", [["refresh"], ["check", "--deep"], ["yields"], ["compare", "strain"]])
def test_ctrl_c_at_any_moment_is_one_plain_line(folder: Path, words: list[str]) -> None:
    (folder / "harvests.csv").touch()
    code, said = interrupted(folder, random.Random(len(words[0])).uniform(0.3, 1.5), *words)
    assert (code, said.strip().splitlines()[-1:]) in ((130, ["Aborted!"]), (0, said.strip().splitlines()[-1:]))
    assert "Traceback" not in said
    assert "mistake" not in said
    assert not (folder / "out" / "crash.txt").exists()


# Ctrl-C at a moment that is counted in what Python does (imports, files opened), from the first line of the command
# line's own package on, while nothing of it could handle it yet.
AT_MOMENT = """
import atexit, os, signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)
moments = -1
atexit.register(lambda: print(moments, file=sys.stderr))
def count(event, given):
    global moments
    if moments >= 0 or given[:1] == ("pipeline.cli.interrupts",):
        moments += 1
        if moments == {at}:
            os.kill(os.getpid(), signal.SIGINT)
sys.addaudithook(count)
from pipeline.cli import run
run()
"""


def at_moment(folder: Path, at: int, *words: str) -> tuple[int, str]:
    given = [sys.executable, "-c", AT_MOMENT.format(at=at), *words, "--farm", str(folder)]
    done = subprocess.run(given, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=60, check=False)
    return done.returncode, done.stderr


@pytest.mark.parametrize("words", [("weigh", "7", "400", "--on", "2026-02-02", "--insist"), ("yields",)])
def test_ctrl_c_is_one_plain_line_from_the_first_import_on(folder: Path, words: tuple[str, ...]) -> None:
    for path in folder.rglob("*.csv"):
        os.utime(path, (path.stat().st_mtime - 60,) * 2)  # a file that was just written is read once more
    assert here("refresh", "--farm", folder).code == 0
    # The first run may compile what it imports, which takes moments of its own.
    at_moment(folder, -2, *words)
    code, said = at_moment(folder, -2, *words)
    assert code == 0
    last = int(said.splitlines()[-1])
    assert last > 100
    for at in (0, 1, 5, *(last * part // 8 for part in range(1, 7))):
        code, said = at_moment(folder, at, *words)
        lines = [line for line in said.splitlines() if line and not line.isdecimal()]
        assert code == 130, (at, said)
        assert [line.split(" Written, and on disk: ")[0] for line in lines if "ended before" not in line] == [
            "Aborted!"
        ]
    assert not (folder / "out" / "crash.txt").exists()


COMMANDS = (
    ("refresh",),
    ("check", "--deep"),
    ("yields", "--by", "substrate"),
    ("flushes",),
    ("pins",),
    ("compare", "strain"),
    ("spawn",),
    ("outlook",),
    ("today",),
    ("report", "--month", "2026-02"),
    ("weigh", "7", "400", "--on", "2026-02-02", "--insist"),
    ("note", "7", "pins", "--on", "2026-02-02", "--insist"),
    ("batch", "--like", "A", "--wet", "9", "--insist"),
    ("edit", "7", "--on", "2026-02-01", "--set", "weight=401", "--yes"),
    ("query", "select 1"),
)
# `make crash` presses it more often.
PRESSED = max(2, int(os.environ.get("GILLBOOK_KILLS", "0")))


def test_ctrl_c_at_a_random_moment_of_any_command_is_one_plain_line_and_loses_no_row(folder: Path) -> None:
    draw = random.Random(7)
    for _ in range(PRESSED):
        words, at = draw.choice(COMMANDS), int(10 ** draw.uniform(0, 3.8))
        rows = {path: path.read_bytes().splitlines() for path in folder.rglob("*.csv") if "kept" not in path.parts}
        code, said = at_moment(folder, at, *words)
        plain = [line for line in said.splitlines() if line and not line.isdecimal()]
        assert code in (0, 1, 2, 130), (words, at, said)
        assert sum(line.startswith("Aborted!") for line in plain) == (code == 130), (words, at, said)
        assert "Traceback" not in said, (words, at, said)
        assert not (folder / "out" / "crash.txt").exists()
        for path, before in rows.items():
            assert len(path.read_bytes().splitlines()) >= len(before), (words, at)


AT_CLEARING = """
import os, signal
signal.signal(signal.SIGINT, signal.default_int_handler)
class Last:
    def __del__(self, kill=os.kill, own=os.getpid(), number=signal.SIGINT):
        kill(own, number)
last = Last()
from pipeline.cli import run
run()
"""


def test_ctrl_c_after_the_answer_while_python_clears_away_changes_nothing(folder: Path) -> None:
    words = [sys.executable, "-c", AT_CLEARING, "yields", "--farm", str(folder)]
    done = subprocess.run(words, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0
    assert "A" in done.stdout
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("sql", "more", "said"),
    [
        (ENDLESS, ["--limit-time", "0.3"], "query: was not done in 0.3 seconds. Ask for less, or allow more.\n"),
        ("select list(a.range) from range(100000000) a", [], "query: takes more than 1 GB of memory. Ask for less.\n"),
        (
            "select * from range(1000001)",
            [],
            "query: gives more than 1,000,000 rows, or 200,000,000 letters. Sum them up, or add LIMIT.\n",
        ),
        (
            "select repeat('a', 100000) from range(5000)",
            [],
            "query: gives more than 1,000,000 rows, or 200,000,000 letters. Sum them up, or add LIMIT.\n",
        ),
    ],
)
def test_a_query_that_takes_too_much_is_refused(folder: Path, sql: str, more: list[str], said: str) -> None:
    done = here("query", sql, *more, "--farm", folder)
    assert (done.code, done.out, done.err) == (3, "", said)
