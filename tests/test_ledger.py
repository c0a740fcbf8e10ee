"""The ledger follows the files: only what changed is read, no row is lost, and the rest is decided anew."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

import pytest
from conftest import gillbook, write_table
from ledgers import BATCHES, FILLINGS, THREE_TABLES, child, here, refreshed, rows, tables

from pipeline.farm.folder import TableFile
from pipeline.ledger import intake
from pipeline.ledger.manifest import FileMark

Farm = Callable[..., Path]


def age(folder: Path, seconds: int = 60) -> None:
    """Makes the CSV files as old as files are that nobody edits just now."""
    for path in folder.rglob("*.csv"):
        then = path.stat().st_mtime_ns - seconds * 10**9
        os.utime(path, ns=(then, then))


def swap_quietly(path: Path, old: str, new: str) -> None:
    """Changes a file so that neither its size nor its time tells."""
    assert len(old) == len(new)
    before = path.stat().st_mtime_ns
    path.write_text(path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8", newline="\n")
    os.utime(path, ns=(before, before))


def test_a_refresh_with_nothing_changed_opens_neither_duckdb_nor_csv_files(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    age(folder)
    first = gillbook("refresh", "--farm", folder)
    told = (
        "import atexit, sys; atexit.register(lambda: print(sorted({'duckdb', 'polars', 'numpy'} & set(sys.modules))))"
    )
    done = child(f"{told}; from pipeline.cli import run; run()", "refresh", "--farm", folder)
    out, err = done.communicate()
    assert (out, err) == (first.out + "[]\n", first.err)


def test_the_manifest_decides_and_a_file_touched_close_to_its_reading_is_hashed_again(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    swap_quietly(folder / "harvests.csv", "300", "301")  # its time is within two seconds of its reading
    assert refreshed(folder).changed == ["harvests.csv"]
    age(folder)
    assert refreshed(folder).changed == []
    swap_quietly(folder / "harvests.csv", "301", "302")
    assert refreshed(folder).changed == []
    assert rows(folder, "select sum(fresh_weight_g)::integer from harvests") == [(501,)]
    os.utime(folder / "harvests.csv")
    assert refreshed(folder).changed == ["harvests.csv"]
    assert rows(folder, "select sum(fresh_weight_g)::integer from harvests") == [(502,)]


def test_a_file_hashed_again_later_need_not_be_hashed_ever_after(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    age(folder)
    refreshed(folder)
    manifest = folder / "ledger.manifest.json"
    note = json.loads(manifest.read_text(encoding="utf-8"))
    for mark in note["files"].values():
        mark["read_ns"] = mark["mtime_ns"]  # as if each had been read at the moment of its writing
    manifest.write_text(json.dumps(note), encoding="utf-8")
    assert refreshed(folder).changed == []
    swap_quietly(folder / "harvests.csv", "300", "301")
    assert refreshed(folder).changed == []


def test_only_changed_files_are_read(farm: Farm) -> None:
    folder = farm(batches=BATCHES, fillings=FILLINGS)
    write_table(folder, "harvests", "picked_on,fresh_weight_g,container\n2026-02-01,300,1", "harvests/02.csv")
    write_table(folder, "harvests", "picked_on,fresh_weight_g,container\n2026-03-01,200,2", "harvests/03.csv")
    assert sorted(refreshed(folder).changed) == ["batches.csv", "fillings.csv", "harvests/02.csv", "harvests/03.csv"]
    write_table(folder, "harvests", "picked_on,fresh_weight_g,container\n2026-03-01,250,2", "harvests/03.csv")
    assert refreshed(folder).changed == ["harvests/03.csv"]
    assert rows(folder, "select fresh_weight_g::integer from harvests order by 1") == [(250,), (300,)]


def test_the_bytes_of_a_file_that_is_as_it_was_are_not_read_beside_one_that_changed(
    farm: Farm, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = farm(**THREE_TABLES)
    age(folder)
    refreshed(folder)
    read: list[str] = []
    read_bytes = intake._read_whole

    def noted(source: TableFile) -> tuple[FileMark, bytes]:
        read.append(source.name)
        return read_bytes(source)

    monkeypatch.setattr(intake, "_read_whole", noted)
    with (folder / "harvests.csv").open("a", encoding="utf-8") as file:
        file.write("2026-03-01,250,2\n")
    assert refreshed(folder).changed == ["harvests.csv"] == read
    # Its copy is of use only as it was made of the file.
    read.clear()
    (folder / "kept/files/fillings/fillings.csv").unlink()
    assert refreshed(folder).changed == []
    assert "fillings.csv" in read
    assert (folder / "kept/files/fillings/fillings.csv").read_bytes() == (folder / "fillings.csv").read_bytes()


def test_another_farm_toml_decides_anew_without_reading_a_file(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    assert rows(folder, "select flush from harvests order by picked_on") == [(1,), (1,)]
    (folder / "farm.toml").write_text("new_flush_after_days = 5\n", encoding="utf-8")
    assert refreshed(folder).changed == []
    assert rows(folder, "select flush from harvests order by picked_on") == [(1,), (2,)]


def test_a_renamed_and_a_split_file_are_accepted_and_said(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    (folder / "harvests").mkdir()
    (folder / "harvests.csv").rename(folder / "harvests/2026.csv")
    assert refreshed(folder).messages == [
        "harvests.csv is gone, and all its rows stand in other files: taken as renamed or split."
    ]
    (folder / "harvests/2026.csv").unlink()
    write_table(folder, "harvests", "fresh_weight_g,picked_on,container\n200,2026-02-06,1", "harvests/b.csv")
    write_table(folder, "harvests", "picked_on,fresh_weight_g,container\n2026-02-01,300,1", "harvests/a.csv")
    said = here("refresh", "--farm", folder)
    assert said.code == 0
    assert "harvests/2026.csv is gone, and all its rows stand in other files: taken as renamed or split.\n" in said.err
    assert rows(folder, "select file, row from harvests order by all") == [("harvests/a.csv", 2), ("harvests/b.csv", 2)]


def test_a_mended_batch_row_frees_the_rows_that_waited(farm: Farm) -> None:
    folder = farm(**{**THREE_TABLES, "batches": BATCHES + "\nA,2026-01-02,10,70"})
    refreshed(folder)
    assert rows(folder, "select count(*) from harvests") == [(0,)]
    write_table(folder, "batches", BATCHES)
    done = refreshed(folder)
    assert done.changed == ["batches.csv"]
    assert rows(folder, "select batch, container, fresh_weight_g::integer from harvests order by picked_on") == [
        ("A", "1", 300),
        ("A", "1", 200),
    ]
    assert done.levels == {}


def test_every_row_of_every_file_is_accounted_for_and_printed(farm: Farm) -> None:
    folder = farm(
        batches="batch,inoculated_on\nA,2026-01-01\nB,2026-01-01\nB,2026-01-02",
        harvests="picked_on,fresh_weight_g,batch\n2026-02-01,300,A\n\n,,\n2026-02-02,x,A\n2026-02-03,200,B\n2026-02-04,5,C",
    )
    said = here("refresh", "--farm", folder)
    told = {line.split()[0]: [int(word) for word in line.split()[1:]] for line in said.out.splitlines()[2:]}
    # rows in, loaded, set aside, waiting, blank
    assert told == {"batches.csv": [3, 1, 2, 0, 0], "harvests.csv": [6, 1, 2, 1, 2]}
    assert all(line[0] == sum(line[1:]) for line in told.values())
    assert "rows in = loaded + set aside + waiting + blank" in said.err


def test_masses_are_decimals_and_their_sums_exact(farm: Farm) -> None:
    pickings = "\n".join(f"2026-02-01,0.1,1,{note}" for note in range(1000))
    folder = farm(
        **{**THREE_TABLES, "harvests": f"picked_on,fresh_weight_g,container,note\n{pickings}\n2026-02-02,0.001,1,"}
    )
    said = here("yields", "--by", "all", "--json", "--farm", folder)
    assert said.json[0]["fresh_g"] == 100.001
    assert sum([0.1] * 1000) != 100
    assert rows(folder, "select typeof(fresh_weight_g), sum(fresh_weight_g)::varchar from harvests group by 1") == [
        ("DECIMAL(18,3)", "100.001")
    ]


def test_the_ledger_never_depends_on_today(farm: Farm) -> None:
    clocks = ("current_date", "current_time", "now(", "today(", "localtime", "age(", "random(", "uuid(")
    sources = [each for each in files("pipeline.models").joinpath("ledger").iterdir() if each.name.endswith(".sql")]
    assert len(sources) > 10
    assert [(each.name, word) for each in sources for word in clocks if word in each.read_text("utf-8").lower()] == []
    folder = farm(
        **{**THREE_TABLES, "harvests": "picked_on,fresh_weight_g,container\n2026-02-01,300,1\n2999-01-01,5,1"}
    )
    refreshed(folder, "2026-06-01T08:00:00+00:00")
    before, content = tables(folder), (folder / "ledger.duckdb").read_bytes()
    for day, told in (("2000-01-01", 0), ("2026-06-01", 300), ("2999-12-31", 305)):
        said = here("yields", "--by", "all", "--json", "--as-of", day, "--farm", folder)
        assert sum(group["fresh_g"] for group in said.json) == told
        assert (folder / "ledger.duckdb").read_bytes() == content
    (folder / "ledger.duckdb").unlink()
    refreshed(folder, "2031-12-31T08:00:00+00:00")
    assert tables(folder) == before
