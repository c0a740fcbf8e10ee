"""A session at the scale: lines from a pipe, a scanner and a terminal; the running sum; taking back; the summary."""

from __future__ import annotations

import csv
import os
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

import pytest
from conftest import Said

Farm = Callable[..., Path]
TABLES = {
    "batches": "batch,inoculated_on\nA,2026-01-01",
    "fillings": "batch,container,room\nA,7,one\nA,8,one\nA,Tub 3,two\nA,12,one",
    "observations": "seen_on,event,container,batch\n2026-01-20,emptied,12,A",
}
RUN = "from pipeline.cli import run; run()"


@pytest.fixture
def folder(farm: Farm) -> Path:
    made = farm(**TABLES)
    (made / "harvests").mkdir()
    rows = "".join(f"2026-01-{20 + at},{400 + at},7,A,1,\n" for at in range(5))
    (made / "harvests/2026-01.csv").write_text(
        f"picked_on,fresh_weight_g,container,batch,flush,entry\n{rows}", encoding="utf-8"
    )
    return made


def session(folder: Path, lines: str, *words: str) -> Said:
    """Types these lines at a session, as a pipe does."""
    given = [sys.executable, "-c", RUN, "weigh", "--farm", str(folder), *words]
    done = subprocess.run(given, input=lines, capture_output=True, text=True, check=False)
    return Said(done.stdout, done.stderr, done.returncode)


def logged(folder: Path, month: str = "2026-02") -> list[tuple[str, ...]]:
    names = ("picked_on", "fresh_weight_g", "container", "batch", "flush", "cap_stage", "culled_g", "picker", "note")
    with (folder / f"harvests/{month}.csv").open(encoding="utf-8", newline="") as lines:
        return [tuple(row[name] for name in names) for row in csv.DictReader(lines)]


def test_a_line_is_an_entry_and_the_sum_runs_along(folder: Path) -> None:
    said = session(folder, "7 412 t\n8 0.3 kg\n\nTub 3 1 lb 2 oz f\nend\n", "--on", "2026-02-03")
    assert (said.code, said.err) == (0, "")
    assert said.out.splitlines() == [
        "7 (batch A): 412 g, flush 2 (proposed: picked 10 days before), turned_down. 1 entry, 0.412 kg.",
        "8 (batch A): 300 g, from 0.3 kg, flush 1. 2 entries, 0.712 kg.",
        "Tub 3 (batch A): 510.291 g, from 1 lb 2 oz, flush 1, flat. 3 entries, 1.222 kg.",
        "3 entries, 1.222 kg, from 3 places; in harvests/2026-02.csv.",
    ]
    assert logged(folder) == [
        ("2026-02-03", "412", "7", "A", "2", "turned_down", "", "", ""),
        ("2026-02-03", "300", "8", "A", "1", "", "", "", ""),
        ("2026-02-03", "510.291", "Tub 3", "A", "1", "flat", "", "", ""),
    ]


def test_a_line_may_say_more_and_options_hold_for_all(folder: Path) -> None:
    lines = "7 512 u flush 4 culled 30 picker Li note wet caps, late\non 2026-02-05\nbatch A 2.1 kg\n"
    said = session(folder, lines, "--on", "2026-02-03", "--tare", "100", "--picker", "Mo")
    assert (said.code, said.err) == (0, "")
    assert logged(folder) == [
        ("2026-02-03", "412", "7", "A", "4", "turned_up", "30", "Li", "wet caps, late"),
        ("2026-02-05", "2000", "", "A", "1", "", "", "Mo", ""),
    ]


def test_a_scanner_that_ends_with_enter_gives_the_container_first(folder: Path) -> None:
    lines = "7\n412\n8\n8\n300 t\n7\nTub 3\n250\n7\n8 310\n"
    said = session(folder, lines, "--on", "2026-02-03", "--insist")
    assert (said.code, said.err) == (0, "")
    assert [row[1:3] for row in logged(folder)] == [("412", "7"), ("300", "8"), ("250", "Tub 3"), ("310", "8")]


