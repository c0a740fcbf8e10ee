"""The ledger in trouble: damaged, foreign, newer, locked, half written or not to be written. Nothing is ever lost."""

from __future__ import annotations

import json
import os
import re
import shutil
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path

import duckdb
import pytest
from conftest import gillbook, write_table
from ledgers import NOW, THREE_TABLES, change_ledger, child, here, meanwhile, refreshed, tables

from pipeline.farm.folder import open_farm
from pipeline.ledger.refresh import refresh
from pipeline.ledger.state import LAYOUT_VERSION, MADE_WITH

Farm = Callable[..., Path]
MORE = "picked_on,fresh_weight_g,container\n2026-02-01,300,1\n2026-02-06,200,1\n2026-02-07,50,2"
# What a ledger may have been made with that is not as it is now, and how that is told.
MADE_OTHERWISE = {
    "gillbook": f"The ledger was made with gillbook 0, not {version('gillbook')}: it was built anew from the files.",
    "layout": f"The ledger was made with layout 0, not {LAYOUT_VERSION}: it was built anew from the files.",
    "duckdb": f"The ledger was made with DuckDB 0, not {version('duckdb')}: it was built anew from the files.",
    "contracts": "gillbook's own contracts have changed: the ledger was built anew from the files.",
    "decisions": "gillbook's own decisions have changed: the ledger was built anew from the files.",
}


@pytest.mark.parametrize("key", MADE_WITH)
def test_a_ledger_of_another_version_is_rebuilt_and_that_is_said(farm: Farm, key: str) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    before = tables(folder)
    change_ledger(folder, f"update meta set value = '0' where key = '{key}'; delete from stage_harvests")
    assert refreshed(folder).messages == [MADE_OTHERWISE[key]]
    assert tables(folder) == before


