"""Where a long command is: shown on a terminal after a second, nowhere else, and gone before the answer."""

from __future__ import annotations

import os
import select
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from pipeline.cli import progress
from pipeline.models.statements import connect
from schemas.steps import STEPS, Steps

pty = pytest.importorskip("pty", reason="a terminal to look at: Linux and macOS")
DEMO = Path(__file__).resolve().parents[1] / "demo_data"
# The second is over at once, so that the demo farm is large enough.
AT_ONCE = "import pipeline.cli.progress as p; p.WAIT_S, p.FRAME_S = 0.0, 0.01; from pipeline.cli import run; run()"
LINE = "Bringing the ledger up to date"
# What takes a line away.
GONE = "\r\x1b[2K"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(DEMO, tmp_path / "farm"))


def on_a_terminal(folder: Path, *words: str, press_at: str = "") -> tuple[int, str]:
    """Exit code, and all that the terminal saw; `press_at`: what is waited for before Ctrl-C is pressed."""
    master, slave = pty.openpty()
    # Of a terminal that is its own, so that Ctrl-C gets there.
    program = f"import fcntl, termios; fcntl.ioctl(0, termios.TIOCSCTTY, 0); {AT_ONCE}"
    given = [sys.executable, "-c", program, *words, "--farm", str(folder)]
    environment = {**os.environ, "TERM": "xterm", "COLUMNS": "100"}
    with subprocess.Popen(
        given, stdin=slave, stdout=slave, stderr=slave, env=environment, start_new_session=True
    ) as run:
        os.close(slave)
        seen, ends = b"", time.monotonic() + 60
        while time.monotonic() < ends:
            if not select.select([master], [], [], 0.05)[0]:
                if run.poll() is not None:
                    break
                continue
            try:
                data = os.read(master, 65536)
            except OSError:
                break
            if not data:
                break
            seen += data
            if press_at and press_at.encode() in seen:
                press_at = ""
                os.write(master, b"\x03")
        code = run.wait(timeout=30)
    os.close(master)
    return code, seen.decode("utf-8", "replace")


def test_a_terminal_sees_where_it_is_and_nothing_of_it_stays(folder: Path) -> None:
    code, seen = on_a_terminal(folder, "refresh")
    assert code == 0
    assert LINE in seen
    last = seen.rindex(LINE)
    # Behind the last line it is taken away, and only then comes the answer.
    assert GONE in seen[last:]
    assert seen[last:].index(GONE) < seen[last:].index("harvests")
    assert seen.rstrip().splitlines()[-1].count(GONE) == 0


def test_ctrl_c_leaves_a_whole_screen_and_nothing_half_done(folder: Path) -> None:
    before = sorted(path.name for path in folder.iterdir())
    code, seen = on_a_terminal(folder, "refresh", press_at=LINE)
    assert code == 130
    assert "Aborted!" in seen
    assert "Traceback" not in seen
    assert LINE not in seen[seen.rindex("Aborted!") :]
    assert not (folder / "ledger.duckdb").exists()
    assert {path.name for path in folder.iterdir()} - set(before) <= {"kept", "ledger.lock"}


def test_in_a_pipe_nothing_is_shown_and_nothing_is_loaded_to_show_it(folder: Path) -> None:
    program = f"import atexit, sys; atexit.register(lambda: print('rich' in sys.modules, file=sys.stderr)); {AT_ONCE}"
    given = [sys.executable, "-c", program, "refresh", "--farm", str(folder)]
    said = subprocess.run(given, capture_output=True, text=True, check=True)
    assert LINE not in said.stderr + said.stdout
    assert said.stderr.splitlines()[-1] == "False"


def test_before_the_second_is_over_nothing_is_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(progress, "WAIT_S", 30.0)
    watcher = progress.Progress()
    watcher.begin("Reading")
    thread = watcher._thread
    assert thread is not None
    watcher.end()
    thread.join(5)
    assert not thread.is_alive()


def cut_short(steps: Steps) -> None:
    with steps.during("Reading"):
        steps.at("Reading", 1, 2)
        steps.at("Writing")
        raise KeyError


def test_rooms_say_steps_to_whoever_watches() -> None:
    said: list[str] = []

    class Listener:
        def begin(self, words: str) -> None:
            said.append(f"begin {words}")

        def at(self, words: str) -> None:
            said.append(words)

        def end(self) -> None:
            said.append("end")

    steps = Steps()
    with steps.during("Reading"):
        steps.at("Reading", 1, 2)
    steps.watcher = Listener()
    with pytest.raises(KeyError):
        cut_short(steps)
    assert said == ["begin Reading", "Reading, 1 of 2", "Writing", "end"]
    assert STEPS.watcher is None


def test_the_database_draws_no_bar_of_its_own() -> None:
    """Every connection comes from one function, which switches the bar off that long queries would draw."""
    pipeline = Path(__file__).resolve().parents[1] / "pipeline"
    doors = [path.name for path in pipeline.rglob("*.py") if "duckdb.connect(" in path.read_text(encoding="utf-8")]
    assert doors == ["statements.py"]
    with connect(":memory:") as con:
        assert con.execute("select current_setting('enable_progress_bar')").fetchall() == [(False,)]
