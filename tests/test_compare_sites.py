"""Levels compared over several farms: differences are taken within sites, and what may be said of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from calibrate_sites import DESIGNS, LEAST_COVERAGE, MOST_ALARMS, Design, Done, run
from compare_farms import batches, write_farm
from golden_records import table
from ledgers import here
from simulated_sites import QUERY, cell, own_estimates, site

from pipeline.compare.measures import MEASURES
from pipeline.compare.site_cells import SiteCells
from pipeline.compare.sites import SitesPair, not_alike, over_sites
from pipeline.compare.sites_text import near_text, sites_rows, sites_sentence
from pipeline.stats.agreement import OneOfSeveral, agreement
from pipeline.stats.estimate import two_sided_p
from pipeline.stats.two_levels import within
from schemas.answers import Direction, Worth
from schemas.contract import contract

MIXED = "5 sites, 5v1 and 1v5 in turn"
SPREAD = (-3.0, -1.0, 0.0, 1.0, 3.0)


def level(name: str, values: Sequence[float]) -> list:
    return [cell(f"{name}{at}", name, value) for at, value in enumerate(values)]


def farm(straw: Sequence[float], hemp: Sequence[float]) -> SiteCells:
    return site(level("straw", straw) + level("hemp", hemp))


def around(middle: float, count: int) -> list[float]:
    return [middle + SPREAD[at % 5] for at in range(count)]


def pair(sites: Mapping[str, SiteCells], name: str = "straw", against: str = "hemp") -> SitesPair:
    (found,) = [each for each in over_sites(sites).pairs if (each.level, each.against) == (name, against)]
    return found


# The estimate, against outside.


def test_the_difference_is_the_mean_of_the_sites_each_weighing_by_its_soaks() -> None:
    # By hand. Least squares on sites and levels, one value a soak: within a site of n and m soaks, taking its mean away
    # leaves the first level's column at m / (n + m) and -n / (n + m), whose square sum is w = n m / (n + m) and whose
    # product with the values is w d. So the coefficient is sum (w d) / sum (w).
    sites = {"hill": farm([80, 84], [70, 74, 78]), "valley": farm([30, 31, 32, 33], [30])}
    weights, apart = (2 * 3 / 5, 4 * 1 / 5), (82 - 74, 31.5 - 30)
    found = pair(sites)
    assert found.pair is not None
    assert found.pair.estimate.value == pytest.approx(np.average(apart, weights=weights), rel=1e-12)
    assert [own.value for own in own_estimates(sites, "straw", "hemp")] == pytest.approx(apart)


def test_blocks_of_npk_are_held_alike() -> None:
    # ?npk in R prints the analysis of variance of yield ~ block + N*P*K: N has a sum of squares of 189.3; with 12 plots
    # of each that is 6 times the squared difference.
    rows = table("npk")
    blocks = {row["block"]: [each for each in rows if each["block"] == row["block"]] for row in rows}
    sites = {
        name: site([cell(str(at), f"N{row['N']}", float(row["yield"])) for at, row in enumerate(own)])
        for name, own in blocks.items()
    }
    found = pair(sites, "N1", "N0").pair
    assert found is not None
    assert 6 * found.estimate.value**2 == pytest.approx(189.3, abs=0.05)


def test_error_and_degrees_are_those_of_their_definitions() -> None:
    dice = np.random.default_rng(3)
    sizes = ((4, 2), (2, 3), (3, 3))
    values = [[(50 + 10 * at + dice.normal(0, 5, n)).tolist() for n in both] for at, both in enumerate(sizes)]
    found = pair({f"site {at}": farm(*own) for at, own in enumerate(values)}).pair
    assert found is not None
    first = np.concatenate([[1.0] * n + [0.0] * m for n, m in sizes])
    of = np.repeat(np.arange(3), [n + m for n, m in sizes])
    design = np.column_stack([first, *(of == at for at in range(3))])
    observed = np.concatenate([value for own in values for value in own])
    bread = np.linalg.inv(design.T @ design)
    left = np.eye(len(of)) - design @ bread @ design.T
    # CR2 of single cells: each residual over the root of what the fit leaves of it; Satterthwaite by its trace.
    pull = (bread @ design.T)[0] / np.sqrt(np.diag(left))
    residuals = left @ observed
    kernel = pull[:, None] * left * pull
    parts = [float(((pull * residuals)[first == one] ** 2).sum()) for one in (1, 0)]
    free = [float(np.diag(left)[first == one].sum()) for one in (1, 0)]
    welch = sum(parts) ** 2 / sum(part**2 / own for part, own in zip(parts, free, strict=True))
    degrees = min(np.trace(kernel) ** 2 / (kernel**2).sum(), welch)
    assert found.estimate.standard_error == pytest.approx(sum(parts) ** 0.5, rel=1e-10)
    assert found.estimate.degrees == pytest.approx(degrees, rel=1e-10)
    assert found.p == pytest.approx(two_sided_p(found.estimate.value / sum(parts) ** 0.5, degrees), rel=1e-9)


def test_split_soaks_of_all_sites_are_one_paired_t() -> None:
    differences = ([5.0, 9.0, 4.0], [7.0, 2.0])
    sites = {
        f"site {at}": site(
            [cell(f"s{number}", "straw", 40 * at + each) for number, each in enumerate(own)]
            + [cell(f"s{number}", "hemp", 40.0 * at) for number, _ in enumerate(own)]
        )
        for at, own in enumerate(differences)
    }
    found, paired = pair(sites).pair, within([each for own in differences for each in own])
    assert found is not None
    # Soaks of one name on two sites are two: five hold both.
    assert found.split == 5
    assert found.estimate.value == pytest.approx(paired.value)
    assert found.estimate.standard_error == pytest.approx(paired.standard_error)
    assert found.estimate.degrees == pytest.approx(paired.degrees)


WARP = {
    "L": ([26, 30, 54, 25, 70, 52, 51, 26, 67], [27, 14, 29, 19, 29, 31, 41, 20, 44]),
    "M": ([18, 21, 29, 17, 12, 18, 35, 30, 36], [42, 26, 19, 16, 39, 28, 21, 39, 29]),
    "H": ([36, 21, 24, 18, 10, 43, 28, 15, 26], [20, 21, 24, 17, 13, 15, 15, 16, 28]),
}


def test_how_far_sites_differ_is_the_interaction_of_warpbreaks() -> None:
    # datasets::warpbreaks; R's summary(aov(breaks ~ wool * tension)) prints wool:tension F 4.189. Where all are equally
    # many ours is that F; its degrees are its own, for no site lends another its spread: p .021 becomes .03.
    found = pair({name: farm(ours, theirs) for name, (ours, theirs) in WARP.items()}).agreement
    assert found is not None
    assert found.f == pytest.approx(4.189, abs=0.0005)
    assert found.count == 3
    assert found.degrees[0] < 2
    assert 20 < found.degrees[1] < 48
    assert found.p == pytest.approx(0.0211, abs=0.015)


def test_two_differences_differ_by_welchs_t_of_them() -> None:
    # Of two, F is t squared: (d1 - d2)^2 / (v1 + v2), with Satterthwaite's degrees of a sum of variances.
    found = agreement([OneOfSeveral(9.0, 4.0, 5.0, 2.0), OneOfSeveral(2.0, 1.0, 3.0, 1.0)])
    assert found is not None
    assert found.f == pytest.approx(49 / 5)
    assert found.degrees == pytest.approx((1.0, 25 / (16 / 5 + 1 / 3)))
    assert found.p == pytest.approx(two_sided_p((49 / 5) ** 0.5, found.degrees[1]), rel=1e-9)
    assert agreement([OneOfSeveral(9.0, 4.0, 5.0, 2.0)]) is None
    assert agreement([OneOfSeveral(9.0, 0.0, 5.0, 2.0)] * 2) is None


# What is said.


def test_what_one_farm_gives_more_than_another_is_in_no_difference() -> None:
    # Straw gives 12 more on each, but is grown where all gives less: in one heap hemp gives more.
    sites = {"hill": farm(around(82, 3), around(70, 9)), "valley": farm(around(42, 9), around(30, 3))}
    heap = [[each.value for own in sites.values() for each in own.levels[name]] for name in ("straw", "hemp")]
    assert np.mean(heap[0]) < np.mean(heap[1]) - 5
    found = pair(sites)
    assert found.judgement.direction is Direction.MORE
    assert found.pair is not None
    assert found.pair.estimate.value == pytest.approx(12, abs=2)
    told_as = sites_sentence(found, over_sites(sites))
    assert told_as.startswith("straw gave more than hemp over 2 sites: by ")
    assert "By site: hill 11.0, valley 13.0; they differ by no more than chance would have it." in told_as


def test_sites_that_hold_one_of_the_two_alone_are_left_out_and_named() -> None:
    two = {"hill": farm(around(82, 4), around(70, 4)), "valley": farm(around(42, 4), around(30, 4))}
    more = {"creek": farm(around(90, 5), []), "moor": farm([], around(10, 5)), "ridge": farm([], [])}
    found, alone = pair(two | more), pair(two)
    assert found.both == ("hill", "valley")
    assert found.alone == {"straw": ("creek",), "hemp": ("moor",)}
    assert found.pair == alone.pair
    told_as = sites_sentence(found, over_sites(two | more))
    assert "Left out, for it has figures of one of the two alone: creek (straw), moor (hemp)." in told_as


def test_a_site_that_names_them_and_has_no_figure_is_told_too() -> None:
    two = {"hill": farm(around(82, 4), around(70, 4)), "valley": farm(around(42, 4), around(30, 4))}
    young = replace(farm([], []), levels={"straw": (), "hemp": ()})
    found = over_sites({**two, "ridge": young, "creek": farm([], [])})
    (row,) = sites_rows(found)
    assert row["sites_without_figures"] == "ridge"
    assert "Left out, for it has no figure of either yet: ridge." in row["sentence"]
    assert found.pairs[0].pair == pair(two).pair


@pytest.mark.parametrize(
    ("sites", "said"),
    [
        ({"hill": farm([80, 81], []), "valley": farm([], [30, 31])}, "No site has figures of both, so what the farms"),
        (
            {"hill": farm([80, 81], [70, 75]), "valley": farm([], [30, 31])},
            "Only hill has figures of both: its own",
        ),
    ],
)
def test_below_two_sites_that_hold_both_nothing_is_said(sites: dict[str, SiteCells], said: str) -> None:
    (row,) = sites_rows(over_sites(sites))
    assert said in row["sentence"]
    assert (row["rules"], row["direction"], row["difference"], row["p"]) == ("S1", "cannot tell", None, None)


def test_sites_that_differ_in_which_way_get_no_answer_together() -> None:
    sites = {"hill": farm(around(90, 9), around(60, 9)), "valley": farm(around(40, 5), around(45, 5))}
    found = pair(sites)
    assert found.agreement is not None
    assert found.agreement.differ
    assert found.pair is not None
    assert found.pair.p is not None
    assert found.pair.p < 0.05
    assert found.judgement.direction is Direction.CANNOT_TELL
    (row,) = sites_rows(over_sites(sites))
    assert row["verdict"] == "sites differ"
    assert "does not lie the same way on all (from -5.0 on valley to 30.0 on hill)" in row["sentence"]
    assert "Go by each site's own answer" in row["sentence"]


def test_sites_that_differ_in_how_much_alone_get_one_with_a_caution() -> None:
    sites = {"hill": farm(around(95, 9), around(60, 9)), "valley": farm(around(56, 5), around(45, 5))}
    found = pair(sites)
    assert found.judgement.direction is Direction.MORE
    told_as = sites_sentence(found, over_sites(sites))
    assert "But the sites differ in it, more than by chance: hill 35.0, valley 11.0." in told_as
    assert "for one of them its own answer counts" in told_as


def test_one_clear_site_is_not_lost_among_small_ones() -> None:
    clear = farm(around(82, 8), around(70, 8))
    small = {name: farm([middle + 9], [middle + 3]) for name, middle in (("moor", 30.0), ("ridge", 55.0))}
    assert pair({"hill": clear, **small}).judgement.direction is Direction.MORE
    # Where the others blur it, it is named.
    blurred = {"hill": clear, "valley": farm([0.0, 90.0, 45.0], [60.0, 0.0, 80.0])}
    assert "By itself hill shows a difference." in sites_sentence(pair(blurred), over_sites(blurred))


def test_a_soak_of_each_on_three_sites_is_a_pair_each() -> None:
    differences = (10.0, 13.0, 11.0)
    sites = {f"site {at}": farm([20.0 * at + each], [20.0 * at]) for at, each in enumerate(differences)}
    found, paired = pair(sites), within(differences)
    assert found.pair is not None
    assert found.pair.estimate.value == pytest.approx(paired.value)
    assert found.pair.estimate.standard_error == pytest.approx(paired.standard_error)
    assert found.pair.estimate.degrees == pytest.approx(2)
    assert found.judgement.direction is Direction.MORE
    assert "whether they differ in it so few soaks on each cannot tell" in sites_sentence(found, over_sites(sites))


def test_a_verdict_over_two_single_pairs_is_not_given() -> None:
    found = pair({"hill": farm([80], [70]), "valley": farm([41], [30])})
    assert found.judgement.direction is Direction.CANNOT_TELL
    assert "R2" in {each.rule for each in found.judgement.stopped}


def started(found: SiteCells, straw: int, hemp: int) -> SiteCells:
    """The site with its soaks started every ten days, those of each level from a day of their own on."""
    first = {"straw": date(2026, 1, 1) + timedelta(straw), "hemp": date(2026, 1, 1) + timedelta(hemp)}
    return replace(
        found,
        levels={
            name: [replace(each, started=first[name] + timedelta(10 * at)) for at, each in enumerate(own)]
            for name, own in found.levels.items()
        },
    )


def test_what_was_always_started_earlier_explains_only_where_it_was_so_on_every_site() -> None:
    hill, valley = farm(around(82, 3), around(70, 3)), farm(around(42, 3), around(30, 3))
    later = pair({"hill": started(hill, 0, 100), "valley": started(valley, 0, 100)})
    assert [each.rule for each in later.judgement.stopped] == ["R4"]
    assert later.judgement.direction is Direction.CANNOT_TELL
    turned = pair({"hill": started(hill, 0, 100), "valley": started(valley, 100, 0)})
    assert turned.judgement.direction is Direction.MORE


def of_strain(values: Mapping[str, Sequence[float]]) -> list:
    """Soaks by "level strain"."""
    return [
        cell(f"{key}{at}", key.split()[0], value, strain=key.split()[1])
        for key, own in values.items()
        for at, value in enumerate(own)
    ]


def test_another_factor_explains_where_it_changed_along_on_every_site_and_is_parted_where_one_shows_it() -> None:
    along = {"straw grey": around(82, 3), "hemp pink": around(70, 3)}
    both = {name: site(of_strain(along)) for name in ("hill", "valley")}
    assert [each.rule for each in pair(both).judgement.stopped] == ["R3"]
    # Grey gives 20 more; hill alone grows both strains of straw, and so shows it.
    crossed = {"straw grey": around(60, 4), "straw pink": around(40, 4), "hemp pink": around(28, 4)}
    found = pair({"hill": site(of_strain(crossed)), "valley": site(of_strain(along | {"hemp grey": around(90, 1)}))})
    assert found.pair is not None
    assert found.pair.adjusted == ("strain",)


def test_a_site_that_grows_another_strain_throughout_explains_nothing() -> None:
    sites = {
        name: site(of_strain({f"straw {strain}": around(82, 4), f"hemp {strain}": around(70, 4)}))
        for name, strain in (("hill", "grey"), ("valley", "pink"))
    }
    found = pair(sites)
    assert found.judgement.direction is Direction.MORE
    assert found.pair is not None
    assert found.pair.adjusted == ()


def test_levels_meet_by_exactly_the_same_name_and_near_ones_are_told() -> None:
    sites = {
        "hill": farm(around(82, 3), around(70, 3)),
        "valley": site(level("Straw", around(42, 3)) + level("hemp", around(30, 3))),
    }
    found = over_sites(sites)
    assert {(each.level, each.against, each.both) for each in found.pairs} == {
        ("straw", "hemp", ("hill",)),
        ("hemp", "Straw", ("valley",)),
        ("straw", "Straw", ()),
    }
    assert near_text(found).startswith("Written in several ways, and so held apart: Straw, and on hill straw.")
    assert near_text(over_sites({"hill": sites["hill"], "moor": sites["hill"]})) == ""


def test_it_counts_by_the_smallest_difference_of_every_site() -> None:
    sites = {"hill": farm(around(82, 9), around(70, 9)), "valley": farm(around(42, 9), around(30, 9))}
    loose, strict = replace(sites["valley"], smallest_effect=2.0), replace(sites["valley"], smallest_effect=13.0)
    assert (
        pair({"hill": replace(sites["hill"], smallest_effect=5.0), "valley": loose}).judgement.worth is Worth.WORTH_IT
    )
    assert pair({"hill": sites["hill"], "valley": strict}).judgement.worth is Worth.OPEN
    alike = {"hill": farm(around(70, 9), around(70, 9)), "valley": farm(around(30, 9), around(30, 9))}
    assert pair(alike).judgement.worth is Worth.NO_MATTER
    small = {"hill": alike["hill"], "valley": replace(alike["valley"], smallest_effect=0.1)}
    assert pair(small).judgement.worth is Worth.OPEN


def test_money_of_two_currencies_and_containers_of_two_sizes_are_not_put_together() -> None:
    own = farm(around(82, 3), around(70, 3))
    margin = replace(QUERY, measure=replace(MEASURES["margin"], unit="EUR"))
    other = replace(QUERY, measure=replace(MEASURES["margin"], unit="GBP"))
    refused = not_alike({"hill": replace(own, query=margin), "valley": replace(own, query=other)})
    assert refused == "No answer over all sites: they reckon in several currencies (hill EUR, valley GBP)."
    refused = not_alike({"hill": replace(own, sizes=("bucket, 10 L",)), "valley": own})
    assert refused is not None
    assert "hill: bucket, 10 L; valley: not written down" in refused
    assert not_alike({"hill": own, "valley": own}) is None


# Through simulated co-ops: a small part of tests/calibrate_sites.py, which holds what it finds against compare's.


@pytest.mark.parametrize("design", DESIGNS, ids=lambda each: each.name)
def test_false_alarms_and_coverage_are_what_they_are_said_to_be(design: Design) -> None:
    done = run(design, 2000, 5)
    # 2,000 co-ops know a share of 5 % to half a point.
    assert done.alarms <= MOST_ALARMS + 0.01
    assert done.coverage >= LEAST_COVERAGE - 0.01


def test_one_heap_raises_alarms_and_two_stages_are_blind_on_two_sites() -> None:
    found = {design.name: run(design, 2000, 5) for design in DESIGNS if design.name in ("2 sites, 3v3", MIXED)}
    assert found[MIXED].heap_alarms > 0.2
    assert found[MIXED].alarms < 0.07
    assert found["2 sites, 3v3"].shown > 2 * found["2 sites, 3v3"].two_stage_shown


@pytest.mark.parametrize(
    ("alarms", "coverage", "passes"), [(0.06, 0.95, True), (0.07, 0.95, False), (0.05, 0.9, False)]
)
def test_a_design_that_passes_a_limit_is_told(alarms: float, coverage: float, passes: bool) -> None:
    done = Done("x", alarms, coverage, 0.1, 0.2, float("nan"), 0.1, 0.1, 0.1, True)
    assert done.passes == passes
    assert ("passes a limit" in str(done)) != passes


# Through the command.


@pytest.fixture(scope="module")
def farms(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two farms that grow both, one that grows straw alone, one of which nothing is written, one that is torn."""
    folder = tmp_path_factory.mktemp("sites")
    grown = {"hill": ((82, 3), (70, 8)), "valley": ((42, 8), (30, 3)), "ridge": ((90, 4), (0, 0))}
    for name, both in grown.items():
        (folder / name).mkdir()
        rows = [
            row
            for shift, substrate, (middle, count) in zip((0, 3), ("straw", "hemp"), both, strict=True)
            for row in batches(substrate, around(middle, count), date(2026, 1, 5 + shift), every=7)
        ]
        write_farm(folder / name, [{**row, "batch": f"N{at:02}"} for at, row in enumerate(rows)])
    for name, settings in (("empty", ""), ("torn", "lapse_days = ")):
        (folder / name).mkdir()
        (folder / name / "farm.toml").write_text(settings, encoding="utf-8")
    return folder


