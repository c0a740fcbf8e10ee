"""What must hold of comparisons whatever the numbers: order, units, names of levels, and what they reduce to."""

import random
from collections.abc import Hashable
from datetime import date
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from compare_farms import batches, compared, write_farm
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.compare.comparison import compare
from pipeline.compare.measures import MEASURES
from pipeline.compare.query import ComparisonQuery
from pipeline.compare.sides import cramers_v
from pipeline.compare.tables import level_rows, pair_rows
from pipeline.farm.settings import default_settings
from pipeline.stats.cluster_robust import mixed
from pipeline.stats.estimability import comparable, rank
from pipeline.stats.multiple import Family, range_p
from pipeline.stats.two_levels import DesignKind, between, within
from schemas.answers import ComparedMeasure
from tests.two_levels_by_batch import design_of, difference_of

QUICK = settings(deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck))
VALUES = st.lists(st.integers(0, 2000).map(lambda n: n / 10), min_size=2, max_size=8)
JAN, FEB = date(2026, 1, 5), date(2026, 1, 20)


@QUICK
@given(VALUES, VALUES)
def test_turning_a_pair_around_turns_its_sign(first: list[float], second: list[float]) -> None:
    one, other = between(first, second), between(second, first)
    assert one.value == -other.value
    assert (one.standard_error, one.degrees, one.p) == (other.standard_error, other.degrees, other.p)


@QUICK
@given(VALUES, VALUES, st.sampled_from([0.001, 1000.0]))
def test_units_scale(first: list[float], second: list[float], factor: float) -> None:
    plain, scaled = between(first, second), between([v * factor for v in first], [v * factor for v in second])
    assert scaled.value == pytest.approx(plain.value * factor, abs=1e-9 * factor)
    if plain.standard_error:
        assert scaled.standard_error == pytest.approx(plain.standard_error * factor, rel=1e-9)
        assert scaled.degrees == pytest.approx(plain.degrees, rel=1e-9)


@QUICK
@given(st.lists(st.tuples(st.integers(0, 5), st.sampled_from("AB"), st.integers(0, 900)), min_size=6, max_size=24))
def test_a_mixed_fit_does_not_mind_the_order_of_cells_and_levels(rows: list[tuple[int, str, int]]) -> None:
    cells = {(soak, level): (soak, level, value / 10) for soak, level, value in rows}
    if len({level for _, level in cells}) < 2:
        return
    ordered = list(cells.values())
    plain = mixed(*zip(*ordered, strict=True)).difference("A", "B")
    turned = mixed(*zip(*ordered[::-1], strict=True)).difference("A", "B")
    assert turned.value == pytest.approx(plain.value, abs=1e-9)
    if plain.standard_error is None:
        assert turned.standard_error is None
    else:
        assert turned.standard_error == pytest.approx(plain.standard_error, abs=1e-8)
        assert turned.degrees == pytest.approx(plain.degrees, rel=1e-6)


@QUICK
@given(st.lists(st.tuples(st.integers(0, 900), st.integers(0, 900)), min_size=2, max_size=8))
def test_a_mixed_fit_of_complete_splits_is_the_paired_t(rows: list[tuple[int, int]]) -> None:
    cells = [(soak, level, float(value)) for soak, both in enumerate(rows) for level, value in zip("AB", both)]  # noqa: B905
    found, told = mixed(*zip(*cells, strict=True)).difference("A", "B"), within([float(a - b) for a, b in rows])
    assert found.value == pytest.approx(told.value)
    if told.standard_error:
        assert found.standard_error == pytest.approx(told.standard_error, rel=1e-9)
        assert found.degrees == pytest.approx(told.degrees, rel=1e-9)


@QUICK
@given(st.lists(st.lists(st.integers(0, 1), min_size=5, max_size=5), min_size=1, max_size=8))
def test_the_exact_rank_is_numpys(rows: list[list[int]]) -> None:
    sparse = [{column: value for column, value in enumerate(row) if value} for row in rows]
    assert rank(sparse) == np.linalg.matrix_rank(np.array(rows))
    contrast = {0: 1, 1: -1}
    stacked = np.array([*rows, [1, -1, 0, 0, 0]])
    assert comparable(sparse, contrast) == (np.linalg.matrix_rank(stacked) == np.linalg.matrix_rank(np.array(rows)))


@QUICK
@given(st.integers(0, 10**6), st.integers(2, 5), st.integers(1, 8))
def test_the_exact_rank_of_many_rows_is_numpys(seed: int, factors: int, late: int) -> None:
    """Of so many rows that those that add nothing are looked at together, some of which add something after all; with
    shares like 13 of 37.
    """
    draw = random.Random(seed)
    rows = [_row(draw, factors, range(3)) for _ in range(200)]
    rows += [_row(draw, factors, range(2, 5)) for _ in range(late)] + rows[:60]
    names = list(dict.fromkeys(name for row in rows for name in row))
    matrix = np.array([[float(row.get(name, 0)) for name in names] for row in rows])
    assert rank(rows) == np.linalg.matrix_rank(matrix)
    contrast = {(0, 4): 1, (0, 0): -1}
    if (0, 4) in names and (0, 0) in names:
        stacked = np.vstack([matrix, [float(contrast.get(name, 0)) for name in names]])
        assert comparable(rows, contrast) == (np.linalg.matrix_rank(stacked) == np.linalg.matrix_rank(matrix))


