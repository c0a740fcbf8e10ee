"""Planning a trial: do its powers agree with R, its spread with lme4's, and does the dice give every level its due?"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from golden_records import grouped, records

from pipeline.models.trial_batches import TrialBatch
from pipeline.stats.multiple import Family
from pipeline.stats.two_levels import between, within
from pipeline.stats.variance import inflation
from pipeline.trial import power as of
from pipeline.trial.design import (
    best_containers,
    designs,
    enough_containers,
    give_out,
    levels_of,
    proposed,
    where,
)
from pipeline.trial.power import PlannedTest, between_test, detectable, formula_power, power, split_test
from pipeline.trial.rows import free_prefix, trial_rows
from pipeline.trial.spread import Component, Spread, components, spread
from schemas.contract import Varies
from schemas.finding import WrongRequest


def spread_of(soak: float, part: float, container: float) -> Spread:
    """A spread that is known well: variances in points^2."""
    return Spread(*(Component(each, 40, each) for each in (soak, part, container)), False)


# The soak, its parts and a container as in the golden records: sB^2 = 200, sInt^2 = 36, s^2 = 200 points^2.
KNOWN = spread_of(200, 18, 200)


@pytest.mark.parametrize(("name", "value"), records("power, noncentral t"))
def test_power_is_that_of_power_t_test(name: str, value: dict[str, float]) -> None:
    # R 4.2.2: power.t.test(n=, delta=, sd=, type=, strict=TRUE)$power
    number, difference, sd = (float(part.split("=")[1]) for part in name.split()[2:])
    kind = {"two.sample": (2 / number, 2 * (number - 1)), "paired": (1 / number, number - 1)}[name.split()[1]]
    test = PlannedTest(sd * kind[0] ** 0.5, kind[1], int(number), name.split()[1] == "paired")
    # R's own series stops there: scipy agrees with numerical integration to 1e-14.
    assert formula_power(difference, test) == pytest.approx(value["power"], abs=1e-9)


def test_the_golden_deviations_are_the_formulas_of_a_soak_and_its_containers() -> None:
    # The formula with the variances above: 15.2752 for 6 containers, paired 11.6619 for 4 and 13.0128 for 3 a part.
    assert between_test(200**0.5, 200**0.5, 6, 3).error == pytest.approx(15.27525232 * (2 / 3) ** 0.5, rel=1e-9)
    assert split_test(6, 200**0.5, 4, 4).error == pytest.approx(11.66190379 / 2, rel=1e-9)
    assert split_test(6, 200**0.5, 3, 2).error == pytest.approx(13.0128142 / 2**0.5, rel=1e-9)


def test_few_soaks_are_simulated_and_found_less_often_than_the_formula_says() -> None:
    # By simulation, our test is up to 10, 5 and 1 points weaker at 3v3, 4v4 and 6v6; within, the formula holds.
    for soaks, most in ((3, 0.10), (4, 0.05), (6, 0.03), (8, 0.02)):
        test = between_test(200**0.5, 200**0.5, 6, soaks)
        for difference in (10, 20, 30):
            assert 0 < formula_power(difference, test) - power(difference, test) < most + 0.01
        split = split_test(6, 200**0.5, 3, soaks)
        assert power(20, split) == pytest.approx(formula_power(20, split), abs=0.01)
    # By simulation (20,000 farms): a difference of 1 SD (20 points) at ICC .5, six containers a batch.
    for soaks, told in ((3, 0.18), (4, 0.31), (6, 0.52)):
        assert power(20, between_test(200**0.5, 200**0.5, 6, soaks)) == pytest.approx(told, abs=0.02)
    assert power(20, split_test(0, 200**0.5, 3, 6)) == pytest.approx(0.92, abs=0.02)
    assert power(20, between_test(10, 10, 6, 9)) == formula_power(20, between_test(10, 10, 6, 9))


def test_the_simulated_test_is_the_one_of_the_comparisons() -> None:
    for split in (False, True):
        estimate, error, limit = of._simulated(3, split, Family(1))
        dice = np.random.default_rng(of.SEED)
        values = dice.standard_normal((of.SIMULATIONS, 3) if split else (of.SIMULATIONS, 2, 3))
        values *= (3 if split else 3 / 2) ** 0.5
        for draw in range(40):
            told = within(values[draw].tolist()) if split else between(*values[draw].tolist())
            assert told.value == pytest.approx(estimate[draw])
            assert told.standard_error == pytest.approx(error[draw])
            assert (told.p < 0.05) == (abs(estimate[draw]) > limit[draw] * error[draw])


@pytest.mark.parametrize("soaks", [3, 4, 6, 12])
@pytest.mark.parametrize("split", [True, False])
def test_the_detectable_difference_is_found_in_80_of_100(soaks: int, split: bool) -> None:
    test = (split_test if split else between_test)(6, 14, 3, soaks)
    assert power(detectable(test), test) == pytest.approx(0.8, abs=0.001)


def test_no_power_is_lost_where_scipy_has_no_lower_tail() -> None:
    assert formula_power(1000, PlannedTest(1, 4, 3, False)) == 1
    assert formula_power(8.5, PlannedTest(1, 1, 2, True)) == pytest.approx(0.5, abs=0.2)


def test_an_sd_from_few_degrees_is_inflated_as_stated() -> None:
    told = {2: 2.12, 4: 1.56, 6: 1.40, 10: 1.27, 20: 1.17}  # sqrt(df / chi-square quantile .2), rounded
    assert {degrees: round(inflation(degrees), 2) for degrees in told} == told


@pytest.mark.parametrize(("name", "variance"), [("Dyestuff", 1764.05), ("Dyestuff2", 0.0)])
def test_the_spread_of_soaks_is_the_anova_estimate(name: str, variance: float) -> None:
    # lme4::Dyestuff and Dyestuff2, one-way ANOVA estimators in R: 1764.05 and -1.32, which is set to nothing and said.
    found = components([list(grouped(name, "Batch", "Yield").values())])
    assert found is not None
    assert found.variance == pytest.approx(variance, abs=1e-9)
    assert (found.degrees, found.cut) == (5, not variance)
    assert found.planned > found.variance


def made(values: dict[str, dict[str, list[float]]], recipe: str = "") -> list[TrialBatch]:
    """Batches by soak, with the values of their containers. Its recipe is its name's last letter, if none given."""
    return [
        TrialBatch(soak, batch, "straw", "grey", recipe or batch[-1], containers)
        for soak, batches in values.items()
        for batch, containers in batches.items()
    ]


