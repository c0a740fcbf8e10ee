"""Do the functions behind compare give what R gives? tests/golden holds R's answers with the exact calls."""

import math

import pytest
from golden_records import RECORDS, grouped, means, records, table

from pipeline.stats.cluster_robust import ClusterFit, mixed
from pipeline.stats.estimability import comparable, rank
from pipeline.stats.estimate import Estimate, t_critical, two_sided_p
from pipeline.stats.multiple import Family, range_critical, range_p
from pipeline.stats.permutation import flip, shuffle
from pipeline.stats.power import minimum_detectable, power
from pipeline.stats.two_levels import bell_mccaffrey_degrees, between, mean, variance, welch_degrees, within
from pipeline.stats.variance import one_way

DIGITS = 1e-11  # the records hold 12 digits
RANGE_DIGITS = 2e-9  # R's ptukey and qtukey promise eps = 1; against scipy we differ by less than 1e-9

Values = dict[str, float]


def sides(name: str) -> tuple[list[float], list[float]]:
    """The batch means of both levels of a record like "ratpup Control->High"."""
    if name.startswith("prats"):
        props = grouped("prats", "treatment", "prop")
        return props["0"], props["1"]
    first, second = name.split()[1].split("->")
    litters = means("RatPupWeight", ("Litter", "Treatment"), "weight")
    return list(litters[first].values()), list(litters[second].values())


def differences(name: str) -> list[float]:
    """The differences within batches of a record like "machines A->B"."""
    if "slope" in name:
        return slopes()
    data, key, value = ("Machines", ("Worker", "Machine"), "score")
    if name.startswith("oats"):
        data, key, value = "Oats", ("Block", "nitro"), "yield"
    cells = means(data, key, value)
    first, second = name.rsplit(maxsplit=1)[-1].split("->")
    return [cells[second][batch] - cells[first][batch] for batch in cells[first]]


def slopes() -> list[float]:
    cells = means("Oats", ("Block", "nitro"), "yield")
    at = [float(nitro) for nitro in cells]
    middle = mean(at)
    squares = sum((x - middle) ** 2 for x in at)
    return [sum((float(nitro) - middle) * cells[nitro][block] for nitro in cells) / squares for block in cells["0"]]


@pytest.mark.parametrize(("name", "told"), [*records("RECOMMENDED between"), *records("batch-mean Welch t")])
def test_between_is_welch_with_the_smaller_degrees(name: str, told: Values) -> None:
    first, second = sides(name)
    found = between(second, first)
    assert found.value == pytest.approx(told.get("diff", told.get("diff_2_minus_1")), rel=DIGITS)
    assert found.standard_error == pytest.approx(told["se"], rel=DIGITS)
    # In all of these Welch's degrees are the smaller ones.
    assert found.degrees == pytest.approx(told["df"], rel=DIGITS)
    assert found.p == pytest.approx(told["p"], rel=DIGITS)
    assert found.limits() == pytest.approx((told["ci_lo"], told["ci_hi"]), rel=DIGITS)
    assert mean(first) == pytest.approx(told.get("mean1", mean(first)), rel=DIGITS)


@pytest.mark.parametrize(("name", "told"), records("CR2 + Bell-McCaffrey df on batch means"))
def test_bell_mccaffreys_degrees_and_the_mixed_fit_of_batches_that_have_one_level_each(name: str, told: Values) -> None:
    first, second = sides(name)
    assert bell_mccaffrey_degrees((len(first), len(second))) == pytest.approx(told["df"], rel=DIGITS)
    found = fit_of(first, second).difference("second", "first")
    assert found.value == pytest.approx(told["est"], rel=DIGITS)
    assert found.standard_error == pytest.approx(told["se"], rel=DIGITS)
    assert found.degrees == pytest.approx(told["df"], rel=DIGITS)
    assert found.p == pytest.approx(told["p"], rel=DIGITS)


def fit_of(first: list[float], second: list[float]) -> ClusterFit:
    cells = [
        ((name, at), name, value)
        for name, side in (("first", first), ("second", second))
        for at, value in enumerate(side)
    ]
    return mixed(*zip(*cells, strict=True))


