"""What else could explain a difference: is each kind found, named, and told with the batch that would help?"""

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from compare_farms import batches, compared, write_farm

from pipeline.compare.comparison import PairResult
from pipeline.stats.two_levels import between

JAN, FEB = date(2026, 1, 5), date(2026, 1, 20)
A, B = [60, 65, 70, 64], [40, 41, 42, 44]


def varied(level: str, values: list[float], first: date, **columns: Any) -> list[dict[str, Any]]:
    """Batches of one substrate; columns: one cell for each batch."""
    rows = batches(level, values, first)
    for name, cells in columns.items():
        for row, cell in zip(rows, cells, strict=True):
            row[name] = cell
    return rows


def told(folder: Path, straw: dict[str, Any], mulch: dict[str, Any]) -> PairResult:
    write_farm(folder, varied("straw", A, JAN, **straw) + varied("mulch", B, FEB, **mulch))
    (found,) = compared(folder).pairs
    return found


def kinds(found: PairResult) -> list[tuple[str, tuple[str, ...]]]:
    return [(confounder.kind, confounder.factors) for confounder in found.confounders]


COLD, HOT, STEAM, WATER = "cold_lime", "hot_lime", "steam", "hot_water"


@pytest.mark.parametrize(
    ("straw", "mulch", "kind", "help_"),
    [
        ([COLD] * 4, [HOT] * 4, "one-to-one", "Start one soak of straw with hot_lime, or of mulch with cold_lime:"),
        (
            [COLD] * 4,
            [HOT, HOT, STEAM, STEAM],
            "nested",
            "Start one soak of mulch with cold_lime, or of straw with hot_lime or",
        ),
        (
            [COLD, COLD, WATER, WATER],
            [HOT, HOT, STEAM, STEAM],
            "disconnected",
            "Start one soak of straw with hot_lime or steam",
        ),
    ],
)
def test_a_treatment_that_explains_the_pair(
    tmp_path: Path, straw: list[str], mulch: list[str], kind: str, help_: str
) -> None:
    found = told(tmp_path, {"treatment": straw}, {"treatment": mulch})
    assert kinds(found) == [(kind, ("treatment",))]
    assert found.judgement.stopped[0].rule == "R3"
    assert found.judgement.stopped[0].next_step.startswith(help_)


def test_a_treatment_that_both_had_explains_nothing(tmp_path: Path) -> None:
    found = told(tmp_path, {"treatment": [COLD, COLD, HOT, HOT]}, {"treatment": [COLD, HOT, HOT, HOT]})
    assert kinds(found) == []
    assert found.judgement.direction == "more"


def test_one_batch_that_alone_ties_two_factors_carries_no_verdict(tmp_path: Path) -> None:
    found = told(tmp_path, {"treatment": [COLD] * 4}, {"treatment": [HOT, HOT, HOT, COLD]})
    assert kinds(found) == [("tie", ("treatment",))]
    assert found.confounders[0].soak == "batch N08"
    assert found.judgement.stopped[0].reason == (
        "only N08 tells straw against mulch apart from the treatment; one soak cannot carry that"
    )
    assert found.judgement.stopped[0].next_step.startswith(
        "Start two more soaks like N08; or split the next soak between "
    )


def test_two_factors_that_explain_it_only_together(tmp_path: Path) -> None:
    # Hot lime was in both and grain was in both, but never the same soak's: straw had hot sawdust, mulch hot grain.
    straw = {"treatment": [COLD, COLD, HOT, HOT], "spawn_form": ["grain", "grain", "sawdust", "sawdust"]}
    mulch = {"treatment": [HOT, HOT, STEAM, STEAM], "spawn_form": ["grain", "grain", "grain", "grain"]}
    found = told(tmp_path, straw, mulch)
    assert kinds(found) == [("together", ("treatment", "spawn_form"))]
    assert found.judgement.stopped[0].reason.startswith("no two soaks of them are alike in treatment and spawn form")


def test_an_amount_that_was_always_less_explains_it(tmp_path: Path) -> None:
    wet = [10] * 4
    found = told(
        tmp_path,
        {"substrate_wet_kg": wet, "spawn_kg": [0.5, 0.6, 0.5, 0.6]},
        {"substrate_wet_kg": wet, "spawn_kg": [1, 1.2, 1, 1]},
    )
    assert kinds(found) == [("always lower", ("spawn_rate",))]
    assert found.judgement.stopped[0].reason == (
        "every soak of straw had less spawn rate (6 at most) than any of mulch (10 at least)"
    )
    shared = {"substrate_wet_kg": wet, "spawn_kg": [0.5, 1.1, 0.5, 0.6]}
    assert kinds(told(tmp_path, shared, {"substrate_wet_kg": wet, "spawn_kg": [1, 1.2, 1, 1]})) == []


def test_hours_belong_to_the_treatment_that_they_are_compared_by(tmp_path: Path) -> None:
    write_farm(
        tmp_path,
        batches("straw", A, JAN, treatment=COLD, treatment_h=20)
        + batches("straw", B, FEB, treatment=HOT, treatment_h=4),
    )
    (found,) = compared(tmp_path, "treatment").pairs
    assert kinds(found) == []


