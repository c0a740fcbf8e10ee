"""What is done to a whole bath is never split: is the advice one that can be followed, in compare and in trial?"""

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from compare_farms import batches, compared, write_farm

from pipeline.compare.factors import is_of_whole_soak
from pipeline.compare.tables import pair_rows

JAN, FEB, JUL = date(2026, 1, 5), date(2026, 1, 20), date(2026, 7, 1)
PAIRS = "in the same week, one of hot_water and one of cold_lime"


def by_treatment(cold: list[float], hot: list[float], second: date = FEB, **cells: Any) -> list[dict[str, Any]]:
    """Soaks of straw by treatment."""
    return batches("straw", cold, JAN, treatment="cold_lime") + batches(
        "straw", hot, second, treatment="hot_water", **cells
    )


@pytest.mark.parametrize(
    ("rows", "rule", "said"),
    [
        (
            by_treatment([60, 65, 70], [40]),
            "R1",
            "Start 2 more soaks of hot_water, each in the same week as one of the",
        ),
        (by_treatment([60, 65, 70], [40, 47]), "R2", "Start 1 more soak of hot_water, each in the same week as one of"),
        (
            by_treatment([60, 65, 70], [40, 41, 42], strain="pink"),
            "R3",
            "Start one soak of hot_water with grey, or of ",
        ),
        (
            by_treatment([60, 65, 70], [40, 41, 42], JUL),
            "R4",
            "Start cold_lime again beside hot_water, in pairs of soaks of the same ",
        ),
        (by_treatment([60, 60, 60], [40, 40, 40]), "R5", f"Start a pair of soaks {PAIRS}"),
        (
            by_treatment([60, 66, 74, 58], [50, 58, 64, 48]),
            "R7",
            ", in pairs of the same week, one of hot_water and one",
        ),
    ],
)
def test_treatments_are_alternated_in_pairs_of_the_same_week(
    tmp_path: Path, rows: list[dict[str, Any]], rule: str, said: str
) -> None:
    write_farm(tmp_path, rows)
    (row,) = pair_rows(compared(tmp_path, "treatment"))
    assert row["rules"].split()[0] == rule
    assert said in row["next_step"]
    assert said in row["sentence"]
    assert "split" not in row["sentence"].lower()
    assert "hold both" not in row["sentence"]


def test_hours_and_lime_are_of_a_whole_bath_too_and_substrates_are_not(tmp_path: Path) -> None:
    rows = batches("straw", [60, 65, 70], JAN, treatment_h=12) + batches("straw", [40, 47], FEB, treatment_h=24)
    write_farm(tmp_path, rows)
    (row,) = pair_rows(compared(tmp_path, "treatment_h"))
    assert row["next_step"] == "Start 1 more soak of 24 h, each in the same week as one of the other"
    assert is_of_whole_soak("lime_g_per_l")
    assert not is_of_whole_soak("spawn_rate")
    write_farm(tmp_path, batches("straw", [60, 65, 70], JAN) + batches("mulch", [40, 47], FEB))
    (row,) = pair_rows(compared(tmp_path))
    assert row["next_step"] == (
        "Start 1 more soak of mulch; or, showing far more, split the next 3 soaks between straw and mulch"
    )


def test_recipes_that_differ_in_the_treatment_alternate_and_others_are_split(tmp_path: Path) -> None:
    write_farm(tmp_path, by_treatment([60, 65, 70], [40, 47]))
    (row,) = pair_rows(compared(tmp_path, "recipe"))
    assert "in the same week as one of the other" in row["next_step"]
    write_farm(tmp_path, batches("straw", [60, 65, 70], JAN) + batches("mulch", [40, 47], FEB))
    (row,) = pair_rows(compared(tmp_path, "recipe"))
    assert "split the next 3 soaks between" in row["next_step"]


def test_a_farm_whose_soaks_hold_both_goes_on_splitting_them(tmp_path: Path) -> None:
    rows = [
        {"substrate": "straw", "be": be, "on": date(2026, at, 5), "soak": f"K{at}", "treatment": treatment}
        for at, gave in enumerate([(60, 40), (66, 45)], 1)
        for treatment, be in zip(("cold_lime", "hot_water"), gave, strict=True)
    ]
    write_farm(tmp_path, rows)
    (row,) = pair_rows(compared(tmp_path, "treatment"))
    assert "split the next soak between hot_water and cold_lime" in row["next_step"]


def test_two_never_started_in_one_month_are_to_be_started_in_one_week(tmp_path: Path) -> None:
    # Cold lime in odd months, hot water in even ones.
    rows = [
        {"substrate": "straw", "be": 90 + at % 3 - (40 if at % 2 else 0), "on": date(2026, 1 + at, 5)}
        | {"treatment": "hot_water" if at % 2 else "cold_lime"}
        for at in range(8)
    ]
    write_farm(tmp_path, rows)
    (row,) = pair_rows(compared(tmp_path, "treatment"))
    assert row["sentence"].endswith(f"The two were never started in the same month: start a pair of soaks {PAIRS}.")
