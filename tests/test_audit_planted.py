"""A bad row planted straight into the ledger is found by the audit, whatever the files say."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from audits import DAY, Row, broken_rows, change_unseen, sound_farm
from ledgers import change_ledger, here, refreshed

from pipeline.audit.engine import verdicts
from pipeline.audit.expected import Expected


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = sound_farm(tmp_path_factory.mktemp("sound"))
    refreshed(folder)
    return folder


@pytest.fixture
def sound(original: Path, tmp_path: Path) -> Path:
    """A farm without a fault, refreshed."""
    shutil.copytree(original, tmp_path / "farm")
    return tmp_path / "farm"


# What another program might do to the ledger, and the first row that the audit tells of then.
PLANTED: list[tuple[str, Row]] = [
    (
        "update resolved_harvests set fresh_weight_g = -30 where fresh_weight_g = 300",
        ("harvests", "fresh_weight_g", "minimum", "harvests.csv", 2, "-30"),
    ),
    (
        "update stage_harvests set fresh_weight_g = -30 where fresh_weight_g = 300",
        ("harvests", "fresh_weight_g", "as_read", "harvests.csv", 2, "300"),
    ),
    (
        "update resolved_harvests set picked_on = '2025-12-31' where fresh_weight_g = 200",
        ("harvests", "picked_on", "before_inoculation", "harvests.csv", 3, "2025-12-31"),
    ),
    (
        "update stage_harvests set cap_stage = 'mush' where fresh_weight_g = 200",
        ("harvests", "cap_stage", "enum", "harvests.csv", 3, "mush"),
    ),
    (
        "update stage_harvests set faulty = true where fresh_weight_g = 300",
        ("harvests", "", "refused", "harvests.csv", 2, None),
    ),
    (
        "update resolved_observations set event = 'eaten' where event = 'pins'",
        ("observations", "event", "enum", "observations.csv", 2, "eaten"),
    ),
    (
        "update stage_fillings set volume_l = -5 where container = '2'",
        ("fillings", "volume_l", "exclusiveMinimum", "fillings.csv", 3, "-5"),
    ),
    (
        "update batches set moisture_pct = 130",
        ("batches", "moisture_pct", "exclusiveMaximum", "batches.csv", 2, "130"),
    ),
    (
        "insert into batches select * from batches",
        ("batches", "batch", "conflicting", "batches.csv", 2, "A"),
    ),
    (
        "alter table batches drop column soak",
        ("ledger", "", "held_as", "batches.soak", 0, "missing"),
    ),
    (
        "alter table batches alter column ph_start type varchar",
        ("ledger", "", "held_as", "batches.ph_start", 0, "VARCHAR"),
    ),
    (
        "update row_counts set loaded = loaded - 1 where table_name = 'harvests'",
        ("ledger", "", "rows_add_up", "harvests.csv", 0, "2"),
    ),
]


def test_a_sound_ledger_breaks_nothing(sound: Path) -> None:
    assert broken_rows(sound) == []


@pytest.mark.parametrize(("sql", "found"), PLANTED, ids=[sql for sql, _ in PLANTED])
def test_a_bad_row_planted_in_the_ledger_is_found(sound: Path, sql: str, found: Row) -> None:
    change_ledger(sound, sql)
    assert found in broken_rows(sound, found[0])


def test_a_bad_row_planted_unseen_makes_the_check_end_with_1_and_a_rebuild_mends_it(sound: Path) -> None:
    assert here("check", "--deep", *DAY, "--farm", sound).code == 0
    change_unseen(sound, "update resolved_harvests set fresh_weight_g = -30 where fresh_weight_g = 300")
    assert here("check", *DAY, "--farm", sound).code == 0, "the files are sound, so only the audit can tell"
    said = here("check", "--deep", *DAY, "--farm", sound)
    assert said.code == 1
    lines = said.out.splitlines()
    assert lines[0] == "Wrong in the ledger: found by the audit, whatever the files say. (2)"
    mend = "The files are the record: delete ledger.duckdb, and it is made anew from them."
    assert f'  harvests.csv, row 2, fresh_weight_g: "-30" is below 0. {mend}' in said.out
    assert f'  harvests.csv, row 2, fresh_weight_g: "-30" is in the ledger where "300" was read. {mend}' in said.out
    (sound / "ledger.duckdb").unlink()
    assert here("check", "--deep", *DAY, "--farm", sound).code == 0


def test_what_the_engine_cannot_test_is_never_taken_for_a_row_that_fails() -> None:
    import pandas as pd

    arguments = {"column": "weight", "min_value": 0}
    between = Expected("harvests", "weight", "minimum", "error", "", "ExpectColumnValuesToBeBetween", arguments)
    with pytest.raises(RuntimeError, match="could not test harvests, weight, minimum"):
        verdicts(pd.DataFrame({"weight": ["a", "b"]}), [between])
