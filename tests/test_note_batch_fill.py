"""Noting, starting batches, filling containers: what is written, what is asked about, what is refused."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest
from conftest import Said
from ledgers import here, refreshed, rows

from pipeline.logbook.batch import propose_names, propose_soak

Farm = Callable[..., Path]
TABLES = {
    "batches": "batch,inoculated_on,strain,substrate,treatment,soak,substrate_wet_kg,moisture_pct,spawn_kg,note\n"
    "A,2026-01-01,grey,straw,cold_lime,S1,20,70,2,\nB,2026-03-01,pink,pulp,steam,S2,20,70,2,",
    "fillings": "batch,container,kind,volume_l,holes_open,holes_taped,fill_kg\n"
    "A,7,bucket,20,6,2,5\nA,8,bag,5,4,,5\nA,9,bucket,20,6,,5\nB,8,bag,10,3,,5",
    "observations": "seen_on,event,container,batch,flush,cause,count,entry,note\n2026-02-20,contaminated,9,A,,,,x,",
    "harvests": "picked_on,fresh_weight_g,container,batch,flush,entry\n"
    "2026-02-01,300,7,A,1,x\n2026-02-02,112.5,7,A,1,y",
}


@pytest.fixture
def folder(farm: Farm) -> Path:
    return farm(**TABLES)


def told(folder: Path, file: str) -> list[dict[str, str]]:
    with (folder / file).open(encoding="utf-8", newline="") as lines:
        return [{name: cell for name, cell in row.items() if cell} for row in csv.DictReader(lines)]


def run(folder: Path, *words: object) -> Said:
    return here(*words, "--farm", folder)


def test_several_containers_are_noted_at_once_each_with_its_batch(folder: Path) -> None:
    said = run(folder, "note", "7-8", "pins", "--on", "2026-03-05", "--flush", "2", "--note", "many")
    assert (said.code, said.err) == (0, "")
    assert said.out == (
        "Noted: pins flush 2 on 2026-03-05: 7 (batch A), 8 (batch B).\n"
        "Written to observations.csv, rows 3 to 4. Take it back: gillbook note --undo\n"
    )
    first, second = told(folder, "observations.csv")[1:]
    assert first.pop("entry") != second.pop("entry")
    row = {"seen_on": "2026-03-05", "event": "pins", "flush": "2", "note": "many"}
    assert [first, second] == [row | {"container": "7", "batch": "A"}, row | {"container": "8", "batch": "B"}]
    refreshed(folder)
    query = "select container, batch, flush from observations where event = 'pins' order by 1"
    assert rows(folder, query) == [("7", "A", 2), ("8", "B", 2)]
    # Both are taken back together.
    said = run(folder, "note", "--undo")
    assert (said.code, said.out.count("Taken back: ")) == (0, 2)
    assert len(told(folder, "observations.csv")) == 1


def test_a_whole_batch_is_one_row(folder: Path) -> None:
    assert (
        "Noted: colonised on 2026-01-20: batch A.\n"
        in run(folder, "note", "--batch", "a", "colonised", "--on", "2026-01-20").out
    )
    said = run(folder, "note", "--batch", "A", "contaminated", "--on", "2026-01-21", "--count", "1", "--cause", "Flies")
    assert "Noted: contaminated flies on 2026-01-21: batch A (1 of its containers).\n" in said.out
    first, second = told(folder, "observations.csv")[1:]
    assert first.keys() == {"seen_on", "event", "batch", "entry"}
    assert (second["count"], second["cause"]) == ("1", "flies")


def test_what_ends_a_container_says_what_it_gave(folder: Path) -> None:
    said = run(folder, "note", "7", "emptied", "--on", "2026-02-20")
    assert "7 (batch A) gave 412.5 g in 2 pickings.\n" in said.out
    said = run(folder, "weigh", "7", "300", "--on", "2026-02-20")
    assert (said.code, "7 (batch A) was emptied on 2026-02-20" in said.err) == (2, True)


NOTES = {
    "no event": (["7"], r"note: write containers and an event, like 7 9 11-20 pins; or --batch B12 colonised\."),
    "an unknown event": (["7", "pinz"], r"pinz: there is no such event\. Did you mean pins\? Events: colonised, .+"),
    "an unknown container": (
        ["70", "pins"],
        r"Nothing was written: container 70 was not filled before 2026-03-05, .+insist\.",
    ),
    "an unknown batch": (["--batch", "C", "pins"], r"Nothing was written: batch C is not in batches.csv.+"),
    "one that ended": (
        ["9", "pins"],
        r"Nothing was written: 9 \(batch A\) ended already, on 2026-02-20 \(contaminated\)\. .+",
    ),
    "a count of containers": (["7", "pins", "--count", "2"], r"--count tells how many of a batch's containers: .+"),
    "a count of none": (["--batch", "A", "pins", "--count", "0"], r"--count 0: write a whole number, from 1\."),
    "a range that runs backwards": (["9-7", "pins"], r"9-7: a range goes from the lower number to the higher, .+"),
}


@pytest.mark.parametrize("name", NOTES)
def test_a_note_that_is_doubtful_or_wrong_is_refused(folder: Path, name: str) -> None:
    words, message = NOTES[name]
    said = run(folder, "note", *words, "--on", "2026-03-05")
    assert (said.code, said.out) == (2, "")
    assert re.fullmatch(message + "\n", said.err), said.err
    assert len(told(folder, "observations.csv")) == 1


def test_a_note_of_tomorrow_is_refused(folder: Path) -> None:
    tomorrow = (date.today() + timedelta(2)).isoformat()
    said = run(folder, "note", "7", "pins", "--on", tomorrow)
    assert (said.code, said.err.startswith(f"--on {tomorrow}: that day lies in the future")) == (2, True)


def test_a_batch_gets_a_name_from_date_and_letter_and_the_recipe_of_another(folder: Path) -> None:
    words = ("--like", "A", "--on", "2026-05-14", "--wet", "18.5", "--moisture", "71.5", "--spawn", "4lb")
    said = run(folder, "batch", *words, "--set", "ph_start=12.4", "--batches", "2")
    assert said.code == 0
    assert said.out.splitlines()[0] == "Started: batches 260514a, 260514b of soak 260514, inoculated on 2026-05-14."
    # batches.csv has no column ph_start, so both went beside it.
    assert said.err.startswith("batches.csv has no column ph_start: the entry goes into a file beside it")
    row = {
        "inoculated_on": "2026-05-14",
        "strain": "grey",
        "substrate": "straw",
        "treatment": "cold_lime",
        "soak": "260514",
        "substrate_wet_kg": "18.5",
        "moisture_pct": "71.5",
        "spawn_kg": "1.814369",
        "ph_start": "12.4",
    }
    assert told(folder, "batches/logbook.csv") == [row | {"batch": f"260514{letter}"} for letter in "ab"]
    said = run(folder, "batch", "--strain", "pink", "--substrate", "straw", "--soak", "260514", "--on", "2026-05-14")
    assert said.out.startswith("Started: batch 260514c of soak 260514, inoculated on 2026-05-14.\n")
    assert told(folder, "batches.csv")[-1] == {
        "batch": "260514c", "inoculated_on": "2026-05-14", "strain": "pink", "substrate": "straw", "soak": "260514"
    }  # fmt: skip
    refreshed(folder)
    assert rows(folder, "select count(*), count(distinct soak) from batches") == [(5, 3)]


def test_names_of_batches_and_soaks_are_the_next_free_ones() -> None:
    day = date(2026, 5, 14)
    assert propose_names([], day, 2) == ["260514a", "260514b"]
    assert propose_names(["260514A", "260514c", "260513b"], day, 3) == ["260514b", "260514d", "260514e"]
    assert propose_soak(["260514", "260514-2"], day) == "260514-3"


BATCHES = {
    "nothing known of it": (
        [],
        r"batch: --strain and --substrate are missing\. Give them, or --like an earlier batch\.",
    ),
    "a name that is taken": (["b", "--like", "A"], r"batch b is in batches.csv already\. .+"),
    "an unknown model": (["--like", "AA"], r"--like AA: there is no such batch\..*"),
    "moisture beyond 100": (
        ["--like", "A", "--moisture", "120"],
        r"--moisture 120: moisture cannot be 120 %\. Check it\.",
    ),
    "an odd moisture": (
        ["--like", "A", "--moisture", "12"],
        r"Nothing was written: a moisture of 12 % is outside 40 to 85\. .+",
    ),
    "much spawn": (
        ["--like", "A", "--wet", "10", "--spawn", "5"],
        r"Nothing was written: 5 kg of spawn is 50 % of 10 kg of wet .+",
    ),
    "an odd treatment": (
        ["--like", "A", "--treatment", "sun"],
        r"Nothing was written: sun is none of the usual treatments .+",
    ),
    "an unknown form": (
        ["--like", "A", "--spawn-form", "grains"],
        r"--spawn-form grains: it is none of grain, .+\. Did you mean grain\?",
    ),
    "no column": (["--like", "A", "--set", "ph=12"], r"--set ph=12: write COLUMN=VALUE with a column of batches\..*"),
    "names and a number": (["X", "Y", "--like", "A", "--batches", "3"], r"--batches 3: 2 names are given\. .+"),
}


@pytest.mark.parametrize("name", BATCHES)
def test_a_batch_that_is_doubtful_or_wrong_is_refused(folder: Path, name: str) -> None:
    words, message = BATCHES[name]
    said = run(folder, "batch", *words, "--on", "2026-05-14")
    assert (said.code, said.out) == (2, "")
    assert re.fullmatch(message + "\n", said.err), said.err
    assert len(told(folder, "batches.csv")) == 2


def test_filling_copies_what_a_container_keeps_and_says_what_it_ends(folder: Path) -> None:
    run(folder, "batch", "C", "--like", "A", "--on", "2026-05-14")
    said = run(folder, "fill", "--batch", "C", "7-9", "20", "--kg", "14 lb")
    assert (said.code, said.err) == (0, "")
    assert said.out.splitlines() == [
        "Filled from batch C: 4 containers: 7, 8, 9, 20.",
        "7: that ends its filling from batch A, which gave 412.5 g in 2 pickings.",
        "8: that ends its filling from batch B, which gave 0 g in 0 pickings.",
        "New: 20.",
        "Written to fillings.csv, rows 6 to 9. To take it back, delete it there.",
    ]
    row = {"batch": "C", "fill_kg": "6.350293"}
    assert told(folder, "fillings.csv")[4:] == [
        row | {"container": "7", "kind": "bucket", "volume_l": "20", "holes_open": "6", "holes_taped": "2"},
        # of its last filling, from batch B
        row | {"container": "8", "kind": "bag", "volume_l": "10", "holes_open": "3"},
        row | {"container": "9", "kind": "bucket", "volume_l": "20", "holes_open": "6"},
        row | {"container": "20"},
    ]
    refreshed(folder)
    ended = (
        "select f.batch, c.closed_by from closings c join fillings f on f.line = c.filling_line where container = '7'"
    )
    assert rows(folder, ended) == [("A", "refilled")]
    assert "Logged: 7 (batch C)" in run(folder, "weigh", "7", "300", "--on", "2026-06-10").out


FILLINGS = {
    "no batch": (["7"], r"fill: write the batch and the containers, like fill --batch B12 7 9 11-20\."),
    "filled from it already": (
        ["--batch", "B", "7", "8"],
        r"8 is filled from batch B already, by fillings.csv\. Nothing was written\.",
    ),
    "an unknown batch": (
        ["--batch", "Z", "7"],
        r"Nothing was written: batch Z is not in batches.csv, so these fillings would .+",
    ),
    "filled since": (["--batch", "A", "20", "8"], r"8 is filled from batch A already, .+"),
    "filled later": (
        ["--batch", "A2", "8"],
        r"Nothing was written: 8 was filled from batch B on 2026-03-01, after 2026-02-01\. .+",
    ),
    "no holes": (["--batch", "B", "7", "--holes", "2.5"], r"--holes 2.5: that is no whole number\. .+"),
    "no volume": (["--batch", "B", "7", "--volume", "0"], r"--volume 0: it must be more than 0\. .+"),
}


@pytest.mark.parametrize("name", FILLINGS)
def test_a_filling_that_is_doubtful_or_wrong_is_refused(folder: Path, name: str) -> None:
    run(folder, "batch", "A2", "--like", "A", "--on", "2026-02-01")
    words, message = FILLINGS[name]
    said = run(folder, "fill", *words)
    assert (said.code, said.out) == (2, "")
    assert re.fullmatch(message + "\n", said.err), said.err
    assert len(told(folder, "fillings.csv")) == 4


def test_a_range_with_points_is_a_range_and_a_comma_is_asked_about(folder: Path) -> None:
    said = run(folder, "fill", "20L-4..6", "--batch", "B", "--kg", "6.5", "--volume", "20")
    assert (said.code, "3 containers: 20L-4, 20L-5, 20L-6." in said.out) == (0, True), said.err
    before = (folder / "fillings.csv").read_bytes()
    said = run(folder, "fill", "21,22", "--batch", "B", "--kg", "6.5")
    assert (said.code, said.out, (folder / "fillings.csv").read_bytes()) == (2, "", before)
    assert said.err.startswith("21,22: is that one container, or several? Names stand apart, like 21 22.")
    assert run(folder, "fill", "6..4", "--batch", "B").code == 2


def test_emptied_before_the_last_picking_is_asked_about(folder: Path) -> None:
    said = run(folder, "note", "7", "emptied", "--on", "2026-02-01")
    assert (said.code, "7 (batch A) was picked on 2026-02-02, after it was emptied." in said.err) == (2, True)
    assert run(folder, "note", "7", "emptied", "--on", "2026-02-02").code == 0
