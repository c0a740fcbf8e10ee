"""Files that are called like a table: read where only one name fits, else named; no pipe is opened."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from conftest import write_table
from ledgers import BATCHES, FILLINGS, HARVESTS, here

from pipeline.farm.folder import find_folder, open_farm, table_files

PICKED = "picked_on,fresh_weight_g,container\n2026-02-01,300,1\n"


def farm_with(folder: Path, **names: str) -> Path:
    """A farm of three tables, each under the file's name that is given for it."""
    given = {"batches": "batches.csv", "fillings": "fillings.csv", "harvests": "harvests.csv", **names}
    for (table, name), text in zip(given.items(), (BATCHES, FILLINGS, HARVESTS), strict=True):
        write_table(folder, table, text, name)
    return folder


def picked_kg(folder: Path) -> float:
    said = here("yields", "--farm", folder, "--as-of", "2026-06-01", "--json")
    return sum(each["fresh_g"] for each in said.json) / 1000


def read(folder: Path) -> list[str]:
    return [each.name for each in table_files(folder)]


def unread(folder: Path) -> dict[str, str]:
    """What check says of files: the rule and level of each."""
    found = here("check", "--farm", folder, "--as-of", "2026-06-01", "--json").json
    return {
        each["file"]: f"{each['rule']} {each['level']}"
        for each in found
        if not each["row"] and each["level"] != "missing"
    }


@pytest.mark.parametrize(
    "names",
    [
        {"batches": "Batches.csv"},
        {"batches": "batches.CSV"},
        {"harvests": "HARVESTS/2026-02.csv"},
        {"fillings": "FILLINGS.CSV", "harvests": "Harvests/Feb.Csv"},
    ],
)
def test_the_case_of_letters_is_free_where_only_one_name_fits(tmp_path: Path, names: dict[str, str]) -> None:
    farm_with(tmp_path, **names)
    assert find_folder(None, tmp_path) == tmp_path
    assert open_farm(tmp_path).findings == ()
    assert set(names.values()) <= set(read(tmp_path))


def test_an_entry_goes_into_the_folder_and_file_that_are_there(tmp_path: Path) -> None:
    farm_with(tmp_path, batches="Batches.csv", harvests="HARVESTS/2026-02.csv")
    assert here("weigh", 2, 250, "--on", "2026-03-03", "--farm", tmp_path).code == 0
    made = ("batch", "B", "--on", "2026-03-04", "--strain", "grey", "--substrate", "straw")
    assert here(*made, "--farm", tmp_path).code == 0
    assert sorted(each.name for each in (tmp_path / "HARVESTS").iterdir()) == ["2026-02.csv", "2026-03.csv"]
    assert not (tmp_path / "harvests").exists()
    assert "\nB," in (tmp_path / "Batches.csv").read_text()
    assert picked_kg(tmp_path) == pytest.approx(0.75)


def test_a_second_candidate_is_named_by_every_command_and_never_read(tmp_path: Path) -> None:
    farm_with(tmp_path)
    write_table(tmp_path, "batches", BATCHES.replace("\nA,", "\nC,"), "Batches.csv")
    (tmp_path / "Harvests").mkdir()
    (tmp_path / "HARVESTS").mkdir()
    said = here("yields", "--farm", tmp_path, "--as-of", "2026-06-01").err
    assert 'Batches.csv: "batches.csv" is read as this table, so this one is not.' in said
    assert 'HARVESTS: "Harvests" may be this table as well, so neither is read.' in said
    assert 'Harvests: "HARVESTS" may be this table as well, so neither is read.' in said
    assert picked_kg(tmp_path) == pytest.approx(0.5)
    (tmp_path / "batches.csv").rename(tmp_path / "BATCHES.csv")
    assert read(tmp_path) == ["fillings.csv", "harvests.csv"]
    (tmp_path / "BATCHES.csv").unlink()
    assert "Batches.csv" in read(tmp_path)


