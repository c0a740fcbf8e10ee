"""When does a comparison say that it cannot tell, and does it say why and what would help? The rules R1 to R9."""

from datetime import date
from pathlib import Path

import pytest
from compare_farms import batches, compared, write_farm

from pipeline.compare.comparison import PairResult
from pipeline.compare.tables import pair_rows
from pipeline.compare.verdicts import RULES

JAN, FEB, JUL = date(2026, 1, 5), date(2026, 1, 20), date(2026, 7, 1)


def only_pair(folder: Path, rows: list[dict[str, object]], settings: str = "", **asked: object) -> PairResult:
    write_farm(folder, rows, settings)
    (told,) = compared(folder, **asked).pairs  # type: ignore[arg-type]
    return told


def stopped(told: PairResult) -> list[str]:
    return [each.rule for each in told.judgement.stopped]


def test_one_batch_of_a_level_gives_no_interval(tmp_path: Path) -> None:
    told = only_pair(tmp_path, batches("straw", [60, 65, 70], JAN) + batches("mulch", [40], FEB))
    assert stopped(told) == ["R1"]
    assert told.pair.limits is None
    assert told.pair.p is None
    reason = told.judgement.reasons[0]
    assert reason.reason == (
        "an interval needs 2 soaks of each, or 2 that hold both: straw has 3 soaks, mulch 1; none of them holds both"
    )
    assert reason.next_step == (
        "Start 2 more soaks of mulch; or, showing far more, split the next 3 soaks between straw and mulch"
    )


def test_two_soaks_of_a_level_give_an_interval_and_no_verdict(tmp_path: Path) -> None:
    told = only_pair(tmp_path, batches("straw", [90, 91, 92], JAN) + batches("mulch", [10, 11], FEB))
    assert stopped(told) == ["R2"]
    assert told.pair.limits is not None
    assert told.pair.limits[0] > 10  # far apart as they are
    assert "1 more soak of mulch" in told.judgement.reasons[0].next_step


def test_so_few_lots_that_levels_never_share_leave_too_little_to_judge_by(tmp_path: Path) -> None:
    # Three lots of each spawn, in four split soaks; of the first lots two soaks each: lots are counted.
    rows = [
        {"substrate": level, "be": be, "on": date(2026, at, 5), "soak": f"K{at}", "spawn_lot": f"{level}{max(at, 2)}"}
        for at, gave in enumerate([(60, 40), (66, 45), (62, 47), (69, 44)], 1)
        for level, be in zip(("straw", "mulch"), gave, strict=True)
    ]
    told = only_pair(tmp_path, rows)
    assert (told.pair.varies, told.pair.clusters) == ("within soaks", "spawn_lot")
    assert stopped(told) == ["R2"]
    assert told.judgement.reasons[0].reason == (
        "they never had the same spawn lot, and so few spawn lots leave little to judge by (1.8 degrees of freedom, 2 "
        "are the least)"
    )
    assert told.judgement.reasons[0].next_step == "Use one spawn lot for both, or more spawn lots of each"


def test_batches_of_one_soak_are_one_replicate(tmp_path: Path) -> None:
    # Three batches of mulch, but all of one soak: as much as one.
    mulch = [{**row, "on": FEB, "soak": "M"} for row in batches("mulch", [40, 41, 42], FEB)]
    told = only_pair(tmp_path, batches("straw", [60, 65, 70], JAN) + mulch)
    assert stopped(told) == ["R1"]
    assert len(told.pair.second) + len(told.pair.first) == 4


def test_split_soaks_that_leave_too_few_degrees_give_no_verdict(tmp_path: Path) -> None:
    # Three soaks of each level, two of them split: 1.946 degrees of freedom.
    rows = [
        {"substrate": "straw", "be": 70, "on": JAN, "soak": "A"},
        {"substrate": "mulch", "be": 40, "on": JAN, "soak": "A"},
        *batches("straw", [72], FEB),
        {"substrate": "mulch", "be": 41, "on": FEB, "soak": "B"},
        {"substrate": "straw", "be": 66, "on": FEB, "soak": "B"},
        {"substrate": "mulch", "be": 43, "on": JUL},
    ]
    told = only_pair(tmp_path, rows)
    assert told.pair.varies == "both"
    assert told.pair.estimate.degrees is not None
    assert told.pair.estimate.degrees < 2
    assert stopped(told) == ["R2"]
    assert "degrees of freedom" in told.judgement.reasons[0].reason


