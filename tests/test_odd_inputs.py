"""Odd inputs that once fell, of 157 that were typed or put into the files."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from ledgers import BATCHES, FILLINGS, here

from pipeline.cli.table_lines import wrapped
from pipeline.farm.folder import open_farm
from pipeline.logbook.journal import read_journal
from pipeline.logbook.session import _words_of_name

Farm = Callable[..., Path]
ENTRY = {
    "entry": "w1kghjhgw0dbrgp",
    "call": "w1kghjhgw0dbrgp",
    "command": "weigh",
    "file": "harvests.csv",
    "at": "2026-02-03T12:00:00+00:00",
    "cells": {},
    "table": "harvests",
    "values": {"picked_on": "2026-02-03", "fresh_weight_g": "300", "container": "1"},
    "line": "2026-02-03,300,1\n",
    "offset": 4,
}


@pytest.fixture
def folder(farm: Farm) -> Path:
    return farm(batches=BATCHES, fillings=FILLINGS, harvests="picked_on,fresh_weight_g,container,entry\n")


@pytest.mark.parametrize("container", ["", " ", "\t"])
def test_a_blank_container_is_refused(folder: Path, container: str) -> None:
    said = here("weigh", container, "300", "--farm", folder)
    assert (said.code, "blank" in said.err or "missing" in said.err) == (2, True), said.err


@pytest.mark.parametrize("bands", ["nan", "5,inf", "5,,5", "a"])
def test_edges_of_bands_are_numbers(folder: Path, bands: str) -> None:
    said = here("compare", "substrate", "--bands", bands, "--farm", folder)
    assert (said.code, "write numbers with commas between" in said.err) == (2, True)


def test_a_line_of_many_words_is_read_at_once() -> None:
    started = time.perf_counter()
    assert _words_of_name(["1"] * 100_000, ("1", "the big bag")) == 1
    assert _words_of_name(["the", "Big", "bag", "412"], ("1", "the big bag")) == 3
    assert _words_of_name([], ()) == 0
    assert time.perf_counter() - started < 1


def test_a_cell_without_end_is_shown_whole() -> None:
    text = "x" * 1_000_000
    started = time.perf_counter()
    assert "".join(wrapped(text, 70)) == text
    assert time.perf_counter() - started < 1
    assert wrapped("", 70) == [""]


def no_entry(**changed: object) -> str:
    return json.dumps({**ENTRY, **changed})


@pytest.mark.parametrize(
    "line",
    [
        no_entry(at=5),
        no_entry(table="nope"),
        no_entry(cells=[1]),
        no_entry(values={"picked_on": 5}),
        no_entry(offset="4"),
        no_entry(file="../victim.csv"),
        no_entry(file="..\\victim.csv"),
        no_entry(file="/victim.csv"),
        '{"entry": 3}',
        '"undone"',
        "[]",
        "null",
    ],
)
def test_a_journal_line_that_gillbook_did_not_write_says_nothing(folder: Path, line: str) -> None:
    (folder / "logbook.undo.jsonl").write_text(f"{line}\n", encoding="utf-8")
    assert read_journal(open_farm(folder)).entries == {}


def test_no_journal_makes_a_command_cut_a_file_outside_of_the_farm(folder: Path) -> None:
    farm = folder / "inner"
    farm.mkdir()
    for path in folder.glob("*.csv"):
        path.rename(farm / path.name)
    victim = folder / "victim.csv"
    victim.write_text("abc\n2026-02-03,3", encoding="utf-8")
    (farm / "logbook.undo.jsonl").write_text(f"{no_entry(file='../victim.csv')}\n", encoding="utf-8")
    here("settings", "--farm", farm)
    assert victim.read_text(encoding="utf-8") == "abc\n2026-02-03,3"
    # The same of a file of the farm's own is settled: half an entry is taken out.
    (farm / "harvests.csv").write_text("abc\n2026-02-03,3", encoding="utf-8")
    (farm / "logbook.undo.jsonl").write_text(f"{no_entry()}\n", encoding="utf-8")
    here("settings", "--farm", farm)
    assert (farm / "harvests.csv").read_text(encoding="utf-8") == "abc\n"


def test_values_that_are_none_make_no_entry_lost(folder: Path) -> None:
    lines = (no_entry(values={"picked_on": "never", "fresh_weight_g": "x"}), '{"written": "w1kghjhgw0dbrgp"}')
    (folder / "logbook.undo.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")
    said = here("lost", "--farm", folder)
    assert (said.code, "No entry is lost" in said.err) == (0, True), said.err


def test_doctor_tells_of_a_manifest_that_is_damaged(folder: Path) -> None:
    here("refresh", "--farm", folder)
    path = folder / "ledger.manifest.json"
    noted = json.loads(path.read_text(encoding="utf-8"))
    for mark in noted["files"].values():
        mark["read_ns"] = 10**24
    path.write_text(json.dumps({**noted, "counts": [{"rows_in": "x"}]}), encoding="utf-8")
    said = here("doctor", "--farm", folder)
    assert (said.code, said.out.count("cannot be found out"), len(said.out.splitlines())) == (0, 2, 10), said.out


def test_blanks_at_the_ends_of_a_typed_name_are_none_of_it(folder: Path) -> None:
    said = here("batch", "A ", "--on", "2026-02-01", "--substrate", "s", "--strain", "g", "--farm", folder)
    assert (said.code, "batch A is in batches.csv already" in said.err) == (2, True), said.err
    said = here("batch", "C", " C", "--on", "2026-02-01", "--substrate", "s", "--strain", "g", "--farm", folder)
    assert (said.code, "batch C is named twice" in said.err) == (2, True), said.err
    said = here("fill", " 1", "--batch", "A ", "--kg", "5", "--farm", folder)
    assert (said.code, "1 is filled from batch A already" in said.err) == (2, True), said.err
    said = here("weigh", "1 ", "300", "--on", "2026-02-10", "--batch", " A", "--farm", folder)
    assert (said.code, "1 (batch A)" in said.out) == (0, True), said.err
    said = here("note", " 2 ", "pins", "--batch", "A ", "--on", "2026-02-10", "--farm", folder)
    assert (said.code, "2 (batch A)" in said.out) == (0, True), said.err
    assert here("batch", " D ", "--on", "2026-02-01", "--substrate", "s", "--strain", "g", "--farm", folder).code == 0
    said = here("fill", " 9 ", "--batch", " D", "--kg", "5", "--farm", folder)
    assert (said.code, (folder / "fillings.csv").read_text().splitlines()[-1]) == (0, "D,9,5"), said.err


def test_a_blank_name_is_refused(folder: Path) -> None:
    before = (folder / "fillings.csv").read_bytes()
    for words in (("fill", "", " ", "--batch", "A"), ("note", " ", "pins"), ("fill", "7", "--batch", " ")):
        said = here(*words, "--farm", folder)
        assert (said.code, "like" in said.err) == (2, True), said.err
    said = here("batch", " ", "--substrate", "s", "--strain", "g", "--farm", folder)
    assert (said.code, "A batch's name is blank" in said.err) == (2, True), said.err
    assert (folder / "fillings.csv").read_bytes() == before


@pytest.mark.parametrize("name", ["harvests/x.csv", "batches.tsv", "harvests/2026-02.csv", "fillings"])
def test_a_link_that_leads_in_a_circle_stops_nothing(folder: Path, name: str) -> None:
    link = folder / name
    link.parent.mkdir(exist_ok=True)
    link.symlink_to(link.name)
    said = here("weigh", "1", "300", "--on", "2026-03-01", "--farm", folder)
    assert said.code == 0, said.err
    said = here("check", "--farm", folder)
    # A link that is called like a table's folder is read as nothing; one that is called like a file is named.
    of_file = name != "fillings"
    assert (said.code, f"{name}: cannot be opened" in said.err) == (3 * of_file, of_file), said.err
    assert ("leads in a circle. Take it away" in said.err) == of_file, said.err
    assert here("doctor", "--farm", folder).code == 0


def test_no_command_writes_through_a_link_that_leads_in_a_circle(folder: Path) -> None:
    (folder / "harvests.csv").unlink()
    (folder / "harvests").mkdir()
    (folder / "harvests" / "2026-03.csv").symlink_to("2026-03.csv")
    said = here("weigh", "1", "300", "--on", "2026-03-01", "--farm", folder)
    assert (said.code, "leads in a circle. Nothing was written. Take it away." in said.err) == (3, True), said.err
    (folder / "ledger.duckdb").symlink_to("ledger.duckdb")
    said = here("yields", "--farm", folder)
    assert (said.code, "ledger.duckdb is a link that leads in a circle" in said.err) == (2, True), said.err


def test_more_containers_than_a_batch_has_are_asked_about(folder: Path) -> None:
    words = ("note", "--batch", "A", "contaminated", "--on", "2026-02-10", "--farm", folder)
    said = here(*words, "--count", "3")
    assert (said.code, "batch A has 2 containers, not 3" in said.err) == (2, True), said.err
    assert here(*words, "--count", "2").code == 0


@pytest.mark.parametrize("header", ["seen_on,event,container", "seen_on,event,batch", "day,event,batch,container"])
def test_what_check_advises_to_end_a_batch_ends_it(farm: Farm, header: str) -> None:
    batches = f"{BATCHES}\nB,2026-01-02,10,70"
    folder = farm(batches=batches, fillings="batch,container\nB,1", observations=f"{header}\n")
    (folder / "farm.toml").write_text('[headings.observations]\nday = "seen_on"\n', encoding="utf-8")
    here("refresh", "--farm", folder)
    ends = [each for each in here("check", "--json", "--farm", folder).json if each["rule"] == "lapsed"]
    assert [each["value"] for each in ends] == ["A", "1"]
    for each in ends:
        way = each["fix"].split("the day it ended: ")[1]
        if "type this" in each["fix"]:
            assert here(*way.split()[1:], "--farm", folder).code == 0, way
        else:
            with (folder / "observations.csv").open("a", encoding="utf-8") as out:
                out.write(f"{way}\n")
    left = here("check", "--json", "--farm", folder).json
    assert [each for each in left if each["rule"] == "lapsed" or each["level"] == "set_aside"] == []


def test_a_file_that_is_gone_is_not_made_anew_without_asking(folder: Path) -> None:
    (folder / "harvests.csv").unlink()
    on = ("--on", "2026-02-03", "--farm", folder)
    for container in ("1", "2"):
        assert here("weigh", container, "300", *on).code == 0
    assert here("refresh", "--farm", folder).code == 0
    file = folder / "harvests" / "2026-02.csv"
    written = file.read_bytes()
    file.unlink()
    said = here("weigh", "1", "310", *on)
    assert (said.code, file.exists()) == (2, False)
    assert "harvests/2026-02.csv is gone, and its rows still count, by the copy kept/files/harvests/" in said.err
    assert "gillbook lost --put-back" in said.err
    # Into another month it is written, and said that the sum is without the file that is gone.
    said = here("weigh", "1", "310", "--on", "2026-03-03", "--farm", folder)
    assert (said.code, "harvests/2026-02.csv is gone. The rows still count" in said.err) == (0, True), said.err
    # A file that was renamed is not gone; after a refresh neither.
    (folder / "harvests" / "February.csv").write_bytes(written)
    said = here("weigh", "1", "320", *on)
    assert (said.code, "is gone" in said.err) == (0, False), said.err
    assert here("yields", "--farm", folder).code == 0
    file.unlink()
    assert here("weigh", "2", "330", *on).code == 2
    assert here("weigh", "2", "330", *on, "--insist").code == 0
    # As was said, what gillbook wrote in the file that went comes back.
    assert here("refresh", "--farm", folder).code == 0
    assert here("lost", "--put-back", "--insist", "--farm", folder).code == 0
    assert file.read_text(encoding="utf-8").count(",320,") == 1


def test_a_batch_is_renamed_with_how_many_rows_name_the_old_one(folder: Path) -> None:
    assert here("weigh", "1", "300", "--on", "2026-02-03", "--farm", folder).code == 0
    rename = ("edit", "--batch", "A", "--table", "batches", "--set", "batch=Z", "--yes", "--farm", folder)
    said = here(*rename)
    assert (said.code, "3 rows of other files name batch A (2 of fillings and 1 of harvests)" in said.err) == (0, True)
    said = here("edit", "--batch", "Z", "--table", "batches", "--set", "batch=Y", "--yes", "--farm", folder)
    assert (said.code, "name batch" in said.err) == (0, False)


@pytest.mark.parametrize("litres", ["1" + "0" * 300, "9" * 13, "0.0000001"])
def test_a_container_of_any_number_of_litres_ends_no_command(farm: Farm, litres: str) -> None:
    """Found by `make fuzz`. The dry mass is shared by volume where that can be added up, else by no other way."""
    folder = farm(
        batches="batch,inoculated_on,substrate_dry_kg\nA,2026-01-01,2",
        fillings=f"batch,container,volume_l\nA,1,{litres}\nA,2,20",
        harvests="picked_on,fresh_weight_g,container,batch\n2026-02-01,500,1,A\n2026-02-01,500,2,A",
    )
    said = here("yields", "--as-of", "2026-02-02", "--json", "--farm", folder)
    assert said.code == 0, said.err
    (found,) = json.loads(said.out)
    assert found["fresh_g"] == 1000