def test_a_file_that_farm_toml_names_is_no_second_candidate(tmp_path: Path) -> None:
    farm_with(tmp_path)
    write_table(tmp_path, "harvests", "picked_on,fresh_weight_g,container\n2026-02-02,100,2", "Harvests.csv")
    (tmp_path / "farm.toml").write_text('[files."Harvests.csv"]\ntables = ["harvests"]\n')
    assert open_farm(tmp_path).findings == ()
    assert read(tmp_path) == ["batches.csv", "fillings.csv", "harvests.csv"]
    assert picked_kg(tmp_path) == pytest.approx(0.6)


def test_what_looks_like_a_table_is_named_in_check(tmp_path: Path) -> None:
    farm_with(tmp_path, harvests="harvests/2026-02.csv")
    for name in ("batches (1).csv", "Harvest 2025.xlsx", "fillings.ods", "batch", "harvests/old.xls", "harvests/2024"):
        (tmp_path / name).mkdir() if name == "harvests/2024" else (tmp_path / name).write_text("x")
    for name in ("harvest photos/1.jpg", "old harvests/2024.csv"):
        (tmp_path / name).parent.mkdir()
        (tmp_path / name).write_text("x")
    for name in ("HOW-TO.md", "wages.csv", "harvester.csv", ".batches.csv", "~$batches.xlsx"):
        (tmp_path / name).write_text("x")
    assert unread(tmp_path) == {
        "Harvest 2025.xlsx": "like_a_table notice",
        "batch": "unread_file notice",
        "batches (1).csv": "like_a_table notice",
        "fillings.ods": "unread_file notice",
        "harvests/2024": "no_plain_file notice",
        "harvests/old.xls": "unread_file notice",
        "old harvests": "like_a_table notice",
    }


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no pipes in folders here")
def test_a_pipe_is_named_and_never_opened(tmp_path: Path) -> None:
    farm_with(tmp_path, harvests="harvests/2026-02.csv")
    os.mkfifo(tmp_path / "observations.csv")
    os.mkfifo(tmp_path / "harvests" / "2026-03.csv")
    (tmp_path / "batches.tsv").symlink_to("/dev/zero")
    (tmp_path / "fillings.xlsx").mkdir()
    assert unread(tmp_path) == dict.fromkeys(
        ("observations.csv", "harvests/2026-03.csv", "batches.tsv", "fillings.xlsx"), "no_plain_file warning"
    )
    assert "observations.csv: is no plain file" in here("months", "--farm", tmp_path).err
    os.mkfifo(tmp_path / "logbook.jsonl")
    said = here("weigh", 1, 250, "--farm", tmp_path)
    assert (said.code, said.err.split(",")[0]) == (2, "logbook.jsonl is no plain file")
    (tmp_path / "logbook.jsonl").unlink()
    os.mkfifo(tmp_path / "farm.toml")
    assert here("check", "--farm", tmp_path).err.startswith("farm.toml is no plain file, and was not opened.")


@pytest.mark.skipif(os.name == "nt", reason="all names are text here")
def test_a_name_that_is_not_text_is_named_and_skipped(tmp_path: Path) -> None:
    farm_with(tmp_path, harvests="harvests/2026-02.csv")
    Path(os.fsdecode(os.fsencode(tmp_path) + b"/harvests/caf\xe9.csv")).write_text(PICKED)
    Path(os.fsdecode(os.fsencode(tmp_path) + b"/batches\xff.csv")).write_text("x")
    assert unread(tmp_path) == {
        "harvests/caf\\xe9.csv": "name_not_text warning",
        "batches\\xff.csv": "name_not_text warning",
    }
    said = here("yields", "--farm", tmp_path)
    assert said.code == 0
    assert (
        "harvests/caf\\xe9.csv: has a name that is not UTF-8, and is not read. Rename it, and its rows count."
        in said.err
    )


def test_settings_under_another_spelling_are_refused(tmp_path: Path) -> None:
    farm_with(tmp_path)
    (tmp_path / "Farm.TOML").write_text('name = "x"\n')
    said = here("yields", "--farm", tmp_path)
    assert (said.code, said.err) == (2, "Farm.TOML is not read, for it is not called farm.toml. Rename it.\n")
