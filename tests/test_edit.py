"""Correcting and removing one entry: which is meant, what it becomes, where the old row is, and taking it back."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest
from conftest import Said
from ledgers import here, rows

Farm = Callable[..., Path]
TABLES = {
    "batches": "batch,inoculated_on,substrate_wet_kg,moisture_pct\nA,2026-01-01,10,70\nB,2026-03-01,10,70",
    "fillings": "batch,container,fill_kg,kind\nA,7,5,bucket\nA,8,5,bucket\nB,8,5,bucket",
    "observations": "seen_on,event,container,batch,entry\n2026-02-01,pins,7,A,x",
    "harvests": "picked_on,fresh_weight_g,container,batch,flush,entry,note\n2026-02-03,412,7,A,1,,\n"
    '2026-02-04,300,7,A,1,,"a, ""b"""\n2026-02-04,310,7,A,1,,\n2026-03-05,200,8,B,1,,',
}


@pytest.fixture
def folder(farm: Farm) -> Path:
    return farm(**TABLES)


def edit(folder: Path, *words: object) -> Said:
    return here("edit", *words, "--farm", folder)


def lines(folder: Path, file: str = "harvests.csv") -> list[str]:
    return (folder / file).read_text(encoding="utf-8").splitlines()


def log(folder: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in lines(folder, "kept/edited.jsonl")]


def test_an_entry_is_corrected_and_everything_follows(folder: Path) -> None:
    assert here("yields", "--farm", folder).code == 0
    said = edit(folder, "7", "--on", "2026-02-03", "--set", "weight=0,421 kg", "--yes")
    assert (said.code, said.err) == (0, "")
    assert said.out.splitlines()[:3] == [
        "harvests.csv, row 2:",
        "  picked_on       2026-02-03",
        "  fresh_weight_g  412  ->  421",
    ]
    assert "The row as it was is in kept/edited.jsonl." in said.out
    assert lines(folder)[1] == "2026-02-03,421,7,A,1,,"
    assert (log(folder)[0]["before"], log(folder)[0]["after"]) == ("2026-02-03,412,7,A,1,,", "2026-02-03,421,7,A,1,,")
    assert rows(folder, "select fresh_weight_g from harvests order by row")[0] == (421,)
    said = edit(folder, "--undo")
    assert (said.code, said.out) == (0, "Taken back: harvests.csv, row 2 is again: 2026-02-03,412,7,A,1,,\n")
    assert lines(folder)[1] == "2026-02-03,412,7,A,1,,"
    assert rows(folder, "select fresh_weight_g from harvests order by row")[0] == (412,)
    assert edit(folder, "--undo").code == 2


def test_several_are_listed_and_the_one_named_by_file_and_row_is_removed(folder: Path) -> None:
    before = (folder / "harvests.csv").read_bytes()
    said = edit(folder, "7", "--on", "2026-02-04", "--remove", "--yes")
    assert (said.code, said.out, (folder / "harvests.csv").read_bytes()) == (2, "", before)
    assert said.err.startswith("2 entries may be meant. Name one:\n  gillbook edit --file harvests.csv --row 3   (")
    said = edit(folder, "--file", "harvests.csv", "--row", "3", "--remove", "--yes")
    assert (said.code, said.out.splitlines()[-3:-1]) == (
        0,
        ["  ->  taken out", "Taken out of harvests.csv, row 3. The row as it was is in kept/edited.jsonl."],
    )
    assert [line.split(",")[1] for line in lines(folder)[1:]] == ["412", "310", "200"]
    # Entered since, the row goes back to where it stood.
    assert here("weigh", "7", "333", "--on", "2026-02-05", "--insist", "--farm", folder).code == 0
    assert edit(folder, "--undo").code == 0
    assert (folder / "harvests.csv").read_bytes().startswith(before)
    assert len(lines(folder)) == 6


