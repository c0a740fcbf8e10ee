"""Which columns of a design are independent, and what its rows show: whole numbers modulo primes, beside fractions."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.stats.estimability import PRIMES, Products, comparable, eliminated, products_of, rank

NONE = np.zeros((3, 0), dtype=np.int64)


def echelon(rows: list[list[Fraction]]) -> int:
    """The rank of these rows by elimination in fractions."""
    found, left = 0, [list(row) for row in rows]
    for column in range(len(rows[0]) if rows else 0):
        lead = next((at for at in range(found, len(left)) if left[at][column]), None)
        if lead is None:
            continue
        left[found], left[lead] = left[lead], left[found]
        for at in range(found + 1, len(left)):
            times = left[at][column] / left[found][column]
            left[at] = [value - times * own for value, own in zip(left[at], left[found], strict=True)]
        found += 1
    return found


SHARES = st.lists(
    st.lists(st.fractions(min_value=0, max_value=1, max_denominator=40), min_size=4, max_size=4), min_size=1, max_size=9
)


@settings(deadline=None)
@given(SHARES, st.lists(st.integers(-1, 1), min_size=4, max_size=4))
def test_ranks_and_differences_of_shares_are_those_of_elimination_in_fractions(
    rows: list[list[Fraction]], contrast: list[int]
) -> None:
    named = [dict(enumerate(row)) for row in rows]
    assert rank(named) == echelon(rows)
    shown = echelon([*rows, [Fraction(each) for each in contrast]]) == echelon(rows)
    assert comparable(named, dict(enumerate(contrast))) is shown


def test_numbers_are_primes() -> None:
    assert all(prime % divisor for prime in PRIMES for divisor in range(2, int(prime**0.5) + 1))


@pytest.mark.parametrize("times", [1, 10**7, 10**12])
def test_products_are_whole_numbers_of_any_size(times: int) -> None:
    rows: Products = np.array([[1, 2, 0], [3, 0, 5]], dtype=object) * times
    assert products_of(rows).tolist() == [
        [each * times**2 for each in row] for row in ([10, 2, 15], [2, 4, 0], [15, 0, 25])
    ]


def test_a_prime_that_divides_a_pivot_is_left_out() -> None:
    # The second pivot is 5: modulo 5 the second column would be the first one once more.
    products = np.array([[1, 1, 0], [1, 6, 0], [0, 0, 1]], dtype=np.int64)
    assert eliminated(products, NONE, (5, 101)).independent == (0, 1, 2)
    # Modulo 2 the place on the diagonal is empty, and its row is not.
    crossed = np.array([[2, 1, 0], [1, 1, 0], [0, 0, 1]], dtype=np.int64)
    assert eliminated(crossed, NONE, (2, 101)).independent == (0, 1, 2)
    with pytest.raises(ArithmeticError, match="every prime"):
        eliminated(crossed, NONE, (2,))


def test_a_column_that_is_the_sum_of_others_is_not_independent() -> None:
    rows = np.array([[1, 1, 0], [1, 0, 1], [1, 1, 0]], dtype=np.int64)
    contrasts = np.array([[0, 0], [1, 1], [-1, 1]], dtype=np.int64)
    found = eliminated(products_of(rows), contrasts)
    assert (found.independent, found.shown) == ((0, 1), (True, False))
