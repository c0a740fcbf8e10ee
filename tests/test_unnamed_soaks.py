"""Batches of one recipe and one day that name no soak: asked about by check, and one soak until somebody says more."""

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from compare_farms import batches, compared, write_farm
from conftest import gillbook

from pipeline.farm.folder import open_farm
from pipeline.ledger.refresh import refresh
from pipeline.models import measures
from pipeline.models.compared_units import guessed_soaks
from pipeline.models.view import Query, open_ledger, opened

MakeFarm = Callable[..., Path]
HEADER = "batch,inoculated_on,strain,substrate,soak,treatment_h,substrate_wet_kg,spawn_kg,incubation_c"


def keys(folder: Path) -> dict[str, str]:
    """The soak of each batch, as the ledger counts it."""
    farm = open_farm(folder)
    refresh(farm, "test")
    with open_ledger(farm.ledger) as con:
        return dict(con.execute("select batch, soak_key from batches").fetchall())


@pytest.mark.parametrize(
    ("second", "soak"),
    [
        ("B2,2026-01-05,grey,straw,,24,10,1,21", "batch B1"),
        ("B2,2026-01-05,grey,straw,,24,10,1.04,21", "batch B1"),  # spawn in whole % is alike
        ("B2,2026-01-05,grey,straw,X,24,10,1,21", "soak X"),
        ("B2,2026-01-06,grey,straw,,24,10,1,21", "batch B2"),
        ("B2,2026-01-05,pink,straw,,24,10,1,21", "batch B2"),
        ("B2,2026-01-05,grey,mulch,,24,10,1,21", "batch B2"),
        ("B2,2026-01-05,grey,straw,,12,10,1,21", "batch B2"),
        ("B2,2026-01-05,grey,straw,,,10,1,21", "batch B2"),
        ("B2,2026-01-05,grey,straw,,24,10,2,21", "batch B2"),
    ],
)
def test_only_one_recipe_on_one_day_without_a_name_is_one_soak(farm: MakeFarm, second: str, soak: str) -> None:
    folder = farm(batches=f"{HEADER}\nB1,2026-01-05,grey,straw,,24,10,1,21\n{second}")
    assert keys(folder) == {"B1": "batch B1", "B2": soak}


def test_batches_without_a_day_are_their_own_soaks(farm: MakeFarm) -> None:
    assert keys(farm(batches="batch,inoculated_on\nB1,\nB2,")) == {"B1": "batch B1", "B2": "batch B2"}


def test_check_asks_with_the_rows_and_the_cell_that_answers(farm: MakeFarm) -> None:
    rows = "\n".join(f"B{at},2026-01-05" for at in (1, 2, 3))
    folder = farm(batches=f"batch,inoculated_on\n{rows}\nC,2026-02-01")
    found = [each for each in gillbook("check", "--json", "--farm", folder).json if each["rule"] == "soak_not_named"]
    assert [(each["level"], each["file"], each["row"], each["column"]) for each in found] == [
        ("warning", "batches.csv", 2, "soak")
    ]
    said = " ".join(gillbook("check", "--farm", folder).out.split())
    assert (
        "batches.csv, row 2, soak: did these come out of one soak: B1 (batches.csv, row 2), B2 (batches.csv, row 3), "
        "B3 (batches.csv, row 4)? One recipe, one day and no name, so they count as one. If they did, write one name "
        "into the cell soak of each, like soak-1; if not, another name into each."
    ) in said


def test_an_answer_ends_the_question(farm: MakeFarm) -> None:
    folder = farm(batches="batch,inoculated_on,soak\nB1,2026-01-05,S1\nB2,2026-01-05,S2\nB3,2026-01-05,")
    assert keys(folder) == {"B1": "soak S1", "B2": "soak S2", "B3": "batch B3"}
    assert not [each for each in gillbook("check", "--json", "--farm", folder).json if each["column"] == "soak"]


def test_compare_counts_them_as_one_soak_and_says_so(tmp_path: Path) -> None:
    first = date(2026, 1, 5)
    rows = [*batches("straw", [60, 70, 64], first), *batches("mulch", [40, 41, 42], date(2026, 1, 6))]
    twin = {**rows[0], "be": 80, "batch": "TWIN"}
    write_farm(tmp_path, [*rows, twin])
    answer = compared(tmp_path)
    assert [(level.name, len(level.used)) for level in answer.levels] == [("mulch", 3), ("straw", 3)]
    # Its two batches add up: (60 + 80) / 2.
    assert sorted(round(cell.value or 0, 6) for cell in answer.levels[1].used) == [64, 70, 70]
    assert guessed_soaks(answer.units.rows) == [["N01", "TWIN"]]
    note = (
        "Batches N01 and TWIN have one recipe, one day and no soak name: they count as one soak. Write their soaks "
        "into batches.csv, one name or several: gillbook check has the rows."
    )
    for words in (["substrate"], []):
        said = gillbook("compare", *words, "--farm", tmp_path, "--as-of", "2026-12-31")
        assert note in " ".join(said.err.split())
    write_farm(tmp_path, [{**row, "soak": f"S{at}"} for at, row in enumerate([*rows, twin])])
    named = compared(tmp_path)
    assert [len(level.used) for level in named.levels] == [3, 4]
    assert guessed_soaks(named.units.rows) == []
    assert "no soak name" not in gillbook("compare", "--farm", tmp_path, "--as-of", "2026-12-31").err


def test_losses_count_soaks_alike(farm: MakeFarm) -> None:
    folder = farm(
        batches="batch,inoculated_on\nB1,2026-01-05\nB2,2026-01-05\nB3,2026-02-05",
        observations="seen_on,event,batch\n2026-02-01,emptied,B1\n2026-02-01,emptied,B2\n2026-03-01,emptied,B3",
    )
    opened_farm = open_farm(folder)
    refresh(opened_farm, "test")
    with opened(opened_farm.ledger, opened_farm.settings) as ledger:
        (row,) = measures.losses(ledger.view(Query(date(2026, 6, 1))))
    assert (row["soaks"], row["soaks_with_loss"], row["lost"]) == (2, 2, 3)