def test_what_recipes_do_is_no_spread_of_soaks_or_their_parts() -> None:
    # Every soak split alike: b gives 30 more, and beyond that 6 more and 6 less in turn.
    split = {f"S{n}": {f"{n}a": [50, 54], f"{n}b": [80 + 6 * (-1) ** n, 84 + 6 * (-1) ** n]} for n in range(4)}
    found = spread(made(split))
    assert found is not None
    assert found.containers.variance == pytest.approx(8)
    # Residuals of batch means are +-3: 8 of them over 3 degrees, less half of a container's variance.
    assert found.parts.degrees == 3
    assert found.parts.variance == pytest.approx(8 * 9 / 3 - 8 / 2)
    assert not found.parts.cut
    other = [replace(each, substrate="mulch", be_pct=[value - 40 for value in each.be_pct]) for each in made(split)]
    both = [*made(split), *(replace(each, soak_key=f"m{each.soak_key}") for each in other)]
    wider = spread(both)
    assert wider is not None
    assert wider.soaks.variance == pytest.approx(found.soaks.variance)
    assert wider.soaks.degrees == 6


def test_where_no_soak_was_split_a_quarter_is_assumed_and_too_few_soaks_tell_nothing() -> None:
    alone = {f"S{n}": {f"{n}a": [50 + 10 * n, 54 + 10 * n]} for n in range(3)}
    found = spread(made(alone))
    assert found is not None
    assert found.part_assumed
    assert found.parts.planned == pytest.approx(found.soaks.planned / 4)
    assert spread(made({"S0": {"0a": [50, 54]}, "S1": {"1a": [60, 64]}})) is None
    assert spread(made({f"S{n}": {f"{n}a": [50]} for n in range(5)})) is None
    assert spread([]) is None


def test_splitting_soaks_asks_for_fewer_of_them_and_is_proposed() -> None:
    found = designs(KNOWN, Varies.BATCH, 2, 20, 6)
    split, apart = (next(each for each in found if each.needed and each.split is kind) for kind in (True, False))
    assert (split.soaks, split.batches, split.containers) == (6, 12, 3)
    assert (apart.soaks, apart.batches, apart.containers) == (22, 22, 6)
    assert split.power >= 0.8 > formula_power(20, split_test(6, 200**0.5, 3, 5))
    assert split.test.error == pytest.approx(split_test(6, 200**0.5, 3, 6).error)
    assert proposed(found, None) is split
    chosen = proposed(found, 4)
    assert chosen is not None
    assert (chosen.soaks, chosen.split) == (4, True)