def _row(draw: random.Random, factors: int, labels: range) -> dict[Hashable, Fraction | int]:
    row: dict[Hashable, Fraction | int] = {"all": 1}
    for factor in range(factors):
        one, other = draw.sample(labels, 2)
        whole = draw.randint(2, 40)
        part = Fraction(draw.randint(1, whole), whole) if draw.random() < 0.3 else Fraction(1)
        row |= {(factor, label): share for label, share in ((one, part), (other, 1 - part)) if share}
    return row


def test_two_levels_of_a_studentized_range_are_one_t() -> None:
    estimate = between([10, 12, 14], [3, 5, 9])
    assert estimate.degrees is not None
    assert estimate.t is not None
    assert range_p(abs(estimate.t) * 2**0.5, 2, estimate.degrees) == pytest.approx(estimate.p, rel=1e-9)
    assert Family(1, 2).p(estimate) == estimate.p


def test_cramers_v_explains_and_never_decides() -> None:
    # V = 1, and yet the second and third level are comparable: both had label y (nested).
    assert cramers_v([[2, 0], [0, 2], [0, 2]]) == pytest.approx(1)
    # V of independent labels is 0; of a 2 x 2 table it is |ad - bc| / sqrt of the margins' product.
    assert cramers_v([[2, 2], [3, 3]]) == 0
    assert cramers_v([[9, 1], [2, 8]]) == pytest.approx((9 * 8 - 2 * 1) / (10 * 10 * 11 * 9) ** 0.5)
    assert cramers_v([[5, 5]]) == 0


@pytest.fixture(scope="module")
def small_farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("small")
    rows = [
        *batches("straw", [60, 64, 71], JAN, spawn_form="grain", containers=3),
        *batches("mulch", [40, 47, 45], FEB, spawn_form="grain", containers=2),
        {"substrate": "straw", "be": 66, "on": FEB, "soak": "A", "spawn_form": "grain"},
        {"substrate": "mulch", "be": 52, "on": FEB, "soak": "A", "spawn_form": "sawdust"},
    ]
    write_farm(folder, rows)
    return folder


def test_row_order_does_not_matter(small_farm: Path) -> None:
    plain = compared(small_farm)
    order = list(range(len(plain.units.rows)))
    random.Random(3).shuffle(order)
    rows = plain.units.rows.where(np.array(order))
    settings_of = default_settings() | {"worthwhile_be_points": 10.0}
    units = type(plain.units)(plain.units.as_of, 2, None, rows, plain.units.look_gap)
    shuffled = compare(units, ComparisonQuery("substrate", MEASURES["be"]), settings_of)
    assert pair_rows(shuffled) == pair_rows(plain)
    assert level_rows(shuffled) == level_rows(plain)


def test_containers_of_a_soak_change_its_value_and_not_its_number(small_farm: Path) -> None:
    levels = {row["level"]: row for row in level_rows(compared(small_farm))}
    assert (levels["straw"]["soaks"], levels["straw"]["batches"], levels["straw"]["units"]) == (4, 4, 10)
    assert (levels["mulch"]["soaks"], levels["mulch"]["batches"], levels["mulch"]["units"]) == (4, 4, 7)
    assert levels["straw"]["estimate"] == pytest.approx((60 + 64 + 71 + 66) / 4, rel=1e-3)


def test_parts_add_up(small_farm: Path) -> None:
    answer = compared(small_farm)
    told = sum(row["units"] + row["units_without"] + row["units_not_yet"] for row in level_rows(answer))
    waiting = sum(cell.units for level in answer.levels for cell in level.waiting)
    assert told + waiting + answer.units_without_level == len(answer.units.rows)
    (pair,) = pair_rows(answer)
    assert pair["level"] == "straw"
    assert pair["soaks_split"] == 1
    assert pair["low"] < pair["difference"] < pair["high"]


def test_grams_and_kilograms_give_the_same_efficiency(tmp_path: Path) -> None:
    rows = batches("straw", [60, 64, 71], JAN) + batches("mulch", [40, 47, 45], FEB)
    write_farm(tmp_path, rows)
    plain = pair_rows(compared(tmp_path))
    # Ten times the dry mass and ten times the weight: the same ratio.
    for name, column in (("batches", 2), ("harvests", 1)):
        path = tmp_path / f"{name}.csv"
        lines = [line.split(",") for line in path.read_text(encoding="utf-8").splitlines()]
        for line in lines[1:]:
            line[column] = str(float(line[column]) * 10)
        path.write_text("\n".join(",".join(line) for line in lines) + "\n", encoding="utf-8")
    (scaled,), (told,) = pair_rows(compared(tmp_path)), plain
    for key in ("difference", "low", "high", "p", "minimum_detectable"):
        assert scaled[key] == pytest.approx(told[key], rel=1e-12)


def test_the_design_of_the_batches_chooses_the_method() -> None:
    ours, theirs = {"a": 10.0, "b": 13.0, "c": 12.0}, {"d": 4.0, "e": 7.0, "f": 8.0}
    assert difference_of(ours, theirs) == between([10, 13, 12], [4, 7, 8])
    split = {"c": 3.0, "a": 4.0, "b": 5.0}
    assert difference_of(ours, split) == within([6, 8, 9])
    assert design_of((ours, {"a": 1.0, "d": 2.0})) is DesignKind.BOTH
    # Three soaks a side have 4 degrees of freedom (Bell and McCaffrey), in two months a side they have 2.
    months = {"a": "May", "b": "May", "c": "June", "d": "July", "e": "July", "f": "August"}
    each = {soak: soak for soak in months}
    assert difference_of(ours, theirs, each).degrees == pytest.approx(4)
    assert difference_of(ours, theirs, months).degrees == pytest.approx(2)


def test_every_measure_of_the_command_can_be_compared() -> None:
    assert set(MEASURES) == set(ComparedMeasure)