def test_the_answer_over_all_sites_follows_those_of_each(farms: Path) -> None:
    asked = ("compare", "substrate", "--as-of", "2026-12-31")
    said = here("many", farms, *asked)
    assert said.code == 2
    assert "torn: farm.toml is not valid TOML" in said.err
    _, mark, together = said.out.partition("Over 4 sites, each difference taken within its site: BE of flushes 1 to 2")
    assert mark
    assert "straw gave more than hemp over 2 sites: by " in " ".join(together.split())
    assert "Left out, for it has figures of one of the two alone: ridge (straw)." in " ".join(together.split())
    assert max(map(len, said.out.splitlines())) <= 80
    assert "each site weighs by its soaks. It holds for these sites together" in " ".join(said.err.split())
    named = [word for name in ("hill", "valley") for word in ("--farm", farms / name)]
    assert "Over 2 sites, each difference" in here(*asked, *named).out


def test_its_rows_are_those_of_the_contract_and_of_no_site(farms: Path) -> None:
    rows = here("many", farms, "compare", "substrate", "--as-of", "2026-12-31", "--json").json
    assert [row["site"] for row in rows] == ["hill", "valley", None]
    assert list(rows[2])[1:] == list(contract("compared_sites").names)
    assert (rows[2]["sites"], rows[2]["sites_with_both"], rows[2]["sites_level_alone"]) == (2, "hill, valley", "ridge")
    assert rows[2]["by_site"] == f"hill {rows[0]['difference']:.1f}, valley {rows[1]['difference']:.1f}"
    assert rows[2]["direction"] == "more"


@pytest.mark.parametrize("more", [("--levels",), ("--trend",), ()])
def test_levels_trends_and_all_in_brief_have_none(farms: Path, more: tuple[str, ...]) -> None:
    named = [word for name in ("hill", "valley") for word in ("--farm", farms / name)]
    said = here("compare", *(("substrate", *more) if more else ()), "--as-of", "2026-12-31", *named)
    assert said.code == 0, said.err
    assert "Over 2 sites" not in said.out