def test_an_entry_is_meant_by_its_id_and_weigh_does_not_miss_what_edit_removed(folder: Path) -> None:
    yesterday = date.today() - timedelta(days=1)
    out = here("weigh", "7", "500", "--on", "yesterday", "--insist", "--farm", folder).out
    entry = out.split("(entry ")[1].split(")")[0]
    said = edit(folder, entry)
    assert (said.code, f"picked_on       {yesterday}" in said.out) == (0, True)
    assert edit(folder, entry, "--set", f"on={yesterday - timedelta(days=1)}", "--yes").code == 0
    said = here("weigh", "--undo", "--farm", folder)
    assert (said.code, f"If it is wrong: gillbook edit {entry} --remove" in said.err) == (3, True)
    assert edit(folder, entry, "--remove", "--yes").code == 0
    assert here("weigh", "7", "501", "--on", "yesterday", "--insist", "--farm", folder).err == ""


def test_with_the_container_the_batch_follows(folder: Path) -> None:
    said = edit(folder, "8", "--on", "2026-03-05", "--set", "on=2026-02-05", "--yes")
    held, stays = said.err.splitlines()
    assert (said.code, held) == (0, "On 2026-02-05 container 8 held batch A.")
    assert stays.startswith(
        "Its flush stays 1, as it is written, and is not worked out anew. To change it: --set flush=N"
    )
    assert lines(folder)[4] == "2026-02-05,200,8,A,1,,"
    said = edit(folder, "8", "--on", "2026-02-05", "--set", "on=2026-02-06", "--set", "flush=", "--yes")
    assert "flush stays" not in said.err
    assert lines(folder)[4] == "2026-02-06,200,8,A,,,"
    said = edit(folder, "8", "--on", "2026-02-06", "--set", "container=77", "--yes")
    assert said.err.startswith("Container 77 was not filled before 2026-02-06")


def test_batches_fillings_and_observations_are_corrected_too(folder: Path) -> None:
    assert edit(folder, "--batch", "A", "--set", "moisture=72", "--set", "wet=11", "--yes").code == 0
    assert lines(folder, "batches.csv")[1].startswith("A,2026-01-01,11,72")
    assert edit(folder, "8", "--batch", "B", "--set", "kg=6.5", "--set", "kind=", "--yes").code == 0
    assert lines(folder, "fillings.csv")[3] == "B,8,6.5,"
    assert edit(folder, "7", "--on", "2026-02-01", "--set", "event=opened", "--yes").code == 0
    assert lines(folder, "observations.csv")[1] == "2026-02-01,opened,7,A,x"


