"""Sums of many numbers: as good as exact, whatever their order."""

from __future__ import annotations

from math import fsum

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.stats.permutation import shuffle
from pipeline.stats.sums import mean, total, totals

NUMBERS = st.lists(st.floats(-1e9, 1e9, allow_nan=False), max_size=60)


@given(NUMBERS)
def test_a_total_is_the_exact_sum_to_the_last_digits(numbers: list[float]) -> None:
    scale = max(map(abs, numbers), default=0.0)
    assert total(np.array(numbers)) == pytest.approx(fsum(numbers), rel=1e-15, abs=1e-20 * scale)


def test_what_is_lost_in_a_plain_sum_is_kept() -> None:
    numbers = np.array([1e8, 1.0, -1e8, 1e-3] * 25_000)
    assert total(numbers) == pytest.approx(fsum(numbers.tolist()), rel=1e-14)
    assert total(numbers[::-1]) == pytest.approx(total(numbers), rel=1e-14)
    assert mean(numbers) == pytest.approx(1001 / 4000, rel=1e-14)


@given(st.lists(st.tuples(st.integers(0, 4), st.floats(0, 1e6), st.integers(1, 9)), max_size=40))
def test_totals_are_those_of_each_place_alone(rows: list[tuple[int, float, int]]) -> None:
    places, values, times = (
        np.array([row[at] for row in rows], dtype=kind) for at, kind in enumerate((int, float, int))
    )
    found = totals(values, places, 5, times)
    alone = [fsum(value * count for place, value, count in rows if place == at) for at in range(5)]
    assert found.tolist() == pytest.approx(alone, rel=1e-14, abs=1e-12)


def test_none_are_nothing() -> None:
    assert total(np.zeros(0)) == 0
    assert totals(np.zeros(0), np.zeros(0, dtype=np.int64), 2).tolist() == [0, 0]


def test_deals_of_many_soaks_are_not_counted_out() -> None:
    """Twenty thousand soaks have ways of some thousand digits; one soak against many has few."""
    many = [float(at) for at in range(10_000)]
    assert shuffle(many, many) is None
    assert shuffle([1.0, 2.0], many[:400]) is None
    found = shuffle([400.0], many[:400])
    assert found is not None
    assert found.floor == pytest.approx(1 / 401)
    assert found.p <= 2 / 401
