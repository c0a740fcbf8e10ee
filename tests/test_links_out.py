"""A farm that holds links out of its folder, as one unpacked from an archive may, makes gillbook write nowhere else."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from ledgers import here

MakeFarm = Callable[..., Path]
OWN = [
    "ledger.lock",
    "ledger.duckdb",
    "ledger.manifest.json",
    "kept",
    "kept/history.jsonl",
    "logbook.lock",
    "logbook.undo.jsonl",
    "kept/files",
    "out",
    "out/findings.csv",
]
COMMANDS = [("check",), ("weigh", "1", "412", "--on", "2026-02-03"), ("report",)]

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")


@pytest.fixture
def elsewhere(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("elsewhere")


@pytest.fixture
def plain(farm: MakeFarm) -> Path:
    folder = farm(
        batches="batch,inoculated_on,substrate_dry_kg\nA,2026-01-01,1",
        fillings="batch,container\nA,1",
        harvests="picked_on,fresh_weight_g,container\n2026-02-01,412,1",
    )
    assert here("check", "--farm", folder).code == 0
    return folder


@pytest.mark.parametrize("name", OWN)
@pytest.mark.parametrize("there", [True, False], ids=["to what is there", "to nothing yet"])
def test_nothing_is_written_through_a_link_out_of_the_farm(
    plain: Path, elsewhere: Path, name: str, there: bool
) -> None:
    own, away = plain / name, elsewhere / "away"
    is_folder = "." not in Path(name).name
    if there:
        if is_folder:
            away.mkdir()
        else:
            away.write_bytes(b"of somebody else")
    if own.is_dir():
        shutil.rmtree(own)
    else:
        own.unlink(missing_ok=True)
    own.parent.mkdir(exist_ok=True)
    own.symlink_to(away)
    files = {path: path.read_bytes() for path in plain.rglob("*.csv") if path.is_file()}
    for words in COMMANDS:
        said = here(*words, "--farm", plain)
        assert (said.code, said.out) == (2, ""), words
        assert said.err.startswith(f"{name} is a link that leads out of the farm folder"), said.err
        assert "Take the link away" in said.err
    assert away.exists() == there
    if there:
        assert list(away.iterdir()) == [] if is_folder else away.read_bytes() == b"of somebody else"
    assert {path: path.read_bytes() for path in plain.rglob("*.csv") if path.is_file()} == files


def test_a_link_within_the_farm_and_a_table_that_is_a_link_are_read(plain: Path, elsewhere: Path) -> None:
    (plain / "out").rename(plain / "lists")
    (plain / "out").symlink_to(plain / "lists")
    (plain / "batches.csv").rename(elsewhere / "batches.csv")
    (plain / "batches.csv").symlink_to(elsewhere / "batches.csv")
    assert here("yields", "--farm", plain).code == 0


def test_a_table_behind_a_link_out_is_only_read_and_entries_go_beside_it(plain: Path, elsewhere: Path) -> None:
    away = elsewhere / "harvests.csv"
    (plain / "harvests.csv").rename(away)
    (plain / "harvests.csv").symlink_to(away)
    before = away.read_bytes()
    said = here("weigh", "1", "300", "--on", "2026-02-03", "--farm", plain)
    assert said.code == 0
    assert said.err.startswith("harvests.csv is a link that leads out of the farm folder, so it is only read:")
    assert "Written to harvests/2026-02.csv" in said.out
    refused = here("edit", "--file", "harvests.csv", "--row", "2", "--set", "weight=411", "--yes", "--farm", plain)
    assert (refused.code, refused.out.count("->")) == (3, 1)
    assert "so gillbook only reads it. Nothing was written." in refused.err
    assert away.read_bytes() == before
    (plain / "farm.toml").write_text(f'write_links_into = ["{elsewhere}"]\n', encoding="utf-8")
    assert here("weigh", "1", "310", "--on", "2026-03-03", "--farm", plain).code == 0
    assert (
        here("edit", "--file", "harvests.csv", "--row", "2", "--set", "weight=411", "--yes", "--farm", plain).code == 0
    )
    assert b"411" in away.read_bytes()
    assert (plain / "harvests.csv").is_symlink()


def test_a_folder_of_tables_that_is_a_link_out_takes_no_entry(plain: Path, elsewhere: Path) -> None:
    (plain / "harvests").symlink_to(elsewhere)
    for words in (("weigh", "1", "300", "--on", "2026-02-03"), ("settings", "decimal_mark", ",", "--yes")):
        (plain / "farm.toml").unlink()
        (elsewhere / "farm.toml").write_text("", encoding="utf-8")
        (plain / "farm.toml").symlink_to(elsewhere / "farm.toml")
        said = here(*words, "--farm", plain)
        assert said.code == 3
        assert "is a link that leads out of the farm folder" in said.err
    assert [each.name for each in elsewhere.iterdir()] == ["farm.toml"]
    assert (elsewhere / "farm.toml").read_bytes() == b""