def test_undo_takes_back_what_this_session_logged(folder: Path) -> None:
    said = session(folder, "7 412\n8 300\nundo\n8 310\nundo\nundo\nundo\n", "--on", "2026-02-03")
    assert said.code == 2
    assert "Taken back: 8 (batch A), 310 g. 1 entry, 0.412 kg." in said.out
    assert said.out.endswith("Taken back: 7 (batch A), 412 g. 0 entries, 0.000 kg.\nNothing was logged.\n")
    assert said.err.startswith("line 7: not logged: nothing of this session is left to undo")
    assert logged(folder) == []


def test_a_line_that_is_doubtful_or_wrong_is_told_and_the_others_are_logged(folder: Path) -> None:
    lines = "7 412\n7 4120\n12 300\n70 300\n70\n7 413 x\n7 500 culled 600\n8 4l2\nfoo bar\n7 4100 !\non 2099-01-01\n"
    said = session(folder, lines, "--on", "2026-02-03")
    assert said.code == 2
    told = said.err.splitlines()
    assert told[0].startswith("line 2: not logged: 4120 g is 10 times the usual 402 g (one digit too many?). If it is ")
    assert told[1].startswith(
        "line 3: not logged: 12 (batch A) was emptied on 2026-01-20. If it is right, end the line"
    )
    assert told[2].startswith("line 4: not logged: container 70 is not in fillings.csv")
    assert told[3].startswith("line 5: not logged: 70: no container is called so. Did you mean 7? Write container and")
    assert told[4].startswith("line 6: not logged: stage x: there is no such stage.")
    assert told[5].startswith("line 7: not logged: culled 600 g is more than the 500 g it is part of.")
    assert told[6].startswith("line 8: not logged: weight 4l2: that is no amount.")
    assert told[7].startswith("line 9: not logged: weight bar: that is no amount.")
    assert told[8].startswith("line 11: not logged: on 2099-01-01: that day lies in the future")
    assert told[9] == "9 of the lines were not logged: 2, 3, 4, 5, 6, 7, 8, 9, 11."
    assert [row[1] for row in logged(folder)] == ["412", "4100"]


def test_interrupted_it_tells_what_it_came_to(folder: Path) -> None:
    given = [sys.executable, "-c", RUN, "weigh", "--farm", str(folder), "--on", "2026-02-03"]
    with subprocess.Popen(
        given,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        # Also where the tests were started to ignore Ctrl-C.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),  # noqa: PLW1509
    ) as running:
        assert running.stdin is not None
        assert running.stdout is not None
        running.stdin.write("7 412\n")
        running.stdin.flush()
        assert running.stdout.readline().startswith("7 (batch A): 412 g")
        running.send_signal(signal.SIGINT)
        assert running.stdout.read() == "1 entry, 0.412 kg, from 1 place; in harvests/2026-02.csv.\n"
    assert running.returncode == 0


@contextmanager
def terminal(folder: Path, *words: str) -> Iterator[Callable[[str], str]]:
    """A session on a terminal: types a line, gives what the screen shows of it and after it."""
    pty = pytest.importorskip("pty")  # not on Windows
    ours, theirs = pty.openpty()
    given = [sys.executable, "-c", RUN, "weigh", "--farm", str(folder), *words]
    with subprocess.Popen(given, stdin=theirs, stdout=theirs, stderr=theirs) as running:
        os.close(theirs)

        def shown(until: str) -> str:
            text, end = "", time.monotonic() + 20
            while not text.endswith(until) and time.monotonic() < end and select.select([ours], [], [], 20)[0]:
                try:
                    text += os.read(ours, 4096).decode().replace("\r", "")
                except OSError:  # the other side is gone
                    break
            return text

        def typed(line: str, until: str = "> ") -> str:
            os.write(ours, f"{line}\n".encode())
            return shown(until)

        try:
            assert ("Day of picking" in shown("> " if words else ": ")) == (not words)
            yield typed
        finally:
            os.close(ours)
            running.wait(timeout=20)


