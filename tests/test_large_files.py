"""A first refresh of much: files part by part, whole groups of rows, and what is let go of on the way."""

from __future__ import annotations

import shutil
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import polars as pl
import pytest
from ledgers import HARVESTS, THREE_TABLES, refreshed, rows, tables

from pipeline.demo import write_bench
from pipeline.farm.folder import TableFile
from pipeline.files.read import RawTable
from pipeline.files.validate import validate
from pipeline.ledger import portions, stage_writer
from pipeline.ledger.intake import Taken
from pipeline.ledger.portions import large_apart, portions_of
from pipeline.ledger.stage import create_stage
from pipeline.ledger.stage_writer import StageWriters
from pipeline.models.lineage import LEDGER, PASSING, model, order, read_last
from pipeline.models.statements import MEMORY_MB_A_THREAD, OWN_LIMIT_FROM, open_draft, writers
from schemas.finding import UnreadableFile

ROW = {"picked_on": "2026-02-07", "fresh_weight_g": "100", "container": "1"}


@pytest.fixture
def small_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    """As with millions of rows: files are read seven rows at a time, and written eleven."""
    monkeypatch.setattr(stage_writer, "MOST_ROWS", 7)
    monkeypatch.setattr(stage_writer, "GROUP_ROWS", 11)


@pytest.mark.parametrize("faulty_share", [0.0, 0.1])
def test_files_part_by_part_come_to_the_same_ledger(
    tmp_path: Path, faulty_share: float, request: pytest.FixtureRequest
) -> None:
    write_bench(tmp_path / "whole", 1500, 3, faulty_share)
    shutil.copytree(tmp_path / "whole", tmp_path / "parts")
    whole = refreshed(tmp_path / "whole")
    request.getfixturevalue("small_parts")
    parts = refreshed(tmp_path / "parts")
    assert (parts.counts, parts.levels, parts.changed) == (whole.counts, whole.levels, whole.changed)
    assert tables(tmp_path / "parts") == tables(tmp_path / "whole")


@pytest.mark.usefixtures("small_parts")
def test_totals_and_headings_are_read_once(tmp_path: Path) -> None:
    for table, text in THREE_TABLES.items():
        lines = text if table != "harvests" else "\n".join([HARVESTS, *["2026-02-07,100,1"] * 40, "Total,4500,"])
        (tmp_path / f"{table}.csv").write_text(lines.replace("container", "container,odd", 1) + "\n", encoding="utf-8")
    refreshed(tmp_path)
    found = rows(tmp_path, "select row, rule from cell_findings where table_name = 'harvests' order by row")
    assert found == [(1, "unknown_column"), (44, "totals_row")]
    assert rows(tmp_path, "select rows_in from files where table_name = 'harvests'") == [(43,)]


@pytest.mark.usefixtures("small_parts")
def test_what_is_wrong_in_all_files_is_found_also_where_they_come_in_parts(tmp_path: Path) -> None:
    for table, text in THREE_TABLES.items():
        (tmp_path / f"{table}.csv").write_text(text + "\n", encoding="utf-8")
    (tmp_path / "harvests.csv").write_text(HARVESTS + "\n2026-02-07,100,1" * 40 + "\n", encoding="utf-8")
    (tmp_path / "fillings.csv").write_text("batch\nA\n", encoding="utf-8")
    (tmp_path / "observations.csv").write_text("\n", encoding="utf-8")
    with pytest.raises(UnreadableFile) as refused:
        refreshed(tmp_path)
    assert {each.file for each in refused.value.findings} == {"fillings.csv", "observations.csv"}
    assert not (tmp_path / "ledger.duckdb").exists()


def test_large_files_are_not_begun_together(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(portions, "PORTION_BYTES", 10)
    monkeypatch.setattr(portions, "LARGE_BYTES", 30)
    files = []
    for at, size in enumerate([40, 50, 10, 20, 10, 10, 10]):
        path = tmp_path / f"{at}.csv"
        path.write_bytes(b"x" * size)
        files.append(TableFile("harvests", path.name, path))
    found = portions_of(files)
    assert [[source.name for source in each] for each in found] == [[file.name] for file in files]
    assert large_apart(found) == [0, 2, 3, 4, 1, 5, 6]
    assert large_apart([]) == []


def test_a_table_is_let_go_of_behind_all_that_read_it() -> None:
    last = {table: name for name, gone in read_last().items() for table in gone}
    assert set(last) == set(PASSING)
    places = {name: at for at, name in enumerate(order(LEDGER))}
    for table in PASSING:
        assert "create or replace temp table" in model(table).text
        readers = {name for name in places if table in model(name).reads and " view\n" not in model(name).text}
        assert all(places[name] <= places[last[table]] for name in readers if name not in ("resolved_assignments",))
    # Through the views resolved_assignments and assignments.
    assert places[last["resolved"]] >= places["resolved_harvests"]


@pytest.mark.parametrize(("files_mb", "limited"), [(1, True), (2000, True), (OWN_LIMIT_FROM // 1_000_000, False)])
def test_a_draft_has_a_limit_of_memory(tmp_path: Path, files_mb: int, limited: bool) -> None:
    def limit(expected: int) -> float:
        with open_draft(tmp_path / f"{expected}.duckdb", tmp_path / "spill", expected) as con:
            ((said,),) = con.execute("select current_setting('memory_limit')").fetchall()
        number, unit = said.split()
        return float(number) * {"MiB": 2**20, "GiB": 2**30}[unit] / 1e6

    least = MEMORY_MB_A_THREAD * 1.0
    found = limit(files_mb * 1_000_000)
    assert found == pytest.approx(limit(2 * OWN_LIMIT_FROM)) or limited
    assert not limited or found >= max(least, files_mb) * 0.95


def test_many_portions_make_whole_groups_of_rows(tmp_path: Path) -> None:
    """Six files of half a group each, by two threads: at most one group of each thread is not full."""
    half = stage_writer.GROUP_ROWS // 2
    day, weight, container = (pl.lit(text).alias(name) for name, text in ROW.items())
    raws = [
        RawTable(
            TableFile("harvests", f"harvests/{at}.csv", Path()),
            pl.select(pl.int_range(2, half + 2, dtype=pl.Int32).alias("row")).with_columns(day, weight, container),
            half,
            0,
            "",
            (),
        )
        for at in range(6)
    ]
    with open_draft(tmp_path / "draft.duckdb", tmp_path / "spill") as con:
        create_stage(con)
        with writers(con, 2) as connections:
            beside = StageWriters(connections)
            with ThreadPoolExecutor(2) as pool:
                list(pool.map(lambda raw: beside.stage(Taken({}, validate([raw]), {})), raws))
            beside.finish()
        ((rows_in, lines),) = con.execute("select count(*), count(distinct line) from stage_harvests").fetchall()
        assert rows_in == lines == 6 * half
        assert con.execute("select count(*) from files").fetchall() == [(6,)]
        ((groups,),) = con.execute(
            "select count(distinct row_group_id) from pragma_storage_info('stage_harvests')"
        ).fetchall()
    assert groups <= 3 + 1
