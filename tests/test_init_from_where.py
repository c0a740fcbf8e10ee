"""init --from: into which folder it writes, and what it asks where the files leave something open."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from ledgers import here

from pipeline.adopt.make import FarmToBe, make_farm
from pipeline.adopt.sheets import read_source

LOG = "Date,Bucket,Batch,Weight (g)\n2026-05-13,A,7,412\n"
# In no cell is it clear which mark parts thousands, or which part of a date is the month.
OPEN = "Date;Bucket;Batch;Weight (g)\n03/04/2026;A;7;1.250\n05/04/2026;B;7;1.310\n"


@pytest.fixture
def log(tmp_path: Path) -> Path:
    (tmp_path / "log.csv").write_text(LOG, encoding="utf-8")
    return tmp_path / "log.csv"


def test_the_empty_folder_that_one_stands_in_becomes_the_farm(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (log.parent / "farm").mkdir()
    monkeypatch.chdir(log.parent / "farm")
    said = here("init", ".", "--from", "../log.csv", "--yes")
    assert (said.code, said.err) == (0, "")
    assert Path("log.csv").read_text(encoding="utf-8") == LOG
    assert here("check", "--as-of", "2026-05-20").code == 0
    # Its batch is nowhere else: the farm has it, for the grower to fill in.
    assert Path("batches.csv").read_text(encoding="utf-8").split("\n")[1].startswith("7,")


def test_an_empty_folder_is_left_empty_where_not_all_can_be_written(log: Path) -> None:
    folder = log.parent / "farm"
    folder.mkdir()
    with pytest.raises(UnicodeEncodeError):
        make_farm(folder, FarmToBe([read_source(log, "log.csv")], "\ud800", ("harvests",)))
    assert list(folder.iterdir()) == []


def test_what_a_stopped_init_left_behind_is_in_nobodys_way_and_stays(log: Path) -> None:
    left = log.parent / "farm.new-1"
    left.mkdir()
    (left / "log.csv").write_text("mine", encoding="utf-8")
    assert here("init", log.parent / "farm", "--from", log, "--yes").code == 0
    assert (log.parent / "farm/farm.toml").exists()
    assert (left / "log.csv").read_text(encoding="utf-8") == "mine"
    assert [path.name for path in log.parent.glob("farm.new*")] == ["farm.new-1"]


def test_the_folder_is_shown_before_anything_is_written_into_it(log: Path) -> None:
    folder = log.parent / "farm"
    assert (
        f"It would be written with copies of your files, into:\n  {folder}\n" in here("init", folder, "--from", log).out
    )
    assert f"It would be written beside your files, into:\n  {log.parent}\n" in here("init", "--from", log).out
    assert [path.name for path in log.parent.iterdir()] == ["log.csv"]


def test_only_what_the_cells_may_mean_is_offered_with_the_way_to_say_it(log: Path) -> None:
    log.write_text(OPEN, encoding="utf-8")
    said = " ".join(here("init", "--from", log).out.split())
    assert 'Which date_order do your files have? --date-order "day_month_year" or "month_day_year" ' in said
    assert 'Which decimal_mark do your files have? --decimal-mark "." or "," ' in said
    # With a decimal comma told, the point can only part thousands.
    said = " ".join(here("init", "--from", log, "--decimal-mark", ",").out.split())
    assert '--thousands-mark "" or "." or " " or "\'" ' in said


@pytest.mark.skipif(os.name == "nt", reason="a terminal to type at is made in another way there")
def test_an_answer_that_is_none_is_asked_for_again_and_never_taken_as_left_open(log: Path) -> None:
    import pty

    log.write_text(OPEN, encoding="utf-8")
    typed, terminal = pty.openpty()
    os.write(typed, b"comma\n,\n.\ndmy\nday_month_year\ny\n")
    run = [sys.executable, "-c", "from pipeline.cli import run; run()", "init", "--from", str(log)]
    done = subprocess.run(run, stdin=terminal, capture_output=True, text=True, timeout=100, check=False)
    os.close(typed)
    os.close(terminal)
    assert done.returncode == 0, done.stderr
    assert '"comma" is none of these.\n' in done.stderr
    assert '"dmy" is none of these.\n' in done.stderr
    written = tomllib.loads((log.parent / "farm.toml").read_text(encoding="utf-8"))
    told = {name: written[name] for name in ("decimal_mark", "thousands_mark", "date_order")}
    assert told == {"decimal_mark": ",", "thousands_mark": ".", "date_order": "day_month_year"}