def test_a_ledger_of_a_newer_layout_is_refused_and_not_touched(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    change_ledger(folder, "update meta set value = '999' where key = 'layout'; drop table files")
    write_table(folder, "harvests", MORE)
    before = (folder / "ledger.duckdb").read_bytes()
    kept = {path: path.read_bytes() for path in (folder / "kept").rglob("*") if path.is_file()}
    for command in ("refresh", "yields"):
        said = here(command, "--farm", folder)
        assert (said.code, said.out) == (3, "")
        assert re.fullmatch(
            r"ledger.duckdb was written by a newer gillbook .* not touched\. Update gillbook.*\n", said.err
        )
    assert (folder / "ledger.duckdb").read_bytes() == before
    assert {path: path.read_bytes() for path in (folder / "kept").rglob("*") if path.is_file()} == kept


def test_a_file_that_is_no_ledger_is_moved_aside_and_the_ledger_built_anew(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    before = tables(folder)
    ledger = folder / "ledger.duckdb"
    ledger.write_text("garbage", encoding="utf-8")
    said = here("refresh", "--farm", folder)
    assert said.code == 0
    assert "is damaged or none of gillbook's: it was moved to ledger.broken-1.duckdb" in said.err
    assert (folder / "ledger.broken-1.duckdb").read_text(encoding="utf-8") == "garbage"
    ledger.unlink()
    change_ledger(folder, "create table bees as select 7 as hives")  # somebody's own database
    assert "moved to ledger.broken-2.duckdb" in refreshed(folder).messages[0]
    with duckdb.connect(str(folder / "ledger.broken-2.duckdb")) as con:
        assert con.execute("select hives from bees").fetchall() == [(7,)]
    assert tables(folder) == before


@pytest.mark.parametrize("ledger_too", [False, True])
def test_what_another_program_left_half_written_does_not_reach_the_ledger(farm: Farm, ledger_too: bool) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    before = tables(folder)
    killed = child(
        "import duckdb, os, sys; con = duckdb.connect(sys.argv[1]);"
        "con.execute('delete from stage_harvests'); os._exit(9)",
        folder / "ledger.duckdb",
    )
    killed.communicate()
    assert (folder / "ledger.duckdb.wal").exists()
    if ledger_too:
        (folder / "ledger.duckdb").unlink()
    refreshed(folder)
    assert not (folder / "ledger.duckdb.wal").exists()
    assert tables(folder) == before


def test_a_ledger_built_anew_has_the_rows_of_files_that_are_gone(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    (folder / "harvests.csv").unlink()
    (folder / "fillings.csv").write_bytes(b"")
    refreshed(folder)
    before = tables(folder)
    (folder / "ledger.duckdb").write_text("garbage", encoding="utf-8")
    said = refreshed(folder).messages
    assert [line.split(",")[0] for line in said[1:]] == ["fillings.csv: cannot be read", "harvests.csv: is gone"]
    assert tables(folder) == before


def test_a_deleted_ledger_is_built_anew(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    before = tables(folder)
    (folder / "ledger.duckdb").unlink()
    assert sorted(refreshed(folder).changed) == ["batches.csv", "fillings.csv", "harvests.csv"]
    assert tables(folder) == before


@pytest.mark.parametrize("text", [None, "", "garbage", "[]", '{"files": 3}', '{"files": {}, "versions": {}}'])
def test_a_missing_or_garbled_manifest_costs_time_only(farm: Farm, text: str | None) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    before = (folder / "ledger.duckdb").read_bytes()
    manifest = folder / "ledger.manifest.json"
    manifest.unlink()
    if text is not None:
        manifest.write_text(text, encoding="utf-8")
    done = refreshed(folder)
    assert (done.changed, done.messages) == ([], [])
    assert (folder / "ledger.duckdb").read_bytes() == before
    assert set(json.loads(manifest.read_text(encoding="utf-8"))["files"]) == {
        "batches:batches.csv",
        "fillings:fillings.csv",
        "harvests:harvests.csv",
    }


HOLDS_LOCK = """
from pathlib import Path
from pipeline.ledger.lock import locked
with locked(Path(sys.argv[1]) / "ledger.lock", "2026-06-01T07:00:00+00:00"):"""
HOLDS_LEDGER = """
import duckdb
with duckdb.connect(sys.argv[1] + "/ledger.duckdb"):"""


def test_while_another_process_refreshes_readers_go_on_with_the_ledger_as_it_was(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    write_table(folder, "harvests", MORE)
    with meanwhile(HOLDS_LOCK, folder) as process:
        said = gillbook("refresh", "--farm", folder)
        assert (said.code, said.out) == (3, "")
        assert re.fullmatch(
            rf"The ledger is locked by process {process} on \S+ since 2026-06-01T07:00:00\+00:00\. Try again.*\n",
            said.err,
        )
        said = gillbook("yields", "--by", "all", "--json", "--farm", folder)
        assert (said.code, said.json[0]["fresh_g"]) == (0, 500)
        assert f"process {process}" in said.err
        assert "These figures are from before it began." in said.err
        (folder / "ledger.duckdb").rename(folder / "elsewhere")
        assert gillbook("yields", "--farm", folder).code == 3
        (folder / "elsewhere").rename(folder / "ledger.duckdb")
    assert gillbook("yields", "--by", "all", "--json", "--farm", folder).json[0]["fresh_g"] == 550


def test_a_ledger_open_for_writing_in_another_program_is_left_alone(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    before = (folder / "ledger.duckdb").read_bytes()
    with meanwhile(HOLDS_LEDGER, folder):
        for changed in (False, True):
            if changed:
                write_table(folder, "harvests", MORE)
            said = gillbook("yields", "--farm", folder)
            assert (said.code, said.out) == (3, "")
            assert said.err == "ledger.duckdb is open in another program. Close it and try again.\n"
    assert (folder / "ledger.duckdb").read_bytes() == before
    assert refreshed(folder).changed == ["harvests.csv"]


KILLED_AT_STEP = """
import os, signal, sys
from pathlib import Path
from pipeline.farm.folder import open_farm
from pipeline.ledger import refresh
def step(told, left=[int(sys.argv[2])]):
    left[0] -= 1
    if not left[0]:
        os.kill(os.getpid(), signal.SIGKILL)
def swap(draft, path, replace=os.replace):
    if path.name == "ledger.duckdb":
        os.kill(os.getpid(), signal.SIGKILL)
    replace(draft, path)
if sys.argv[2] == "0":
    refresh.os.replace = swap
refresh.refresh(open_farm(Path(sys.argv[1])), "2026-06-01T08:00:00+00:00", step)
"""


@pytest.mark.skipif(not hasattr(__import__("signal"), "SIGKILL"), reason="the operating system knows no SIGKILL")
def test_a_killed_refresh_leaves_the_ledger_as_it_was_and_the_next_one_works(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    before = tables(folder)
    write_table(folder, "harvests", MORE)
    steps: list[str] = []
    refresh(open_farm(shutil.copytree(folder, folder / "unhurt")), NOW, steps.append)
    assert "deciding" in steps
    for step in range(len(steps) + 1):  # 0 is the moment before the swap
        killed = child(KILLED_AT_STEP, folder, step)
        assert (killed.communicate()[1], killed.returncode) == ("", -9)
        assert tables(folder) == before
    assert (folder / "ledger.next.duckdb").exists()
    done = refreshed(folder)
    assert (done.changed, done.messages, list(folder.glob("ledger.next*"))) == (["harvests.csv"], [], [])
    after = tables(folder)
    (folder / "ledger.duckdb").unlink()
    refreshed(folder)
    assert tables(folder) == after != before


@pytest.mark.parametrize("hindrance", ["ledger.lock", "ledger.next.duckdb"])
def test_a_folder_that_cannot_be_written_is_told_and_the_ledger_stays(farm: Farm, hindrance: str) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    before = (folder / "ledger.duckdb").read_bytes()
    write_table(folder, "harvests", MORE)
    (folder / hindrance).unlink(missing_ok=True)
    (folder / hindrance / "in the way").mkdir(parents=True)
    said = here("refresh", "--farm", folder)
    assert (said.code, said.out) == (3, "")
    told = {
        "ledger.lock": r"ledger.lock cannot be written \(.+\)\. Is the farm folder read-only\?\n",
        "ledger.next.duckdb": r"The ledger could not be written \(ledger.next.duckdb: .+\)\. It is as it was\.\n",
    }
    assert re.fullmatch(told[hindrance], said.err)
    assert (folder / "ledger.duckdb").read_bytes() == before


def test_a_read_only_folder_is_told_when_there_is_something_to_write(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    (folder / "ledger.lock").unlink()
    folder.chmod(0o555)
    try:
        if os.access(folder, os.W_OK):
            pytest.skip("nothing is read-only for this user")
        assert gillbook("yields", "--farm", folder).code == 0
        write_table(folder, "harvests", MORE)
        said = gillbook("refresh", "--farm", folder)
        assert (said.code, said.out) == (3, "")
        assert said.err.endswith("Is the farm folder read-only?\n")
    finally:
        folder.chmod(0o755)


def test_a_full_disk_is_told_and_the_ledger_stays(farm: Farm) -> None:
    pytest.importorskip("resource", reason="only POSIX can set a limit that stands in for a full disk")
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    before = (folder / "ledger.duckdb").read_bytes()
    write_table(folder, "harvests", MORE)
    for kept in (len(before) // 2, len(before) + 5000):  # full while copying, full while writing
        full = f"import resource; resource.setrlimit(resource.RLIMIT_FSIZE, ({kept}, {kept}))"
        done = child(f"{full}; from pipeline.cli import run; run()", "refresh", "--farm", folder)
        out, err = done.communicate()
        assert (done.returncode, out) == (3, "")
        assert err.startswith("The ledger could not be written")
        assert err.endswith("It is as it was.\n")
        assert (folder / "ledger.duckdb").read_bytes() == before
        assert not list(folder.glob("ledger.next*"))


def test_two_files_whose_names_have_one_number_are_refused_and_named(farm: Callable[..., Path]) -> None:
    # "plumless" and "buckeroo" have one CRC-32: a well-known pair.
    folder = farm(**THREE_TABLES)
    (folder / "harvests").mkdir()
    for name in ("plumless", "buckeroo"):
        shutil.copy(folder / "harvests.csv", folder / "harvests" / f"{name}.csv")
    said = gillbook("refresh", "--farm", folder)
    assert said.code == 3
    assert "harvests/buckeroo.csv and harvests/plumless.csv happen to have one number" in said.err
    assert "Rename one of them" in said.err
