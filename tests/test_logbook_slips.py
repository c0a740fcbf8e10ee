"""Slips of the hand and of the folder: what cannot be meant is refused, and no record is written over."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest
from conftest import Said
from ledgers import here

from pipeline.farm.folder import open_farm
from pipeline.logbook import append, book, undo
from pipeline.logbook.destination import destination_for

Farm = Callable[..., Path]
HEAD = "picked_on,fresh_weight_g,container,batch,flush,cap_stage,culled_g,picker,entry,note\n"
TABLES = {
    "batches": "batch,inoculated_on,strain,substrate\nA,2026-01-01,grey,straw",
    "fillings": "batch,container\nA,7\nA,8\nA,9",
    "observations": "seen_on,event,container,batch,flush,cause,count,entry,note\n",
}


@pytest.fixture
def folder(farm: Farm) -> Path:
    made = farm(**TABLES)
    (made / "harvests").mkdir()
    return made


def run(folder: Path, *words: object) -> Said:
    return here(*words, "--farm", folder)


SLIPS = {
    "a flush behind zeros": (["weigh", "7", "300", "--flush", "0019999"], "--flush 0019999: flushes are counted"),
    "a count without end": (["note", "--batch", "A", "emptied", "--count", "9" * 5000], "--count 999"),
    "a picking of another age": (["weigh", "7", "300", "--on", "0201-01-01"], "--on 0201-01-01: no record goes back"),
    "a note of another age": (["note", "7", "pins", "--on", "1800-01-01"], "--on 1800-01-01: no record goes back"),
    "a batch of another age": (["batch", "C", "--like", "A", "--on", "1700-01-01"], "--on 1700-01-01: no record"),
    "a batch twice": (["batch", "C", "c", "--like", "A"], "batch c is named twice."),
    "no value": (
        ["batch", "C", "--like", "A", "--set", "soak"],
        "--set soak: write COLUMN=VALUE with a column of batches.\n",
    ),
}


@pytest.mark.parametrize("name", SLIPS)
def test_a_slip_is_refused_also_from_one_who_insists(folder: Path, name: str) -> None:
    words, message = SLIPS[name]
    before = {path: path.read_bytes() for path in folder.rglob("*.csv")}
    said = run(folder, *words, "--insist")
    assert (said.code, said.out) == (2, "")
    assert said.err.startswith(message)
    assert {path: path.read_bytes() for path in folder.rglob("*.csv")} == before


def test_two_doubts_are_two_sentences_where_one_asks(folder: Path) -> None:
    said = run(folder, "note", "70", "71", "pins", "--on", "2026-02-03")
    assert "by fillings.csv. Did you mean 7? Container 71 was not filled" in said.err
    assert "Did you mean 7? If it is right, say so with --insist.\n" in said.err


def test_several_notes_are_taken_back_all_or_none(folder: Path) -> None:
    run(folder, "note", "7", "8", "9", "pins", "--on", "2026-02-03")
    file = folder / "observations.csv"
    changed = re.sub("pins,7", "suspect,7", file.read_text(encoding="utf-8"))
    file.write_text(changed, encoding="utf-8")
    said = run(folder, "note", "--undo")
    assert (said.code, said.out) == (3, "")
    assert (
        'row 2: the entry was changed since it was written (event was "pins", now "suspect"). Nothing was' in said.err
    )
    assert file.read_text(encoding="utf-8") == changed


def test_what_is_taken_back_is_told_in_the_units_of_its_file(farm: Farm) -> None:
    settings = 'decimal_mark = ","\n[headings.harvests]\nOunces = {column = "fresh_weight_g", unit = "oz"}\n'
    folder = farm(settings, **{name: text.replace(",", ";") for name, text in TABLES.items()})
    run(folder, "weigh", "7", "14,5", "--on", "2026-02-03", "--stage", "t", "--note", "=wet")
    said = run(folder, "weigh", "--undo")
    assert said.out.startswith("Taken back: 7 (batch A), 2026-02-03: 14,5 oz, flush 1, turned_down, =wet, entered at ")


def test_what_a_container_gave_is_told_in_the_farms_numbers(farm: Farm) -> None:
    folder = farm('decimal_mark = ","\n', **{name: text.replace(",", ";") for name, text in TABLES.items()})
    for _ in range(5):
        run(folder, "weigh", "7", "412,5", "--on", "2026-02-03", "--insist")
    assert (
        "Nothing was written: the same, 7 (batch A) 412,5 g, was"
        in run(folder, "weigh", "7", "412,5", "--on", "2026-02-03").err
    )
    assert "culled 1000 g is more than the 412,5 g it" in run(folder, "weigh", "7", "412,5", "--culled", "1000").err
    said = run(folder, "note", "7", "emptied", "--on", "2026-03-01")
    assert "7 (batch A) gave 2062,5 g in 5 pickings.\n" in said.out


def test_a_file_behind_a_link_stays_the_record(folder: Path) -> None:
    """Some keep harvests/ on a drive that is shared, and link its files."""
    record, link = folder / "drive.csv", folder / "harvests/2026-02.csv"
    record.write_text(HEAD, encoding="utf-8")
    link.symlink_to(record)
    for container in (7, 8):
        assert run(folder, "weigh", container, "300", "--on", "2026-02-03").code == 0
    with record.open("a", encoding="utf-8") as lines:
        lines.write("2026-02-03,111,9,A,1,,,,,\n")
    # From the middle of the file, so that it is written anew.
    assert run(folder, "weigh", "--undo").code == 0
    assert link.is_symlink()
    assert [line.split(",")[2] for line in record.read_text(encoding="utf-8").splitlines()] == ["container", "7", "9"]


def test_a_link_to_a_drive_that_is_away_is_not_written_over(folder: Path) -> None:
    link = folder / "harvests/2026-02.csv"
    link.symlink_to(folder / "away" / "2026-02.csv")
    said = run(folder, "weigh", "7", "300", "--on", "2026-02-03")
    assert (said.code, said.out) == (3, "")
    assert said.err == (
        "harvests/2026-02.csv is a link to a file that is not there. Nothing was written. Bring the file back.\n"
    )
    assert link.is_symlink()


def test_a_file_that_another_program_made_meanwhile_is_added_to(folder: Path) -> None:
    """Between looking and making, a phone's folder may bring the same name."""
    opened = open_farm(folder)
    summaries = book.Book(opened)
    summaries.scan()
    day = datetime(2026, 2, 3).date()
    destination, _ = destination_for(opened, summaries.summaries, "harvests", day, ())
    (folder / destination.name).write_text(HEAD + "2026-02-03,111,9,A,1,,,,,\n", encoding="utf-8")
    with pytest.raises(append.ChangedMeanwhile):
        append.make(opened, destination.name, HEAD)
    assert run(folder, "weigh", "7", "300", "--on", "2026-02-03").code == 0
    assert len((folder / destination.name).read_text(encoding="utf-8").splitlines()) == 3


def test_a_month_in_capitals_is_the_same_file(folder: Path) -> None:
    """On Windows and macOS it cannot be another."""
    (folder / "harvests/2026-02.CSV").write_text(HEAD, encoding="utf-8")
    said = run(folder, "weigh", "7", "300", "--on", "2026-02-03")
    assert "Written to harvests/2026-02.CSV, row 2" in said.out
    assert [path.name for path in (folder / "harvests").iterdir()] == ["2026-02.CSV"]
    assert undo.take_back(open_farm(folder), "weigh", "2026-02-03T07:00:00")[0].row == 2
