"""Giving up a file takes its rows out and loses nothing; the history tells what was loaded when, and what changed."""

from __future__ import annotations

import json
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

import pytest
from conftest import Said, write_table
from ledgers import BATCHES, HARVESTS, THREE_TABLES, here, refreshed, rows, tables

from pipeline.farm.folder import open_farm
from pipeline.ledger.history import read_history
from schemas.contract import contract

Farm = Callable[..., Path]
HEADER, FIRST, SECOND = HARVESTS.split("\n")


def forget(folder: Path, file: object) -> Said:
    return here("forget", file, "--farm", folder)


def test_a_vanished_file_is_given_up_and_its_copy_put_by(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    content = (folder / "harvests.csv").read_bytes()
    (folder / "harvests.csv").unlink()
    said = forget(folder, "harvests.csv")
    assert said == Said(
        "harvests.csv is given up.\n"
        "The copy is now kept/forgotten/harvests/harvests.csv; to undo this, copy it\nback.\n",
        "harvests.csv was given up: 2 rows went.\n",
        0,
    )
    assert (folder / "kept/forgotten/harvests/harvests.csv").read_bytes() == content
    assert rows(folder, "select count(*) from harvests") == [(0,)]
    assert refreshed(folder).messages == []
    (folder / "harvests.csv").write_bytes(content)  # a forgotten file that comes back is just a file
    assert refreshed(folder).messages == []
    assert rows(folder, "select count(*) from harvests") == [(2,)]
    write_table(folder, "harvests", f"{HEADER}\n{FIRST}")
    refreshed(folder)
    (folder / "harvests.csv").unlink()
    assert "kept/forgotten/harvests/harvests-2.csv" in forget(folder, "harvests.csv").out
    assert (folder / "kept/forgotten/harvests/harvests.csv").read_bytes() == content


def test_a_broken_file_that_is_given_up_is_passed_over_until_it_can_be_read(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    good = (folder / "harvests.csv").read_bytes()
    (folder / "harvests.csv").write_bytes(b"")
    said = forget(folder, "harvests.csv")
    assert (said.code, said.err) == (0, "harvests.csv was given up: 2 rows went.\n")
    assert "The file itself stays where it is, and is passed over until it can be read.\n" in said.out
    assert "given up" not in here("yields", "--farm", folder).err
    assert rows(folder, "select status, rows_in from files where file = 'harvests.csv'") == [("given_up", 0)]
    said = here("check", "--as-of", "2026-01-02", "--farm", folder)
    assert "  harvests.csv: cannot be read and was given up; no row of it counts. harvests.csv: is empty." in said.out
    said = forget(folder, "harvests.csv")
    assert (said.code, said.err) == (
        2,
        "harvests.csv is given up already. Mend it, or take it out of the folder.\n",
    )
    (folder / "harvests.csv").write_bytes(b"\xff")  # broken another way
    assert refreshed(folder).messages == []
    (folder / "harvests.csv").write_bytes(good)
    assert refreshed(folder).messages == ["harvests.csv can be read again: 2 rows came since it was last read."]
    (folder / "harvests.csv").write_bytes(b"")
    assert (
        refreshed(folder).messages[0].startswith("harvests.csv: cannot be read, and its 2 last good rows still count.")
    )


def test_a_file_that_was_never_read_can_be_given_up_so_that_work_goes_on(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    (folder / "harvests").mkdir()
    (folder / "harvests/new.csv").write_bytes(b"")
    assert here("yields", "--farm", folder).code == 3
    said = forget(folder, "harvests/new.csv")
    assert (said.code, said.err) == (0, "harvests/new.csv was given up.\n")
    assert here("yields", "--farm", folder).code == 0
    (folder / "kept/given_up.json").unlink()
    assert here("yields", "--farm", folder).code == 3


def test_only_a_file_that_is_gone_or_broken_can_be_given_up(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    said = forget(folder, "harvests.csv")
    assert (said.code, said.out) == (2, "")
    assert said.err.startswith("harvests.csv stands in the folder and is read well: there is nothing to give up.")
    for told, answer in (
        ("harvest.csv", "Did you mean harvests.csv?"),
        ("2025", "There are batches.csv, fillings.csv, harvests.csv."),
        ("../harvests.csv", "Did you mean harvests.csv?"),
    ):
        said = forget(folder, told)
        assert (said.code, said.out) == (2, "")
        assert said.err == f"forget {told}: there is no such file, nor a copy of one. {answer}\n"
    assert not (folder / "kept/forgotten").exists()


def test_the_file_may_be_told_by_any_path_that_leads_to_it(farm: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = farm(**THREE_TABLES)
    monkeypatch.chdir(folder)
    for told in (folder / "harvests/my may.csv", "./harvests/my may.csv", "harvests\\my may.csv"):
        write_table(folder, "harvests", f"{HEADER}\n2026-02-09,10,2", "harvests/my may.csv")
        refreshed(folder)
        (folder / "harvests/my may.csv").unlink()
        assert 'gillbook forget "harvests/my may.csv"' in refreshed(folder).messages[0]
        assert forget(folder, told).code == 0
        assert rows(folder, "select count(*) from harvests") == [(2,)]


def events(folder: Path) -> list[tuple[object, ...]]:
    names = ("file", "event", "loaded", "rows_added", "rows_gone", "rows_freed", "rows_held")
    told = here("history", "--json", "--farm", folder).json
    return [tuple(each[name] for name in names) for each in told]


def test_the_history_tells_what_was_loaded_and_what_changed_since(farm: Farm) -> None:
    folder = farm(**{**THREE_TABLES, "batches": f"{BATCHES}\nA,2026-01-02,10,70"})
    refreshed(folder)
    assert events(folder) == [
        ("batches.csv", "new", 0, 2, 0, None, None),
        ("fillings.csv", "new", 0, 2, 0, None, None),
        ("harvests.csv", "new", 0, 2, 0, None, None),
    ]
    write_table(folder, "batches", BATCHES)
    said = here("refresh", "--farm", folder).err
    assert "batches.csv: 1 row went since it was last read.\n" in said
    assert "harvests.csv: 2 rows can be counted now, because of what stands in other files.\n" in said
    assert events(folder)[3:] == [
        ("batches.csv", "edited", 1, 0, 1, None, None),
        ("fillings.csv", "decided", 2, 0, 0, 2, 0),
        ("harvests.csv", "decided", 2, 0, 0, 2, 0),
    ]
    write_table(folder, "harvests", f"{HEADER}\n{FIRST}\n2026-02-06,210,1\n2026-02-07,50,2")
    (folder / "fillings.csv").rename(folder / "gone.csv")
    assert "harvests.csv: 1 row went and 2 rows came" in here("refresh", "--farm", folder).err
    (folder / "gone.csv").rename(folder / "fillings.csv")
    refreshed(folder)
    (folder / "harvests.csv").unlink()
    forget(folder, "harvests.csv")
    assert events(folder)[6:] == [
        ("fillings.csv", "vanished", 2, 0, 0, 0, 0),
        ("harvests.csv", "edited", 3, 2, 1, None, None),
        ("fillings.csv", "restored", 2, 0, 0, 0, 0),
        ("harvests.csv", "forgotten", 0, 0, 3, None, None),
    ]
    assert here("history", "--farm", folder).out.splitlines()[-1].split()[2:] == ["harvests.csv", "forgotten", *"0003"]


def test_the_history_keeps_its_contract(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder, "2026-06-01T08:00:00+02:00")
    told = here("history", "--json", "--farm", folder).json
    types = {"integer": int, "string": str}
    for each in told:
        assert list(each) == list(contract("history").names)
        assert all(
            each[one.name] is None or type(each[one.name]) is types[one.type] for one in contract("history").fields
        )
        assert each["rows_in"] == each["loaded"] + each["set_aside"] + each["waiting"] + each["blank"]
        assert each["time"] == "2026-06-01T08:00:00+02:00"
        assert each["content_hash"] == sha256((folder / each["file"]).read_bytes()).hexdigest()
    assert len({(each["time"], each["table_name"], each["file"]) for each in told}) == len(told) == 3
    assert contract("history").grain.startswith("one row per ")
    assert all(each.description.endswith(".") for each in contract("history").fields)


def test_a_refresh_that_changes_nothing_adds_no_line(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder, "2026-06-01T08:00:00+00:00")
    first = (folder / "kept/history.jsonl").read_bytes()
    before = tables(folder)
    for lost in ("ledger.manifest.json", "ledger.duckdb"):
        (folder / lost).unlink()
        refreshed(folder, "2031-06-01T08:00:00+00:00")
        assert (folder / "kept/history.jsonl").read_bytes() == first
        assert tables(folder) == before  # the ledger never holds the time


def test_rows_lost_while_the_ledger_was_rebuilt_are_told_by_their_number(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    (folder / "ledger.duckdb").unlink()
    write_table(folder, "harvests", f"{HEADER}\n{FIRST}")
    assert refreshed(folder).messages == ["harvests.csv: 1 row fewer than when it was last read."]
    assert events(folder)[3:] == [("harvests.csv", "edited", 1, None, None, None, None)]


def test_a_torn_line_is_told_and_the_next_one_is_whole(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    history = folder / "kept/history.jsonl"
    write_table(folder, "harvests", f"{HARVESTS}\n2026-02-07,50,2")
    refreshed(folder)
    history.write_bytes(history.read_bytes()[:-30])
    write_table(folder, "harvests", f"{HARVESTS}\n2026-02-07,60,2")
    refreshed(folder)
    assert [each["event"] for each in read_history(open_farm(folder)).records] == ["new", "new", "new", "edited"]
    said = here("history", "--farm", folder)
    assert said.code == 0
    assert said.err.startswith("kept/history.jsonl, line 2: cannot be read and is left out.")
    assert [json.loads(line)["time"] for line in history.read_bytes().splitlines()[::2]] == [
        "2026-06-01T08:00:00+00:00"
    ] * 2


def test_a_history_from_before_the_status_was_called_so_is_still_read(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    history = folder / "kept/history.jsonl"
    before = read_history(open_farm(folder)).records
    history.write_text(history.read_text().replace('"status"', '"standing"'))
    (folder / "ledger.duckdb").unlink()
    assert read_history(open_farm(folder)).records == before
    assert refreshed(folder).messages == []
    assert '"status"' not in history.read_text()
