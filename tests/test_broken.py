"""Broken files, one defect each: what is told of them, in which row and column, and how to mend it.

NAME.csv (or .xlsx) is the broken table; NAME.json says which table it is, what else the farm holds (the tables below,
unless it has its own; farm.toml, if any, as `settings`), what becomes of the file's rows, and every finding with its
sentence. Its `reference` is another judge's verdict: see test_broken_by_the_reference. Add a file, gain a test.
"""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import duckdb
import pytest
from conftest import gillbook

from pipeline.farm.folder import open_farm
from pipeline.ledger.findings import read_findings
from pipeline.ledger.refresh import refresh
from schemas.contract import INPUTS, contract
from schemas.finding import CELL_RULES, LEVELS, Finding, UnreadableFile

FOLDER = Path(__file__).parent / "broken"
NAMES = sorted(path.stem for path in FOLDER.glob("*.json"))
AS_OF = date(2026, 6, 30)

# A farm without a fault: two buckets of one batch, 3 kg dry.
GOOD = {
    "batches": [
        "batch,inoculated_on,strain,substrate,substrate_wet_kg,moisture_pct,spawn_kg",
        "A,2026-04-01,grey,straw,10,70,1",
    ],
    "fillings": ["batch,container,volume_l,fill_kg", "A,B1,20,5.5", "A,B2,20,5.5"],
    "observations": ["seen_on,event,container", "2026-04-28,pins,B1"],
    "harvests": ["picked_on,fresh_weight_g,container,flush", "2026-05-01,400,B1,1", "2026-05-02,380,B2,1"],
}


def story(name: str) -> dict[str, Any]:
    told: dict[str, Any] = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    return told


def write_farm(folder: Path, name: str | None = None) -> Path:
    """Writes the good farm, with the broken table NAME and what belongs to it in place of the good ones."""
    told = story(name) if name else {}
    (folder / "farm.toml").write_text(told.get("settings", ""), encoding="utf-8")
    for table, lines in {**GOOD, **told.get("farm", {})}.items():
        if lines and table != told.get("table"):
            (folder / f"{table}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")
    if name:
        (folder / file_of(name)).write_bytes(broken_file(name).read_bytes())
    return folder


def broken_file(name: str) -> Path:
    """The file that is broken, in the folder of broken ones."""
    return next(path for path in FOLDER.glob(f"{name}.*") if path.suffix != ".json")


def file_of(name: str) -> str:
    """How is the broken file called in its farm?"""
    return story(name)["table"] + broken_file(name).suffix


def found_in(folder: Path) -> tuple[list[Finding], dict[str, dict[str, int]]]:
    """Refreshes the farm: what is found, and what became of each file's rows (nothing when a file is refused)."""
    try:
        done = refresh(open_farm(folder), "2026-06-30T08:00:00+00:00")
    except UnreadableFile as refused:
        return refused.findings, {}
    with duckdb.connect(str(folder / "ledger.duckdb"), read_only=True) as con:
        found = read_findings(con, AS_OF)
    counted = ("rows_in", "loaded", "set_aside", "waiting", "blank")
    return found, {each["file"]: {key: each[key] for key in counted} for each in done.counts}


def test_the_farm_around_the_broken_files_has_no_fault_of_its_own(tmp_path: Path) -> None:
    found, counts = found_in(write_farm(tmp_path))
    assert found == []
    assert [count["loaded"] for count in counts.values()] == [1, 2, 2, 1]


@pytest.mark.parametrize("name", NAMES)
def test_a_broken_file_is_told_with_its_place_and_the_way_to_mend_it(name: str, tmp_path: Path) -> None:
    told = story(name)
    found, counts = found_in(write_farm(tmp_path, name))
    said = [
        {key: getattr(each, key) for key in ("file", "row", "column", "rule", "level")} | {"sentence": each.sentence()}
        for each in found
    ]
    assert said == told["findings"]
    assert counts.get(file_of(name)) == told.get("counts")


def test_every_sentence_begins_with_the_place_and_ends_with_what_to_do() -> None:
    for each in [each for name in NAMES for each in story(name)["findings"]]:
        place = each["file"] + (f", row {each['row']}" if each["row"] else "")
        what, fix = each["sentence"].removeprefix(place).replace("? ", ". ").split(". ", 1)
        assert each["sentence"].startswith(place)
        assert what.strip(":, ")
        assert fix[0].isupper()
        assert not set("{}") & set(each["sentence"]), "a placeholder was not filled in"


def test_every_broken_file_has_its_story_and_every_story_its_file() -> None:
    assert sorted(path.stem for path in FOLDER.iterdir() if path.suffix != ".json") == NAMES
    assert len(NAMES) >= 60
    assert all(name.startswith(story(name)["table"]) and story(name)["says"] for name in NAMES)


def told_rules() -> set[tuple[str, str]]:
    """Every (table, rule) that a broken file shows in its own table."""
    return {
        (story(name)["table"], each["rule"])
        for name in NAMES
        for each in story(name)["findings"]
        if each["file"] == file_of(name)
    }


@pytest.mark.parametrize("table", INPUTS)
def test_every_rule_on_rows_has_a_broken_file(table: str) -> None:
    assert set(contract(table).row_rules) <= {rule for shown, rule in told_rules() if shown == table}


def test_every_rule_on_cells_has_a_broken_file() -> None:
    # These are about farm.toml and the folder, and about no table; or about workbooks' formats (test_number_formats),
    # and about files that were written before farm.toml changed (test_settings).
    elsewhere = {"unknown_key", "absent_file", "unread_file", "mixed_formats", "number_format", "written_otherwise"}
    elsewhere |= {
        "several_otherwise",
        "like_a_table",
        "other_spelling",
        "two_spellings",
        "no_plain_file",
        "name_not_text",
    }
    assert set(CELL_RULES) - elsewhere <= {rule for _, rule in told_rules()}


def test_every_rule_on_rows_says_what_was_expected_and_how_to_mend_it() -> None:
    for table in INPUTS:
        for rule, told in contract(table).row_rules.items():
            assert {"level", "message", "expected", "fix"} <= set(told), (table, rule)
            assert told["level"] in LEVELS
            assert not told.get("column") or told["column"] in contract(table).names


@pytest.mark.parametrize(
    ("name", "code"),
    [("harvests_bars", 3), ("batches_conflicting", 1), ("harvests_unlike_usual_kg", 0)],
)
def test_the_grower_reads_these_sentences(name: str, code: int, tmp_path: Path) -> None:
    told = gillbook("check", "--as-of", AS_OF, "--farm", write_farm(tmp_path, name))
    assert told.code == code
    for each in story(name)["findings"]:
        assert each["sentence"] in (told.err if code == 3 else told.out)