def test_what_is_done_to_a_soak_cannot_split_it_and_containers_differ_within_a_batch() -> None:
    assert [where(each) for each in ("treatment", "spawn_rate", "holes_open")] == [
        Varies.SOAK,
        Varies.BATCH,
        Varies.CONTAINER,
    ]
    assert not any(each.split for each in designs(KNOWN, Varies.SOAK, 2, 20, 6))
    of_containers = designs(KNOWN, Varies.CONTAINER, 2, 20, 6)[0]
    assert (of_containers.split, of_containers.batches) == (True, of_containers.soaks)
    assert of_containers.test.error < designs(KNOWN, Varies.BATCH, 2, 20, 6)[0].test.error


def test_more_levels_share_the_false_alarms() -> None:
    two, three = (designs(KNOWN, Varies.BATCH, levels, 20, 6 * levels)[0] for levels in (2, 3))
    assert (two.test.together, three.test.together) == (Family(1, 0), Family(3, 0))
    assert three.power < two.power


def test_containers_a_batch_follow_the_work_and_the_spread() -> None:
    # sqrt(cost of a batch / cost of a container x s^2 / sB^2): optimum allocation in two stages (Cochran 1977; memory).
    assert best_containers(spread_of(100, 0, 400), 4) == 4
    assert best_containers(spread_of(400, 0, 100), 1) == 1
    enough = enough_containers(KNOWN, Varies.BATCH, 2, 20)
    assert enough is not None
    assert power(20, split_test(6, 200**0.5, enough, 8)) >= 0.8 > power(20, split_test(6, 200**0.5, enough - 1, 8))


@pytest.mark.parametrize("level", [Varies.BATCH, Varies.CONTAINER])
def test_every_block_holds_every_level_in_an_order_of_its_own(level: Varies) -> None:
    found = [each for each in designs(KNOWN, level, 2, 20, 6) if each.test.soaks == 8]
    for design in found:
        once = give_out(design, ["a", "b"], 5)
        assert once == give_out(design, ["a", "b"], 5) != give_out(design, ["a", "b"], 6)
        filled: Counter[tuple[int, str]] = Counter()
        for each in once:
            filled[each.block, each.level] += each.containers
        assert set(filled.values()) == {design.containers}
        assert len(filled) == 16
        assert {each.level for each in once if each.turn == 1} == {"a", "b"}
        assert len({each.soak for each in once}) == design.soaks


def test_rows_to_fill_in_are_one_batch_a_portion_and_one_row_a_container() -> None:
    split = next(each for each in designs(KNOWN, Varies.BATCH, 2, 20, 6) if each.split and each.test.soaks == 3)
    batches, fillings = trial_rows(give_out(split, ["grain", "sawdust"], 1), "spawn_form", Varies.BATCH, True, "T1-")
    assert [row["batch"] for row in batches] == ["T1-1a", "T1-1b", "T1-2a", "T1-2b", "T1-3a", "T1-3b"]
    assert [row["soak"] for row in batches] == ["T1-1", "T1-1", "T1-2", "T1-2", "T1-3", "T1-3"]
    assert Counter(row["spawn_form"] for row in batches) == {"grain": 3, "sawdust": 3}
    assert Counter(row["batch"] for row in fillings) == {row["batch"]: 3 for row in batches}
    of_containers = next(each for each in designs(KNOWN, Varies.CONTAINER, 2, 20, 6) if each.test.soaks == 3)
    given = give_out(of_containers, ["4", "8"], 1)
    batches, fillings = trial_rows(given, "holes_open", Varies.CONTAINER, True, "T1-")
    assert [(row["batch"], row["containers_filled"]) for row in batches] == [
        ("T1-1", "6"),
        ("T1-2", "6"),
        ("T1-3", "6"),
    ]
    assert Counter((row["batch"], row["holes_open"]) for row in fillings) == {
        (f"T1-{n}", holes): 3 for n in (1, 2, 3) for holes in ("4", "8")
    }
    assert free_prefix(["T1-4", "A", "T2-1a"]) == "T3-"


@pytest.mark.parametrize(
    ("factor", "levels", "said"),
    [
        ("spawn_frm", "a,b", "--factor spawn_frm: that cannot be tried. Did you mean spawn_form? Known: strain, "),
        ("strain", "a", "--levels a: name two or more different levels, with commas between."),
        ("strain", "a,a", "--levels a,a: name two or more different levels, with commas between."),
        ("holes_open", "4,many", "--levels many: holes_open is a number. Write digits with a decimal point."),
        ("strain", "a,b,c,d,e,f,g", "--levels a,b,c,d,e,f,g: 6 levels at most; each wants as many containers again."),
    ],
)
def test_what_cannot_be_tried_is_said(factor: str, levels: str, said: str) -> None:
    with pytest.raises(WrongRequest, match=re.escape(said)):
        levels_of(factor, levels) if where(factor) else None