@pytest.mark.parametrize(("name", "told"), [*records("batch-mean Student t")])
def test_the_analysis_of_variance_of_two_groups_is_students_t(name: str, told: Values) -> None:
    first, second = sides(name)
    found = one_way([first, second])
    assert found is not None
    assert found.f is not None
    assert found.within_degrees == told["df"]
    assert found.p == pytest.approx(told["p"], rel=DIGITS)
    assert abs(mean(first) - mean(second)) / math.sqrt(found.f) == pytest.approx(told["se"], rel=1e-10)


@pytest.mark.parametrize(("name", "told"), records("within: paired t"))
def test_within_is_the_paired_t(name: str, told: Values) -> None:
    found = within(differences(name))
    assert found.value == pytest.approx(told["mean"], rel=DIGITS)
    assert found.standard_error == pytest.approx(told["se"], rel=DIGITS)
    assert found.degrees == told["df"]
    assert found.p == pytest.approx(told["p"], rel=1e-10)
    assert found.limits() == pytest.approx((told["ci_lo"], told["ci_hi"]), rel=DIGITS)


@pytest.mark.parametrize(("name", "told"), records("exact sign-flip p"))
def test_turning_signs_is_counted_out_exactly(name: str, told: Values) -> None:
    found = flip(differences(name))
    assert found is not None
    assert (found.p, found.floor) == (told["p"], told["floor"])


@pytest.mark.parametrize(("name", "told"), records("exact permutation"))
def test_dealing_out_batches_is_counted_out_exactly(name: str, told: Values) -> None:
    found = shuffle(*sides(name))
    assert found is not None
    assert found.p == pytest.approx(told["p"], rel=DIGITS)
    assert found.p == pytest.approx(told["coin_p"], rel=DIGITS)
    assert found.floor == pytest.approx(told["floor"], rel=DIGITS)


@pytest.mark.parametrize("icc", [0.0, 0.5])
def test_mixed_is_gls_with_the_cr2_error(icc: float) -> None:
    cells = [(row["b"], row["t"], float(row["y"])) for row in table("machines_thinned_cells")]
    found = mixed(*zip(*cells, strict=True), icc)
    told = {each["id"][-3]: each["value"] for each in RECORDS if each["method"].endswith(f"working ICC {icc:g}")}
    assert sorted(told) == ["B", "C"]
    for level, values in told.items():
        estimate = found.difference(level, "A")
        assert estimate.value == pytest.approx(values["est"], rel=DIGITS)
        assert estimate.standard_error == pytest.approx(values["se"], rel=DIGITS)
        assert estimate.degrees == pytest.approx(values["df"], rel=DIGITS)
        assert estimate.p == pytest.approx(values["p"], rel=DIGITS)


@pytest.mark.parametrize(("name", "told"), records("within: paired t", "machines"))
def test_mixed_reduces_to_the_paired_t_where_every_batch_is_split(name: str, told: Values) -> None:
    scores = means("Machines", ("Worker", "Machine"), "score")
    first, second = name.rsplit(maxsplit=1)[-1].split("->")
    # All three machines are in the fit: a complete split stays a paired t.
    cells = [(worker, level, value) for level, own in scores.items() for worker, value in own.items()]
    found = mixed(*zip(*cells, strict=True)).difference(second, first)
    assert found.value == pytest.approx(told["mean"], rel=DIGITS)
    assert found.standard_error == pytest.approx(told["se"], rel=DIGITS)
    assert found.degrees == pytest.approx(told["df"], rel=DIGITS)


def groups(name: str) -> dict[str, list[float]]:
    if name.startswith("ratpup"):
        litters = means("RatPupWeight", ("Litter", "Treatment"), "weight")
        return {level: list(own.values()) for level, own in litters.items()}
    return grouped("py_pingouin_anova", "hair", "pain")