def test_a_factor_that_always_went_along_is_named_with_the_batch_that_would_help(tmp_path: Path) -> None:
    told = only_pair(
        tmp_path,
        batches("straw", [60, 65, 70], JAN, spawn_form="grain")
        + batches("mulch", [40, 41, 42], FEB, spawn_form="sawdust"),
    )
    assert stopped(told) == ["R3"]
    reason = told.judgement.reasons[0]
    assert reason.reason == (
        "every soak of straw had grain (spawn form) and every one of mulch sawdust; "
        "which of the two it was, nobody can tell"
    )
    assert reason.next_step == "One soak of straw with sawdust, or of mulch with grain, would begin to part them"


def test_all_batches_of_one_level_before_the_other_are_not_compared(tmp_path: Path) -> None:
    told = only_pair(tmp_path, batches("straw", [60, 65, 70], JAN) + batches("mulch", [40, 41, 42], JUL))
    assert stopped(told) == ["R4"]
    assert told.judgement.reasons[0].reason == (
        "all soaks of straw were started (the last on 2026-03-06) before the first of mulch (2026-07-01): season, room "
        "and spawn changed in between, too"
    )
    assert told.judgement.reasons[0].next_step == (
        "Start straw again beside mulch, best by splitting a soak between them"
    )


def test_no_loss_at_all_is_no_evidence_of_none(tmp_path: Path) -> None:
    rows = batches("straw", [60, 60, 60], JAN, containers=4) + batches("mulch", [40, 40, 40], FEB, containers=4)
    for row, lost in zip(rows, (0, 0, 0, 1, 2, 3), strict=True):
        row["lost"] = lost
    told = only_pair(tmp_path, rows, measure="losses")
    assert stopped(told)[0] == "R5"
    # 1 - .05^(1/3) = 63 %: exact binomial for three soaks; 39 % for six.
    assert (
        told.judgement.reasons[0].reason
        == "0 % in all 3 soaks of straw is no evidence of none: up to 63 % fits them too"
    )
    assert told.judgement.reasons[0].next_step == "6 soaks like these would narrow it to 39 %"


def test_values_that_do_not_differ_at_all_have_no_known_spread(tmp_path: Path) -> None:
    told = only_pair(tmp_path, batches("straw", [60, 60, 60], JAN) + batches("mulch", [40, 40, 40], FEB))
    assert stopped(told) == ["R5"]
    assert told.pair.limits is None


@pytest.mark.parametrize(
    ("straw", "mulch", "floor", "shown"),
    # The floors are 1 over the deals, twice that for equal sides: 2v2 .33, 3v3 .10, 2v4 .067; 4v4 is 2 of 70 deals.
    [(2, 2, 1 / 3, False), (3, 3, 0.1, False), (2, 4, 1 / 15, False), (4, 4, 2 / 70, True)],
)
def test_a_permutation_p_that_could_not_be_small_is_never_shown(
    tmp_path: Path, straw: int, mulch: int, floor: float, shown: bool
) -> None:
    rows = batches("straw", [60, 65, 70, 62][:straw], JAN) + batches("mulch", [40, 41, 44, 38][:mulch], FEB)
    told = only_pair(tmp_path, rows)
    assert [each.reason for each in told.judgement.reasons if each.rule == "R6"] == (
        [] if shown else [f"dealing out these soaks anew could not give a p below {floor:.2f}, whatever they gave"]
    )
    (row,) = pair_rows(compared(tmp_path))
    assert row["permutation_floor"] == pytest.approx(floor)
    assert (row["permutation_p"] is not None) == shown
    assert ("R6" in row["rules"].split()) != shown


def test_an_interval_that_holds_both_worth_it_and_not_is_no_verdict(tmp_path: Path) -> None:
    told = only_pair(tmp_path, batches("straw", [60, 66, 74, 58], JAN) + batches("mulch", [50, 58, 64, 48], FEB))
    assert stopped(told) == ["R7"]
    assert told.pair.limits is not None
    low, high = told.pair.limits
    assert told.judgement.reasons[0].reason == (
        f"anything from {low:.1f} to {high:.1f} points fits, "
        "both what is worthwhile (10 points or more) and what is not"
    )
    # SDs of 7.2 and 7.4: with a common one of 7.29, the noncentral t reaches a power of .8 from n = 10 on.
    assert told.judgement.reasons[0].next_step.startswith("About 10 soaks of each would be needed to show 10 points")


