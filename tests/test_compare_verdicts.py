"""When does a comparison say that it cannot tell, and does it say why and what would help? The rules R1 to R9."""

import random
from datetime import date
from pathlib import Path

import pytest
from compare_farms import batches, compared, write_farm
from scipy.stats import nct, t

from pipeline.compare.comparison import PairResult
from pipeline.compare.soaks_needed import more_soaks
from pipeline.compare.tables import level_rows, pair_rows
from pipeline.compare.verdicts import RULES
from pipeline.stats.multiple import Family
from pipeline.stats.two_levels import bell_mccaffrey_degrees

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
    assert reason.next_step == (
        "Start one soak of straw with sawdust, or of mulch with grain: that would begin to part them; or compare the "
        "recipe as one: gillbook compare recipe"
    )


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
    assert told.judgement.reasons[0].next_step == "Go on to 6 soaks like these: they would narrow it to 39 %"


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


def test_an_interval_that_holds_more_and_less_is_no_answer(tmp_path: Path) -> None:
    told = only_pair(tmp_path, batches("straw", [60, 66, 74, 58], JAN) + batches("mulch", [50, 58, 64, 48], FEB))
    assert stopped(told) == ["R7"]
    assert told.pair.limits is not None
    low, high = told.pair.limits
    assert told.judgement.reasons[0].reason == (
        f"anything from {low:.1f} to {high:.1f} points fits, more as well as less"
    )
    # SDs of 7.2 and 7.4: with a common one of 7.29, the noncentral t reaches a power of .8 from n = 10 on.
    assert told.judgement.reasons[0].next_step.startswith(
        "Start about 6 more soaks of each to show 10 points; or split"
    )


def test_a_direction_is_said_though_whether_it_is_worth_it_is_open(tmp_path: Path) -> None:
    told = only_pair(tmp_path, batches("straw", [60, 62, 64, 62], JAN) + batches("mulch", [52, 54, 56, 54], FEB))
    assert stopped(told) == []
    assert (told.judgement.direction, told.judgement.worth) == ("more", "open")
    (row,) = pair_rows(compared(tmp_path))
    # 8 points, SE sqrt(8/3 / 4 * 2) = 1.155, t(.975, 6) = 2.447: 5.2 to 10.8.
    assert row["sentence"].startswith(
        "straw gave more than mulch: by 5.2 to 10.8 points, about 8.0. Whether by your 10 points is open: "
        "take straw where it costs no more."
    )
    assert row["verdict"] == "more, worth it or not"
    assert row["rules"].split()[0] == "R7"


@pytest.mark.parametrize(
    ("mulch", "smallest_effect", "direction", "worth"),
    [
        ([40, 41, 42], 10, "more", "worth it"),
        ([84, 86, 88], 10, "less", "worth it"),
        ([63, 64, 65], 10, "cannot tell", "no difference that matters"),
    ],
)
def test_worth_rests_on_what_the_farm_calls_worthwhile_and_direction_does_not(
    tmp_path: Path, mulch: list[float], smallest_effect: int, direction: str, worth: str
) -> None:
    rows = batches("straw", [63, 65, 67], JAN) + batches("mulch", mulch, FEB)
    told = only_pair(tmp_path, rows, f"worthwhile_be_points = {smallest_effect}")
    assert (told.judgement.direction, told.judgement.worth) == (direction, worth)
    assert stopped(told) == []
    told = only_pair(tmp_path, rows, "worthwhile_be_points = 23")
    assert told.judgement.direction == direction
    assert told.judgement.worth == (worth if direction == "cannot tell" else "open")


def test_a_sure_difference_that_is_too_small_does_not_matter(tmp_path: Path) -> None:
    rows = batches("straw", [63, 65, 67], JAN) + batches("mulch", [40, 41, 42], FEB)
    told = only_pair(tmp_path, rows, "worthwhile_be_points = 40")
    assert (told.judgement.direction, told.judgement.worth) == ("more", "no difference that matters")
    (row,) = pair_rows(compared(tmp_path))
    assert "Even the far end is less than the 40 points that count" in row["sentence"]