@pytest.mark.parametrize(("name", "told"), [*records("Games-Howell"), *records("RECOMMENDED pairs")])
def test_several_levels_are_games_howell(name: str, told: Values) -> None:
    every = groups(name)
    second, first = name.split(":")[1].split("-")
    estimate = between(every[second], every[first])
    if "se" in told:  # plain Games-Howell, with Welch's degrees
        spreads = variance(every[second]), variance(every[first])
        numbers = len(every[second]), len(every[first])
        estimate = Estimate(estimate.value, estimate.standard_error, welch_degrees(spreads, numbers))
        assert estimate.standard_error == pytest.approx(told["se"], rel=DIGITS)
    check_range(estimate, len(every), told)
    assert estimate.degrees == pytest.approx(told["df"], rel=DIGITS)


def check_range(estimate: Estimate, levels: int, told: Values) -> None:
    family = Family(levels * (levels - 1) // 2, levels)
    low, high = family.limits(estimate) or (math.nan, math.nan)
    assert family.p(estimate) == pytest.approx(told["p"], rel=1e-7)
    assert family.p(estimate) == pytest.approx(
        told.get("p_scipy", told["p"]), rel=RANGE_DIGITS if "p_scipy" in told else 1e-7
    )
    assert (low, high) == pytest.approx((told["lo"], told["hi"]), rel=1e-6)


@pytest.mark.parametrize(("name", "told"), records("Tukey-Kramer"))
def test_the_studentized_range_with_a_pooled_error_is_tukeys(name: str, told: Values) -> None:
    every = groups(name)
    second, first = name.split(":")[1].split("-")
    anova = one_way(list(every.values()))
    assert anova is not None
    error = math.sqrt(anova.within_ms * (1 / len(every[first]) + 1 / len(every[second])))
    estimate = Estimate(mean(every[second]) - mean(every[first]), error, float(anova.within_degrees))
    assert estimate.value == pytest.approx(told["diff"], rel=DIGITS)
    check_range(estimate, len(every), told)


@pytest.mark.parametrize(("name", "told"), records("classical F"))
def test_the_analysis_of_variance_is_rs(name: str, told: Values) -> None:
    found = one_way(list(groups(name).values()))
    assert found is not None
    assert (found.between_degrees, found.within_degrees) == (told["df1"], told["df2"])
    assert found.f == pytest.approx(told["F"], rel=DIGITS)
    assert found.p == pytest.approx(told["p"], rel=DIGITS)


@pytest.mark.parametrize(("name", "told"), records("variance components"))
def test_variance_components_are_the_anova_estimators(name: str, told: Values) -> None:
    data, batch, value = {
        "ratpup": ("RatPupWeight", "Litter", "weight"),
        "dyestuff": ("Dyestuff", "Batch", "Yield"),
        "dyestuff2": ("Dyestuff2", "Batch", "Yield"),
    }[name.split(maxsplit=1)[0]]
    found = one_way(list(grouped(data, batch, value).values()))
    assert found is not None
    assert found.between_ms == pytest.approx(told["MSB"], rel=DIGITS)
    assert found.within_ms == pytest.approx(told["MSW"], rel=DIGITS)
    assert found.n0 == pytest.approx(told["n0"], rel=DIGITS)
    assert found.between_variance == pytest.approx(told["sb2_anova"], rel=DIGITS)
    assert found.batch_variance == pytest.approx(told["sb2_anova_trunc"], rel=DIGITS)
    assert found.batch_share == pytest.approx(told["icc_anova"], rel=DIGITS)


@pytest.mark.parametrize(("name", "told"), records("naive container Welch t"))
def test_containers_are_not_what_is_tested(name: str, told: Values) -> None:
    pups = grouped("RatPupWeight", "Treatment", "weight")
    spreads, numbers = [(f(pups["High"]), f(pups["Control"])) for f in (variance, len)]
    naive = between(pups["High"], pups["Control"])
    naive = Estimate(naive.value, naive.standard_error, welch_degrees(spreads, numbers))
    assert naive.p == pytest.approx(told["p"], rel=DIGITS)  # what a test of pups would say
    litters = between(*sides("ratpup Control->High"))
    assert litters.p is not None
    assert litters.p > 1000 * told["p"]


@pytest.mark.parametrize("method", ["container OLS", "lmer REML"])
def test_containers_and_mixed_models_promise_more_than_is_told(method: str) -> None:
    # Machines A -> B: the same difference, but R's errors are those of containers, or rest on a model of the spread.
    (told,) = [each["value"] for each in RECORDS if each["method"].startswith(method) and "machines" in each["id"]]
    found = within(differences("machines A->B"))
    assert found.value == pytest.approx(told["est"], rel=DIGITS)
    assert (found.standard_error or 0) > 1.1 * told["se"]


def design(row: dict[str, str], interactions: bool) -> dict[object, int]:
    """A row of R's model matrix of yield ~ block + N * P * K, the first label of each factor left out."""
    found: dict[object, int] = {"(Intercept)": 1}
    if row["block"] != "1":
        found["block" + row["block"]] = 1
    for terms in ("N", "P", "K", *(("NP", "NK", "PK", "NPK") if interactions else ())):
        if all(row[term] == "1" for term in terms):
            found[terms] = 1
    return found


def test_rank_and_alias_are_rs() -> None:
    told = {each["method"]: each["value"] for each in RECORDS if each["id"] == "npk"}
    full = [design(row, True) for row in table("npk")]
    assert len({column for row in full for column in row}) == told["aliasing / rank"]["columns"]
    assert rank(full) == told["aliasing / rank"]["rank"]
    assert told["aliasing / rank"]["aliased"] == "N1:P1:K1"
    assert not comparable(full, {"NPK": 1})
    additive = [design(row, False) for row in table("npk")]
    assert rank(additive) == told["additive model fine"]["rank"]
    assert all(comparable(additive, {term: 1}) for term in "NPK")


def test_the_t_and_the_studentized_range_are_rs() -> None:
    told = {each["id"]: each["value"] for each in RECORDS}
    for name, degrees in (("p1", 1.885), ("p2", 2.0), ("p4", 4.0)):
        assert 1 - two_sided_p(2.5, degrees) / 2 == pytest.approx(told["t"][name], rel=DIGITS)
    for name, degrees in (("q1", 1.0), ("q2", 1.885), ("q3", 2.0), ("q4", 4.0)):
        assert t_critical(degrees) == pytest.approx(told["t"][name], rel=DIGITS)
    assert range_p(3.5, 4, 8) == pytest.approx(told["ptukey"]["p"], rel=1e-9)
    assert range_p(3.5, 4, 8) == pytest.approx(told["ptukey"]["p_scipy"], rel=1e-12)
    # R's qtukey at 2 degrees of freedom is off in the fourth digit: 9.79901, where scipy and we have 9.79805.
    for name, degrees in (("q2", 2.0), ("q8", 8.0), ("q20", 20.0)):
        assert range_critical(4, degrees) == pytest.approx(told["ptukey"][f"{name}_scipy"], rel=1e-7)


@pytest.mark.parametrize(("name", "told"), records("power, noncentral t"))
def test_power_is_rs(name: str, told: Values) -> None:
    parts = dict(part.split("=") for part in name.split()[2:])
    count, delta, sd = int(parts["n"]), float(parts["delta"]), float(parts["sd"])
    paired = "paired" in name
    degrees = float(count - 1 if paired else 2 * (count - 1))
    apart = delta / (sd * math.sqrt((1 if paired else 2) / count))
    assert power(apart, degrees, t_critical(degrees)) == pytest.approx(told["power"], rel=1e-8)


@pytest.mark.parametrize("degrees", [1.0, 2.3, 3.78506039506871, 6.0, 7.203175179447439, 40.0])
def test_the_showable_difference_is_shown_in_four_of_five(degrees: float) -> None:
    critical = t_critical(degrees)
    assert power(minimum_detectable(degrees, critical), degrees, critical) == pytest.approx(0.8, rel=1e-6)