def test_a_difference_of_which_only_the_direction_is_sure_is_no_verdict_yet(tmp_path: Path) -> None:
    told = only_pair(tmp_path, batches("straw", [60, 62, 64, 62], JAN) + batches("mulch", [52, 54, 56, 54], FEB))
    assert stopped(told) == ["R7"]
    assert told.judgement.reasons[0].reason.startswith("it gave more than mulch, but anything from 5.")


@pytest.mark.parametrize(
    ("mulch", "smallest_effect", "word"),
    [([40, 41, 42], 10, "more"), ([84, 86, 88], 10, "less"), ([63, 64, 65], 10, "no important difference")],
)
def test_a_verdict_rests_on_what_the_farm_calls_worthwhile(
    tmp_path: Path, mulch: list[float], smallest_effect: int, word: str
) -> None:
    rows = batches("straw", [63, 65, 67], JAN) + batches("mulch", mulch, FEB)
    told = only_pair(tmp_path, rows, f"worthwhile_be_points = {smallest_effect}")
    assert told.judgement.verdict == word
    assert stopped(told) == []
    told = only_pair(tmp_path, rows, "worthwhile_be_points = 23")
    assert told.judgement.verdict == ("no important difference" if word.startswith("no") else "cannot tell")


def test_young_soaks_are_left_out_and_counted_never_zero(tmp_path: Path) -> None:
    rows = [
        *batches("straw", [63, 65, 67], JAN),
        *batches("mulch", [40, 41, 42], FEB),
        {"substrate": "mulch", "on": date(2026, 12, 20), "batch": "YOUNG", "open": True},
    ]
    told = only_pair(tmp_path, rows)
    assert told.judgement.verdict == "more"
    assert len(told.pair.second) == 3
    (row,) = pair_rows(compared(tmp_path))
    assert row["sentence"].endswith("1 soak is left out, not yet through flush 2: YOUNG.")


def test_a_soak_waits_for_all_of_its_containers(tmp_path: Path) -> None:
    # One of two containers was thrown out: told at once, and as 0 % it would stand for the whole soak.
    rows = batches("straw", [63, 65, 67], JAN) + batches("mulch", [40, 41, 42], FEB)
    rows.append({"substrate": "mulch", "on": date(2026, 12, 1), "containers": 2, "lost": 1, "open": True})
    write_farm(tmp_path, rows)
    answer = compared(tmp_path)
    mulch = next(level for level in answer.levels if level.name == "mulch")
    assert [cell.value for cell in mulch.used] == [40, 41, 42]
    assert [(cell.units, cell.units_not_yet) for cell in mulch.waiting] == [(1, 1)]


def test_days_below_the_gap_between_looks_are_not_told(tmp_path: Path) -> None:
    rows = batches("straw", [60] * 4, JAN, 28) + batches("mulch", [60] * 4, FEB, 28)
    for row, pins in zip(rows, (20, 21, 20, 21, 22, 23, 22, 23), strict=True):
        row["pins"] = pins
    told = only_pair(tmp_path, rows, measure="days")
    # Looks lie a week apart and more here, and two days are less.
    assert stopped(told)[0] == "R8"
    assert "less than usually lies between two looks" in told.judgement.reasons[0].reason
    write_farm(tmp_path, rows)
    daily = "\n".join(f"2026-{month:02}-{day:02},opened,N01," for month in range(1, 12) for day in range(1, 29))
    with (tmp_path / "observations.csv").open("a", encoding="utf-8") as file:
        file.write(daily + "\n")
    (told,) = compared(tmp_path, measure="days").pairs
    assert told.judgement.verdict == "no important difference"


def test_looking_again_is_warned_of_wherever_there_is_an_interval(tmp_path: Path) -> None:
    told = only_pair(tmp_path, batches("straw", [63, 65, 67], JAN) + batches("mulch", [40, 41, 42], FEB))
    (again,) = [each for each in told.judgement.reasons if each.rule == "R9"]
    assert (again.reason, again.next_step, again.stops) == (
        "looking again after every batch raises false alarms from 5 to 6 % at the second look and 12 % by the sixth",
        "Decide beforehand when to look",
        False,
    )


def test_there_are_nine_rules() -> None:
    assert sorted(RULES) == [f"R{at}" for at in range(1, 10)]