@pytest.mark.parametrize("seed", range(12))
def test_no_sentence_asks_for_fewer_soaks_than_there_are(tmp_path: Path, seed: int) -> None:
    dice = random.Random(seed)
    ours, theirs = dice.choice([(40, 40), (12, 5), (5, 30), (8, 8)])
    rows = batches("straw", [dice.gauss(60, 12) for _ in range(ours)], JAN, 7)
    rows += batches("mulch", [dice.gauss(58, 12) for _ in range(theirs)], JAN, 7)
    told = only_pair(tmp_path, rows)
    need = more_soaks(told.pair, Family(1), 10)
    assert need is not None
    assert min(need) >= 0
    if told.judgement.direction == "cannot tell" and told.judgement.worth == "open":
        assert "more soak" in told.judgement.reasons[0].next_step
    # What is asked for is enough: with so many soaks, the noncentral t of the design reaches a power of .8.
    error = told.pair.estimate.standard_error
    assert error is not None
    per_soak = error**2 / (1 / ours + 1 / theirs)
    after = (ours + need[0], theirs + need[1])
    degrees = bell_mccaffrey_degrees(after)
    apart = 10 / (per_soak * (1 / after[0] + 1 / after[1])) ** 0.5
    assert 1 - nct.cdf(t.ppf(0.975, degrees), degrees, apart) > 0.799


def test_young_soaks_are_left_out_and_counted_never_zero(tmp_path: Path) -> None:
    rows = [
        *batches("straw", [63, 65, 67], JAN),
        *batches("mulch", [40, 41, 42], FEB),
        {"substrate": "mulch", "on": date(2026, 12, 20), "batch": "YOUNG", "open": True},
    ]
    told = only_pair(tmp_path, rows)
    assert told.judgement.direction == "more"
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


def tenth(name: str, running: int, gave: int) -> list[dict[str, object]]:
    """A soak of ten containers of mulch: some run without a picking, some gave 40 %, the rest was thrown out."""
    soak = {"substrate": "mulch", "soak": name, "on": date(2026, 10, 8)}
    lost = 10 - gave - running
    found = [{**soak, "batch": f"{name}a", "containers": gave, "be": 40.0}] if gave else []
    found += [{**soak, "batch": f"{name}b", "containers": lost, "lost": lost}] if lost else []
    return [*found, {**soak, "batch": f"{name}c", "containers": running, "open": True}]


def test_a_soak_with_one_container_still_running_counts_and_the_rest_is_named(tmp_path: Path) -> None:
    rows = batches("straw", [63, 65, 67], JAN) + batches("mulch", [40, 41, 42], FEB)
    write_farm(tmp_path, [*rows, *tenth("K", 1, 9)])
    answer = compared(tmp_path)
    mulch = next(level for level in answer.levels if level.name == "mulch")
    # What is finished gave 40 % of its own dry mass.
    assert [round(cell.value or 0, 1) for cell in mulch.used] == [40, 41, 42, 40]
    assert [(cell.units, cell.units_not_yet) for cell in mulch.partly] == [(9, 1)]
    (row,) = pair_rows(answer)
    assert row["soaks_against" if row["against"] == "mulch" else "soaks"] == 4
    assert "Of K, 9 of 10 containers are finished and count; 1 still runs." in row["sentence"]
    level = next(each for each in level_rows(answer) if each["level"] == "mulch")
    assert (level["soaks"], level["soaks_not_yet"], level["units"], level["units_not_yet"]) == (4, 0, 12, 1)
    # Of other measures a soak waits whole.
    assert not next(each for each in compared(tmp_path, measure="culled").levels if each.name == "mulch").partly


@pytest.mark.parametrize(("running", "gave", "counts"), [(2, 8, True), (3, 7, False), (2, 7, False), (1, 0, False)])
def test_a_soak_waits_while_more_than_a_fifth_of_those_that_live_still_run(
    tmp_path: Path, running: int, gave: int, counts: bool
) -> None:
    # What was thrown out is in at once, and stands for nothing that still runs: two of nine are more than a fifth.
    rows = batches("straw", [63, 65, 67], JAN) + batches("mulch", [40, 41, 42], FEB)
    write_farm(tmp_path, [*rows, *tenth("K", running, gave)])
    mulch = next(level for level in compared(tmp_path).levels if level.name == "mulch")
    assert (len(mulch.used), len(mulch.waiting)) == ((4, 0) if counts else (3, 1))


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
    assert told.judgement.worth == "no difference that matters"


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
