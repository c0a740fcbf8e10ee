"""Odd inputs that once fell, of 157 that were typed or put into the files."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from ledgers import BATCHES, FILLINGS, here

from pipeline.cli.show import _wrapped
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
    assert "".join(_wrapped(text, 70)) == text
    assert time.perf_counter() - started < 1
    assert _wrapped("", 70) == [""]


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
