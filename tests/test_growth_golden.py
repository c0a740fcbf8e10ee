"""Do the functions behind pins, flushes and spawn give what R gives? tests/golden/ holds data sets and R's answers.

Source: R 4.2.2 with survival 3.5.3, MASS 7.3.58.2, VGAM 1.1.7, nlme; the exact call stands beside each record of
golden_A.json, and each data set is a CSV named after it.
"""

import math
from typing import Any

import numpy as np
import pytest
from golden_records import records, table

from pipeline.growth.mean_so_far import mean_so_far
from pipeline.stats.incidence import (
    EVENT,
    OTHER_END,
    WAITING,
    Curve,
    cumulative_incidence,
    log_log_limits,
    median_day,
    pseudo_values,
)
from pipeline.stats.ratio import linear_pull, ratio_of_sums, spread

DIGITS = 1e-11  # the records hold 12 digits


def ended(rows: list[dict[str, str]], time: str, died: Any) -> tuple[list[float], list[int]]:
    return [float(row[time]) for row in rows], [EVENT if died(row) else WAITING for row in rows]


def curve_of(name: str) -> Curve:
    """The survival curve of one of the golden data sets, each row a soak of its own."""
    if name.startswith("melanoma"):
        days, ends = ended(table("Melanoma"), "time", lambda row: row["ev"] != "0")
    elif name.startswith("lung"):
        rows = [row for row in table("lung") if row["sex"] == name[-1]]
        days, ends = ended(rows, "time", lambda row: row["status"] == "2")
    else:
        days, ends = ended(table("py_statsmodels_heart"), "survival", lambda row: float(row["censors"]) == 1)
    return cumulative_incidence(days, ends, range(len(days)))


@pytest.mark.parametrize(("name", "told"), records("Aalen-Johansen"))
def test_incidence_with_a_competing_end_is_survfits(name: str, told: dict[str, float]) -> None:
    rows = table("Melanoma")
    days, codes = [float(row["time"]) for row in rows], [int(row["ev"]) for row in rows]
    for cause, other in ((1, 2), (2, 1)):
        ends = [{0: WAITING, cause: EVENT, other: OTHER_END}[code] for code in codes]
        curve = cumulative_incidence(days, ends, range(len(days)))
        at = curve.at(float(name.split("@")[1]))
        assert at is not None
        assert curve.share[at] == pytest.approx(told[f"cif{cause}"], rel=DIGITS)
        assert curve.standard_error[at] == pytest.approx(told[f"se{cause}"], rel=DIGITS)
        assert curve.other_share[at] == pytest.approx(told[f"cif{other}"], rel=DIGITS)


@pytest.mark.parametrize(("name", "told"), records("Kaplan-Meier"))
def test_one_kind_of_end_gives_kaplan_meier_greenwood_and_log_log_limits(name: str, told: dict[str, float]) -> None:
    data, day = name.split("@")
    curve = curve_of(data)
    at = curve.at(float(day))
    assert at is not None
    assert 1 - curve.share[at] == pytest.approx(told["S"], rel=DIGITS)
    assert curve.standard_error[at] == pytest.approx(told["greenwood_se"], rel=DIGITS)
    limits = log_log_limits(1 - curve.share[at], curve.standard_error[at], math.inf)
    assert limits == pytest.approx((told["loglog_lo"], told["loglog_hi"]), rel=DIGITS)


@pytest.mark.parametrize(("name", "told"), records("KM median"))
def test_medians_and_their_limits_are_survfits(name: str, told: dict[str, float | None]) -> None:
    curve = curve_of(name)
    limits = []
    for share, error in zip(curve.share, curve.standard_error, strict=True):
        left = log_log_limits(1 - share, error, math.inf)
        limits.append((1 - left[1], 1 - left[0]) if left else None)
    assert median_day(curve, limits) == (told["median"], told["lo"], told["hi"])


@pytest.mark.parametrize(("name", "told"), records("KM with cluster"))
def test_standard_error_is_summed_by_soak_as_by_litter(name: str, told: dict[str, float]) -> None:
    rows = [row for row in table("rats") if row["sex"] == "f"]
    days, ends = ended(rows, "time", lambda row: row["status"] == "1")
    curve = cumulative_incidence(days, ends, [row["litter"] for row in rows])
    at = curve.at(float(name.split("@")[1]))
    assert at is not None
    assert 1 - curve.share[at] == pytest.approx(told["S"], rel=DIGITS)
    assert curve.standard_error[at] == pytest.approx(told["cluster_se"], rel=DIGITS)


@pytest.mark.parametrize(("name", "told"), records("mean cumulative function"))
def test_mean_so_far_is_survfits_cumulative_hazard(name: str, told: dict[str, float]) -> None:
    rows = table("valveSeat")
    engines = sorted({row["id"] for row in rows})
    followed = np.array([max(float(row["stop"]) for row in rows if row["id"] == engine) for engine in engines])
    events = [row for row in rows if row["status"] == "1"]
    curve = mean_so_far(
        np.arange(len(engines)),
        followed,
        np.array([engines.index(row["id"]) for row in events]),
        np.array([float(row["stop"]) for row in events]),
        np.ones(len(events)),
    )
    at = int(np.searchsorted(curve.age, float(name.split("@")[1]), side="right")) - 1
    assert curve.mean[at] == pytest.approx(told["mcf"], rel=DIGITS)
    assert curve.error[at] == pytest.approx(told["robust_se"], rel=DIGITS)


@pytest.mark.parametrize(("name", "told"), records("clustered proportion"))
def test_ratio_of_soak_sums_is_the_clustered_proportion(name: str, told: dict[str, float]) -> None:
    rows = [row for row in table("prats") if row["treatment"] == name[-1]]
    alive, size = (np.array([float(row[name]) for row in rows]) for name in ("alive", "litter.size"))
    found = ratio_of_sums(alive, size)
    assert found.value == pytest.approx(told["r"], rel=DIGITS)
    assert found.soaks == told["G"]
    assert spread(linear_pull(alive, size), found.soaks) == pytest.approx(told["se"], rel=DIGITS)
    # The error told is the delete-one jackknife's: here by leaving out one litter after another.
    left = np.array([(alive.sum() - a) / (size.sum() - n) for a, n in zip(alive, size, strict=True)])
    jackknife = np.sqrt((told["G"] - 1) / told["G"] * ((left - found.value) ** 2).sum())
    assert found.error == pytest.approx(jackknife, rel=DIGITS)


def test_pseudo_values_are_outcomes_where_nobody_waits_and_average_to_the_share() -> None:
    # Without anybody waiting a pseudo-value is 1 or 0: pinned by then or not.
    days, ends = [10, 12, 12, 15, 20], [EVENT, EVENT, OTHER_END, EVENT, EVENT]
    assert pseudo_values(days, ends, range(5), 15) == pytest.approx({0: 1, 1: 1, 2: 0, 3: 1, 4: 0}, abs=1e-12)
    # With some waiting: their mean is the share itself.
    rows = table("Melanoma")
    days = [float(row["time"]) for row in rows]
    ends = [{0: WAITING, 1: EVENT, 2: OTHER_END}[int(row["ev"])] for row in rows]
    values = pseudo_values(days, ends, range(len(days)), 2000)
    assert sum(values.values()) / len(values) == pytest.approx(0.230139634397, rel=DIGITS)
