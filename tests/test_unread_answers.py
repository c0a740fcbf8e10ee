"""A run that writes and then fails to answer says what stands on disk; what was typed twice by that is asked about."""

from __future__ import annotations

import os
import random
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from conftest import Said, write_table
from ledgers import here

RUN = "from pipeline.cli import run; run()"
DAY = ("--on", "2026-02-03")
WRITTEN = r"Written, and on disk: harvests\.csv, row (\d+) \(entry (w\w{14})\)\.\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "farm.toml").touch()
    write_table(tmp_path, "batches", "batch,inoculated_on,substrate_wet_kg\nA,2026-01-01,10")
    write_table(tmp_path, "fillings", "batch,container,fill_kg\nA,7,5\nA,8,5")
    write_table(tmp_path, "harvests", "picked_on,fresh_weight_g,container,batch,flush,entry\n2026-02-01,400,7,A,1,x")
    return tmp_path


def run(folder: Path, *words: str, first: str = "", redirected: str = "") -> Said:
    """The program in a process of its own, begun with this code, its streams as the shell has them."""
    given = [sys.executable, "-c", f"{first}\n{RUN}", *words, "--farm", str(folder)]
    shell = ["sh", "-c", f'exec "$@" {redirected}', "sh", *given]
    done = subprocess.run(shell, capture_output=True, text=True, stdin=subprocess.DEVNULL, timeout=60, check=False)
    return Said(done.stdout, done.stderr, done.returncode)


def rows(folder: Path, name: str = "harvests.csv") -> list[str]:
    return (folder / name).read_text(encoding="utf-8").splitlines()[1:]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a disk that is full needs /dev/full")
def test_an_answer_that_finds_no_room_says_what_was_written_and_the_same_again_is_asked_about(folder: Path) -> None:
    said = run(folder, "weigh", "7", "412", *DAY, redirected=">/dev/full")
    found = re.fullmatch(r"The answer could not be shown \(No space left on device\)\. " + WRITTEN, said.err)
    assert found, said.err
    assert (said.code, found[1]) == (3, "3")
    assert rows(folder)[-1].endswith(found[2])
    again = here("weigh", "7", "412", *DAY, "--farm", folder)
    assert (again.code, again.out, len(rows(folder))) == (2, "", 2)
    assert "the same, 7 (batch A) 412 g, was logged a moment ago" in again.err
    read = run(folder, "yields", "--as-of", "2026-02-03", redirected=">/dev/full")
    assert (read.code, read.err) == (
        3,
        "The answer could not be shown (No space left on device). Your files are as they were.\n",
    )


@pytest.mark.skipif(sys.platform == "win32", reason="shells close no streams there")
def test_closed_streams_get_nothing_of_the_files_and_are_said(folder: Path) -> None:
    said = run(folder, "weigh", "7", "412", *DAY, redirected="<&- >&-")
    assert said.code == 3
    assert re.fullmatch(r"The answer could not be shown \(Bad file descriptor\)\. " + WRITTEN, said.err), said.err
    assert len(rows(folder)) == 2
    session = run(folder, "weigh", *DAY, redirected="<&-")
    assert (session.out, session.err, session.code) == ("Nothing was logged.\n", "", 0)


def test_a_reader_that_has_gone_hears_what_was_written_on_the_other_stream(folder: Path) -> None:
    read, write = os.pipe()
    os.close(read)
    given = [sys.executable, "-c", RUN, "note", "7", "8", "pins", *DAY, "--farm", str(folder)]
    done = subprocess.run(given, stdout=write, stderr=subprocess.PIPE, text=True, timeout=60, check=False)
    os.close(write)
    assert done.returncode == 0
    assert re.fullmatch(
        r"The reader of the answer has gone\. Written, and on disk: observations\.csv, rows 2 to 3 "
        r"\(entries w\w{14} to w\w{14}\)\.\n",
        done.stderr,
    ), done.stderr