REFUSED = {
    "no name": ([], "edit: name the entry"),
    "nothing there": (["7", "--on", "2026-02-07"], r"There are entries of 2026-02-01, 2026-02-03, 2026-02-04\."),
    "a row alone": (["--row", "3"], "--file and --row go together"),
    "no such row": (["--file", "harvests.csv", "--row", "30"], "has no entry in row 30"),
    "no such file": (["--file", "harvest.csv", "--row", "3"], r"no table is read from such a file\. Did you mean"),
    "no such column": (["7", "--on", "2026-02-03", "--set", "wieght=3", "--yes"], r"no such column\. Did you mean"),
    "no such cell": (["7", "--on", "2026-02-03", "--set", "stage=flat", "--yes"], "has no column cap_stage"),
    "no value": (["7", "--on", "2026-02-03", "--set", "weight", "--yes"], "write COLUMN=VALUE"),
    "a blank day": (["7", "--on", "2026-02-03", "--set", "on=", "--yes"], "picked_on cannot be blank"),
    "no weight": (["7", "--on", "2026-02-03", "--set", "weight=much", "--yes"], "that is no amount"),
    "both": (["7", "--on", "2026-02-03", "--set", "weight=3", "--remove"], "Give one of the two"),
    "the same": (["7", "--on", "2026-02-03", "--set", "weight=412", "--yes"], "it says so already"),
    "nobody to ask": (["7", "--on", "2026-02-03", "--set", "weight=413"], r"Nothing was changed\. If it is right"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_meant_is_refused_and_nothing_changes(folder: Path, name: str) -> None:
    words, message = REFUSED[name]
    before = (folder / "harvests.csv").read_bytes()
    said = edit(folder, *words)
    assert (said.code, (folder / "harvests.csv").read_bytes()) == (2, before)
    assert re.search(message, said.err), said.err
    assert not (folder / "kept/edited.jsonl").exists()


def test_in_the_files_own_words_units_and_marks(farm: Farm) -> None:
    settings = 'decimal_mark = ","\ndate_order = "day_month_year"\n[headings.harvests]\n"Day" = "picked_on"\n'
    folder = farm(
        settings + '"Weight (oz)" = {column = "fresh_weight_g", unit = "oz"}\n"Bucket" = "container"\n',
        **{
            **TABLES,
            "harvests": "Day;Weight (oz);Bucket\n03.02.2026;14,5;7",
        },
    )
    assert (
        edit(folder, "7", "--on", "03.02.2026", "--set", "weight (oz)=15,25", "--set", "Day=2.2.2026", "--yes").code
        == 0
    )
    assert lines(folder)[1] == "02.02.2026;15,25;7"


def test_for_a_workbook_it_says_what_to_open_and_which_cell(farm: Farm) -> None:
    openpyxl = pytest.importorskip("openpyxl")
    folder = farm(**{name: text for name, text in TABLES.items() if name != "harvests"})
    book = openpyxl.Workbook()
    for row in (["picked_on", "container", "fresh_weight_g"], ["2026-02-03", "7", 412]):
        book.active.append(row)
    book.save(folder / "harvests.xlsx")
    before = (folder / "harvests.xlsx").read_bytes()
    said = edit(folder, "7", "--on", "2026-02-03", "--set", "weight=421", "--yes")
    assert (said.code, (folder / "harvests.xlsx").read_bytes()) == (2, before)
    assert "is a workbook, which only a spreadsheet writes: open it, change cell C2 (fresh_weight_g) there" in said.err


def test_a_file_open_in_a_spreadsheet_or_changed_meanwhile_is_left_alone(folder: Path) -> None:
    before = (folder / "harvests.csv").read_bytes()
    (folder / ".~lock.harvests.csv#").write_text("someone", encoding="utf-8")
    said = edit(folder, "7", "--on", "2026-02-03", "--set", "weight=421", "--yes")
    assert (said.code, (folder / "harvests.csv").read_bytes()) == (3, before)


KILLED = """
import os, sys
left = int(sys.argv.pop(1))
def dying(real):
    def call(*given, **more):
        global left
        left -= 1
        if left == 0:
            os._exit(9)
        return real(*given, **more)
    return call
os.replace, os.fsync = dying(os.replace), dying(os.fsync)
from pipeline.cli import run
run()
"""


def killed(folder: Path, call: int, *words: str) -> int:
    """Runs the program until its so-manyth call that makes something last; gives its exit code."""
    given = [sys.executable, "-c", KILLED, str(call), *words, "--farm", str(folder)]
    return subprocess.run(given, env=os.environ, capture_output=True, check=False).returncode


def test_killed_midway_it_is_all_or_nothing_and_undo_still_works(folder: Path) -> None:
    before = (folder / "harvests.csv").read_bytes()
    seen = set()
    words = ("edit", "7", "--on", "2026-02-03", "--set", "weight=421", "--yes")
    for call in range(1, 6):
        assert killed(folder, call, *words) in (0, 9)
        now = (folder / "harvests.csv").read_bytes()
        assert now in (before, before.replace(b"412", b"421"))
        seen.add(now)
        if now != before:
            assert edit(folder, "--undo").code == 0
        else:
            assert edit(folder, "--undo").code == 2
        assert (folder / "harvests.csv").read_bytes() == before
    assert len(seen) == 2


def test_undo_of_several_rows_killed_midway_is_all_or_nothing(folder: Path) -> None:
    def noted() -> int:
        return len(lines(folder, "observations.csv")) - 2

    for call in (1, 2, 3):
        assert here("note", "7", "8", "pins", "--on", "2026-02-20", "--farm", folder).code == 0
        # A row behind them, so that they are cut out of the middle.
        with (folder / "observations.csv").open("a", encoding="utf-8") as more:
            more.write("2026-02-21,pins,7,A,y\n")
        assert killed(folder, call, "note", "--undo") in (0, 9)
        assert noted() in (3 + call - 1, 1 + call - 1)
        if noted() == 3 + call - 1:
            assert here("note", "--undo", "--farm", folder).code == 0
        assert noted() == call