def test_spawn_lots_of_three_and_more_a_level_are_counted_and_fewer_explain_it(tmp_path: Path) -> None:
    several = {"spawn_lot": ["G1", "G2", "G2", "G3"]}
    found = told(tmp_path, several, {"spawn_lot": ["S1", "S2", "S2", "S3"]})
    assert (kinds(found), found.pair.clusters) == ([], "spawn_lot")
    # Two lots for four soaks: what a lot does, it does to two of them.
    found = told(tmp_path, several, {"spawn_lot": ["S1", "S1", "S2", "S2"]})
    assert kinds(found) == [("disconnected", ("spawn_lot",))]
    assert found.judgement.stopped[0].next_step == (
        "Split the next soak between straw and mulch, with one spawn lot for both; or use three spawn lots of each and "
        "more"
    )
    found = told(tmp_path, several, {"spawn_lot": ["S1"] * 4})
    assert kinds(found) == [("nested", ("spawn_lot",))]
    found = told(tmp_path, several, {"spawn_lot": ["G1", "S1", "S1", "S1"]})
    assert (kinds(found), found.pair.clusters) == ([], "")


def test_soaks_of_one_lot_or_month_are_one_where_the_levels_never_share_any(tmp_path: Path) -> None:
    # Six soaks of each out of three lots, alike within each lot: as if three soaks of each.
    lots = {"straw": [60, 66, 75], "mulch": [40, 48, 44]}
    rows = [
        row | {"spawn_lot": f"{level}{at // 2}"}
        for level, values, first in (("straw", lots["straw"], JAN), ("mulch", lots["mulch"], FEB))
        for at, row in enumerate(batches(level, [each for each in values for _ in "ab"], first))
    ]
    write_farm(tmp_path, rows)
    (found,) = compared(tmp_path).pairs
    alone = between(lots["straw"], lots["mulch"])
    assert (found.pair.clusters, found.pair.permutation) == ("spawn_lot", None)
    assert found.pair.estimate.value == pytest.approx(alone.value)
    assert found.pair.estimate.standard_error == pytest.approx(alone.standard_error)
    assert found.pair.estimate.degrees == pytest.approx(4)  # Bell and McCaffrey's, of three and three


def test_months_that_were_never_shared_are_told_and_one_month_alone_explains_it(tmp_path: Path) -> None:
    # Straw in January, March, May, July; mulch in February, April, June, August: they alternate, so the season is part
    # of the spread between soaks.
    alternating = varied("straw", A, JAN) + varied("mulch", B, FEB)
    for at, row in enumerate(alternating):
        row["on"] = date(2026, 2 * (at % 4) + (1 if at < 4 else 2), 10)
    write_farm(tmp_path, alternating)
    answer = compared(tmp_path)
    (found,) = answer.pairs
    assert (kinds(found), found.judgement.direction) == ([], "more")
    from pipeline.compare.text import pair_sentence

    assert "never started in the same month" in pair_sentence(found, answer)
    for at, row in enumerate(alternating[4:]):
        row |= {"on": date(2026, 4, row["on"].day), "soak": f"K{at}"}
    write_farm(tmp_path, alternating)
    (found,) = compared(tmp_path).pairs
    assert kinds(found) == [("nested", ("month",))]
    assert found.judgement.stopped[0].next_step == ("Start mulch in other months as well, best in one soak with straw")


def test_within_split_soaks_only_what_changed_within_them_explains(tmp_path: Path) -> None:
    # Treatments differ from soak to soak, and are alike within each.
    rows = []
    for at, treatment in enumerate([COLD, HOT, STEAM]):
        soak = {"on": date(2026, 1 + at, 5), "soak": f"K{at}", "treatment": treatment}
        rows += [{**soak, "substrate": "straw", "be": A[at]}, {**soak, "substrate": "mulch", "be": B[at]}]
    write_farm(tmp_path, rows)
    (found,) = compared(tmp_path).pairs
    assert found.pair.varies == "within soaks"
    assert kinds(found) == []
    assert found.judgement.direction == "more"
    for row in rows:
        row["spawn_form"] = "grain" if row["substrate"] == "straw" else "sawdust"
    write_farm(tmp_path, rows)
    assert kinds(compared(tmp_path).pairs[0]) == [("one-to-one", ("spawn_form",))]


def test_within_split_soaks_a_change_of_other_labels_each_time_explains(tmp_path: Path) -> None:
    rows = []
    for at, (ours, theirs) in enumerate([(COLD, HOT), (HOT, STEAM), (STEAM, WATER)]):
        soak = {"on": date(2026, 1 + at, 5), "soak": f"K{at}"}
        rows += [{**soak, "substrate": "straw", "be": A[at], "treatment": ours}]
        rows += [{**soak, "substrate": "mulch", "be": B[at], "treatment": theirs}]
    write_farm(tmp_path, rows)
    (found,) = compared(tmp_path).pairs
    assert kinds(found) == [("changed along", ("treatment",))]
    assert found.judgement.stopped[0].next_step == (
        "Split the next soak between straw and mulch, with all else alike; or compare the recipe as one: gillbook "
        "compare recipe"
    )


def test_a_blank_cell_explains_nothing(tmp_path: Path) -> None:
    assert kinds(told(tmp_path, {"treatment": [COLD] * 4}, {"treatment": ["", COLD, "", COLD]})) == []


def test_what_else_differed_is_told_and_a_stratum_offered(tmp_path: Path) -> None:
    found = told(tmp_path, {"treatment": [COLD, COLD, HOT, COLD]}, {"treatment": [COLD, COLD, HOT, HOT]})
    assert [(each.factor, each.ours, each.theirs) for each in found.differing if each.factor == "treatment"] == []
    found = told(tmp_path, {"treatment": [COLD, COLD, COLD, HOT]}, {"treatment": [COLD, COLD, HOT, STEAM]})
    differed = {each.factor: each for each in found.differing}
    assert differed["treatment"].ours == {COLD: 3, HOT: 1}
    assert differed["treatment"].theirs == {COLD: 2, HOT: 1, STEAM: 1}
    assert [(each.within, each.soaks, each.soaks_against) for each in found.strata] == [((("treatment", COLD),), 3, 2)]