def test_a_mistake_after_a_write_says_what_stands(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def mistaken(*_: object) -> None:
        raise IndexError("of the screen")

    monkeypatch.setattr("pipeline.cli.weigh_command.show", mistaken)
    said = here("weigh", "7", "412", *DAY, "--farm", folder)
    assert said.code == 3
    begins = r"gillbook made a mistake: IndexError: of the screen\. " + WRITTEN.removesuffix("\\n")
    assert re.fullmatch(begins + r" The details are in \S+crash\.txt\n", said.err), said.err
    monkeypatch.setattr("pipeline.cli.note_command._show", mistaken)
    said = here("note", "--undo", "--farm", folder)
    assert said.code == 2
    said = here("edit", "7", *DAY, "--set", "weight=415", "--yes", "--farm", folder)
    assert said.code == 0, said.err


@pytest.mark.parametrize(
    "words", [("note", "7", "pins", *DAY), ("batch", "--like", "A", "--wet", "9"), ("weigh", "7", "412", *DAY)]
)
def test_the_same_again_within_minutes_is_asked_about(folder: Path, words: tuple[str, ...]) -> None:
    assert here(*words, "--farm", folder).code == 0
    files = {path: path.read_bytes() for path in folder.glob("*.csv")}
    said = here(*words, "--farm", folder)
    assert (said.code, said.out) == (2, "")
    assert re.search(r"Nothing was written: the same.* a moment ago\. If it is right, say so with --insist\.", said.err)
    assert {path: path.read_bytes() for path in folder.glob("*.csv")} == files
    assert here(*words, "--insist", "--farm", folder).code == 0


@pytest.mark.parametrize(
    "words", [("weigh", "7", "412", *DAY), ("note", "7", "8", "pins", *DAY), ("batch", "--like", "A", "--wet", "9")]
)
def test_a_command_killed_between_write_and_answer_is_asked_about_when_typed_again(
    folder: Path, words: tuple[str, ...]
) -> None:
    killed = "import os, pipeline.logbook.journal as journal; journal.record_written = lambda *_: os._exit(9)"
    assert run(folder, *words, first=killed).code == 9
    files = {path: path.read_bytes() for path in folder.glob("*.csv")}
    said = here(*words, "--farm", folder)
    assert (said.code, said.out) == (2, "")
    ended, question = said.err.splitlines()
    assert ended.startswith(f"gillbook {words[0]} was ended before it answered, but this stands in ")
    assert question.startswith("Nothing was written: the same")
    assert {path: path.read_bytes() for path in folder.glob("*.csv")} == files


# `make crash` kills more often.
KILLS = max(3, int(os.environ.get("GILLBOOK_KILLS", "0")) // 2)
# Killed at a moment that is counted in what Python does (imports, files opened, renamed and forced to disk).
KILL_AT = """
import os, signal, sys
moments = 0
def count(event, given):
    global moments
    moments += 1
    if moments == {at}:
        os.kill(os.getpid(), signal.SIGKILL)
sys.addaudithook(count)
"""
WRITING = (
    ("weigh", "7", "412", *DAY),
    ("note", "7", "8", "pins", *DAY),
    ("batch", "--like", "A", "--wet", "9"),
    ("fill", "9", "10", "--batch", "A", "--kg", "5"),
    ("edit", "7", "--on", "2026-02-01", "--set", "weight=401", "--yes"),
)


def cells(folder: Path) -> dict[str, list[str]]:
    """The rows of each file, without what differs from run to run: the entries."""
    files = sorted([*folder.glob("*.csv"), *folder.glob("harvests/*.csv")])
    return {path.name: [re.sub(r"w\w{14}", "w", row) for row in path.read_text().splitlines()] for path in files}


@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL there")
def test_what_is_killed_anywhere_and_typed_again_is_there_once(folder: Path, tmp_path_factory) -> None:  # type: ignore[no-untyped-def]
    draw, scratch = random.Random(3), tmp_path_factory.mktemp("farms")
    whole = {}
    for words in WRITING:
        done = shutil.copytree(folder, scratch / words[0])
        assert here(*words, "--farm", done).code == 0, words
        whole[words] = cells(done)
    asked = 0
    for number in range(KILLS):
        words, farm = draw.choice(WRITING), shutil.copytree(folder, scratch / f"{number}")
        # Most of it is imports; what is written is written late.
        run(farm, *words, first=KILL_AT.format(at=int(2600 * draw.random() ** 0.3)))
        again = here(*words, "--farm", farm)
        assert again.code in (0, 2), (number, words, again.err)
        assert cells(farm) == whole[words], (number, words, again.err)
        asked += again.code == 2
        shutil.rmtree(farm)
    assert asked or KILLS < 50


@pytest.mark.parametrize("behind", [False, True], ids=["at the end", "in the middle"])
@pytest.mark.parametrize("moment", ["append.cut", "journal.record_undone"])
def test_an_undo_that_is_killed_is_all_or_nothing_and_not_done_twice(folder: Path, moment: str, behind: bool) -> None:
    here("note", "8", "opened", *DAY, "--farm", folder)
    here("note", "7", "8", "pins", *DAY, "--farm", folder)
    if behind:
        with (folder / "observations.csv").open("a", encoding="utf-8") as lines:
            lines.write("2026-02-04,pins,8,A\n")
    before = rows(folder, "observations.csv")
    left = [line for line in before if ",pins," not in line or line.startswith("2026-02-04")]
    killed = f"import os; from pipeline.logbook import append, journal; {moment} = lambda *_: os._exit(9)"
    assert run(folder, "note", "--undo", first=killed).code == 9
    assert rows(folder, "observations.csv") == (before if moment == "append.cut" else left)
    said = here("note", "--undo", "--farm", folder)
    assert said.code == 0
    assert rows(folder, "observations.csv") == left
    if moment != "append.cut":
        assert said.err.splitlines() == [
            "The last command was ended before it answered, but it had taken out of observations.csv: "
            "7, 2026-02-03: pins; 8, 2026-02-03: pins.",
            "That is done. To take back the entry before it too, say it once more: gillbook note --undo",
        ]
    assert here("note", "--undo", "--farm", folder).out.startswith("Taken back: 8")
    assert len(rows(folder, "observations.csv")) == behind
