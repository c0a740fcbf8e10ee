"""On a terminal, what is not given is asked for, and what is doubtful."""

from __future__ import annotations

import csv
import os
import select
import subprocess
import sys
import time
from pathlib import Path

import pytest
from conftest import write_table

RUN = "from pipeline.cli import run; run()"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "farm.toml").write_text("", encoding="utf-8")
    columns = "batch,inoculated_on,strain,substrate,treatment,substrate_wet_kg,moisture_pct,spawn_kg"
    write_table(tmp_path, "batches", f"{columns}\nA,2026-01-01,grey,straw,cold_lime,20,70,2")
    write_table(tmp_path, "fillings", "batch,container,volume_l,fill_kg\nA,7,20,5")
    write_table(tmp_path, "observations", "seen_on,event,container,batch,entry,cause\n2026-02-01,emptied,7,A,x,")
    return tmp_path


def on_terminal(folder: Path, words: list[str], answers: list[tuple[str, str]]) -> tuple[str, int]:
    """Answers each question when it is there (its end, what is typed); gives the screen and the exit code."""
    pty = pytest.importorskip("pty")  # not on Windows
    ours, theirs = pty.openpty()
    given = [sys.executable, "-c", RUN, *words, "--farm", str(folder)]
    with subprocess.Popen(given, stdin=theirs, stdout=theirs, stderr=theirs) as running:
        os.close(theirs)
        screen, left, end = "", list(answers), time.monotonic() + 20
        while time.monotonic() < end:
            if left and screen.endswith(left[0][0]):
                os.write(ours, left.pop(0)[1].encode() + b"\n")
            if not select.select([ours], [], [], 1)[0]:
                continue
            try:
                screen += os.read(ours, 4096).decode().replace("\r", "")
            except OSError:  # the program has ended
                break
        os.close(ours)
    assert left == [], screen
    return screen, running.returncode


def told(folder: Path, file: str) -> list[dict[str, str]]:
    with (folder / file).open(encoding="utf-8", newline="") as lines:
        return [{name: cell for name, cell in row.items() if cell} for row in csv.DictReader(lines)]


def test_batch_asks_for_the_recipe_and_proposes_the_last_one(folder: Path) -> None:
    answers = [
        ("Strain [grey]: ", ""),
        ("Substrate [straw]: ", "pulp"),
        ("Wet substrate, kg: ", "4o"),
        ("Wet substrate, kg: ", "40 lb"),
        ("Moisture, %: ", ""),
        ("Spawn, kg: ", "2"),
    ]
    screen, code = on_terminal(folder, ["batch", "--on", "2026-05-14"], answers)
    assert code == 0, screen
    assert "Wet substrate 4o: that is no amount." in screen
    assert told(folder, "batches.csv")[1] == {
        "batch": "260514a",
        "inoculated_on": "2026-05-14",
        "strain": "grey",
        "substrate": "pulp",
        "substrate_wet_kg": "18.143695",
        "spawn_kg": "2",
    }


def test_fill_asks_for_what_is_in_each_container(folder: Path) -> None:
    write_table(folder, "batches", "batch,inoculated_on\nB,2026-03-01", "batches/more.csv")
    answers = [
        ("7: mix packed in, kg: ", "6.5"),
        ("8: volume, L: ", "5 gal"),
        ("8: mix packed in, kg: ", ""),
        ("9: volume, L [18.927059]: ", ""),
        ("9: mix packed in, kg: ", "7"),
    ]
    screen, code = on_terminal(folder, ["fill", "--batch", "B", "7-9"], answers)
    assert code == 0, screen
    assert told(folder, "fillings.csv")[1:] == [
        {"batch": "B", "container": "7", "volume_l": "20", "fill_kg": "6.5"},
        {"batch": "B", "container": "8", "volume_l": "18.927059"},
        {"batch": "B", "container": "9", "volume_l": "18.927059", "fill_kg": "7"},
    ]


@pytest.mark.parametrize(("answer", "code", "rows"), [("y", 0, 2), ("n", 2, 1), ("", 2, 1)])
def test_what_is_doubtful_is_asked(folder: Path, answer: str, code: int, rows: int) -> None:
    question = "7 (batch A) ended already, on 2026-02-01 (emptied). Enter it all the same? [y/N]: "
    screen, ended = on_terminal(
        folder, ["note", "7", "contaminated", "--on", "2026-02-03", "--cause", "flies"], [(question, answer)]
    )
    assert ended == code, screen
    assert len(told(folder, "observations.csv")) == rows
    assert ("Nothing was written." in screen) == (rows == 1)


def test_mix_asks_for_the_basis(folder: Path) -> None:
    question = "Is the rate spawn over wet or over dry substrate (wet or dry): "
    screen, code = on_terminal(folder, ["mix", "spawn", "--rate", "5", "--wet", "20"], [(question, "wet")])
    assert (code, "Spawn: 1.00 kg, 5 % of the wet substrate" in screen) == (0, True)


INTERRUPTED = {
    "a doubt": (["note", "8", "pins", "--on", "2026-01-20"], "[y/N]: ", 2, "Nothing was written."),
    "a question": (["batch", "--on", "2026-03-02"], ": ", 130, "Aborted!"),
}


@pytest.mark.parametrize("name", INTERRUPTED)
def test_a_question_that_is_broken_off_writes_nothing_and_is_no_finding_of_check(folder: Path, name: str) -> None:
    """Exit code 1 is for `check` to say; 130 is what shells know an interrupted program by."""
    words, question, code, message = INTERRUPTED[name]
    before = {path.name: path.read_bytes() for path in folder.glob("*.csv")}
    screen, ended = on_terminal(folder, words, [(question, "\x04")])
    assert (ended, screen.rstrip().endswith(message)) == (code, True), screen
    assert {path.name: path.read_bytes() for path in folder.glob("*.csv")} == before


def test_what_was_typed_until_fill_is_broken_off_is_shown_as_commands(folder: Path) -> None:
    before = (folder / "fillings.csv").read_bytes()
    answers = [("7: mix packed in, kg: ", "6,5"), ("8: volume, L: ", "10"), ("8: mix packed in, kg: ", "\x04")]
    screen, code = on_terminal(folder, ["fill", "7-8", "--batch", "A2", "--insist"], answers)
    assert (code, (folder / "fillings.csv").read_bytes()) == (130, before), screen
    assert "Stopped, and nothing was written. What you typed is entered by:\n" in screen
    assert f"gillbook fill 7 --batch A2 --kg 6.5kg --farm {folder}\n" in screen
    assert f"gillbook fill 8 --batch A2 --volume 10L --farm {folder}\n" in screen


def test_what_was_typed_until_batch_is_broken_off_is_shown_as_a_command(folder: Path) -> None:
    before = (folder / "batches.csv").read_bytes()
    answers = [("Strain [grey]: ", "pink"), ("Substrate [straw]: ", ""), ("Wet substrate, kg: ", "\x04")]
    screen, code = on_terminal(folder, ["batch", "--on", "2026-05-14"], answers)
    assert (code, (folder / "batches.csv").read_bytes()) == (130, before), screen
    assert f"gillbook batch --on 2026-05-14 --farm {folder} --strain pink --substrate straw\n" in screen
