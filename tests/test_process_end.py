"""A process that has answered ends at once: nothing that was written is lost, and what must be done at the end is."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

LAST = """
import atexit, os, sys, threading, time
class Last:
    def __del__(self, write=os.write):
        write(1, b"cleared away")
last = Last()
"""


def ended(code: str) -> tuple[int, str, str]:
    done = subprocess.run([sys.executable, "-c", LAST + code], capture_output=True, text=True, timeout=60, check=False)
    return done.returncode, done.stdout, done.stderr


@pytest.mark.parametrize(("words", "code"), [(["--help"], 0), (["yields", "--farm", "/nowhere"], 2)])
def test_the_program_ends_without_clearing_away(words: list[str], code: int) -> None:
    found, out, err = ended(f"sys.argv[1:] = {words}; from pipeline.cli import run; run()")
    assert found == code
    assert "cleared away" not in out
    assert len(out + err) > 60


def test_what_was_written_and_what_is_to_be_done_at_the_end_is_not_lost() -> None:
    at_end = "atexit.register(lambda: print('done')); print('x' * 100_000); print('said', end='', file=sys.stderr)"
    code, out, err = ended(f"{at_end}; from pipeline.cli.one_answer import end_process; end_process(3)")
    assert (code, out, err) == (3, "x" * 100_000 + "\ndone\n", "said")


@pytest.mark.parametrize(
    "watched",
    ["threading.Thread(target=lambda: (time.sleep(.3), print('written'))).start()", "sys.setprofile(lambda *_: None)"],
)
def test_a_thread_at_work_and_a_profiler_are_waited_for(watched: str) -> None:
    code, out, _ = ended(f"from pipeline.cli.one_answer import end_process; {watched}; end_process(0); sys.exit(5)")
    assert code == 5
    assert out.endswith("cleared away")
    assert ("written" in out) == ("written" in watched)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a full disk is made of /dev/full, which this system lacks")
def test_an_answer_that_cannot_be_written_at_the_end_is_told() -> None:
    ends = "from pipeline.cli.one_answer import end_process; print('answer'); end_process(0)"
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONUNBUFFERED"}
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-c", ends], stdout=full, stderr=subprocess.PIPE, text=True, check=False, env=environment
        )
    assert done.returncode == 120
    assert "No space left on device" in done.stderr