def test_on_a_terminal_the_day_is_asked_once_and_containers_in_the_order_of_the_shelves(folder: Path) -> None:
    with terminal(folder) as typed:
        assert typed("someday", ": ").endswith(
            f"Write year-month-day, like 2026-05-31.\nDay of picking [{date.today()}]: "
        )
        assert typed("2026-02-03").endswith("end            end the session\n7 > ")
        # 12 is empty. A weight alone is for the container that is asked for; Enter goes on to the next.
        shown = typed("412 t")
        assert shown.startswith("412 t\n7 (batch A): 412 g, flush 2 (proposed: picked 10 days before), turned_down. ")
        assert shown.endswith(" 1\nentry, 0.412 kg.\n8 > ")  # the terminal has 80 columns
        assert typed("") == "\nTub 3 > "
        assert typed("8", "? ") == "8\n8: weight? "
        assert typed("300").endswith("8 (batch A): 300 g, flush 1. 2 entries, 0.712 kg.\nTub 3 > ")
        assert typed("help").startswith("help\n7 412          container and weight, in g;")
        assert typed("end", "csv.\n").endswith("2 entries, 0.712 kg, from 2 places; in harvests/2026-02.csv.\n")


def test_on_a_terminal_what_is_doubtful_is_asked_and_a_scan_is_no_answer(folder: Path) -> None:
    with terminal(folder, "--on", "2026-02-03") as typed:
        asked = typed("7 4120", "[y/N] ")
        assert asked.endswith("4120 g is 10 times the usual 402 g (one digit too many?). Log it all the same? [y/N] ")
        assert typed("n").endswith("Not logged.\n7 > ")
        typed("7 4120", "[y/N] ")
        # The next container is scanned before the question is answered: not logged, and the scan is not lost.
        assert typed("8", "? ").endswith("Not logged.\n8: weight? ")
        assert "8 (batch A): 301 g, flush 1. 1 entry" in typed("301")
        typed("7 4120", "[y/N] ")
        assert "7 (batch A): 4120 g" in typed("y")
        # The end of the input ends the session.
        assert typed("\x04", "csv.\n").endswith("2 entries, 4.421 kg, from 2 places; in harvests/2026-02.csv.\n")
    assert [row[1] for row in logged(folder)] == ["301", "4120"]


def test_on_a_terminal_a_number_that_is_no_container_is_not_taken_for_a_weight(folder: Path) -> None:
    with terminal(folder, "--on", "2026-02-03") as typed:
        asked = typed("70 412", "[y/N] ")
        assert "Container 70 is not in fillings.csv, so this picking would be set aside" in asked
        assert typed("n").endswith("Not logged.\n7 > ")
        assert "7 (batch A): 510.291 g, from 1 lb 2 oz, flush 2" in typed("1lb 2oz")
        assert typed("end", "csv.\n").startswith("end\n1 entry, 0.510 kg, from 1 place;")


def test_on_a_terminal_the_end_instead_of_a_day_ends_the_session(folder: Path) -> None:
    with terminal(folder) as typed:
        assert typed("\x04", "logged.\n").endswith("Nothing was logged.\n")
    assert [path.name for path in (folder / "harvests").iterdir()] == ["2026-01.csv"]


def test_the_sum_is_told_in_the_farms_numbers(folder: Path) -> None:
    (folder / "farm.toml").write_text('decimal_mark = ","\n', encoding="utf-8")
    said = session(folder, "7 412,5\nundo\n", "--on", "2026-02-03")
    assert said.out.splitlines()[0].endswith("1 entry, 0,412 kg.")
    assert said.out.splitlines()[1] == "Taken back: 7 (batch A), 412,5 g. 0 entries, 0,000 kg."
