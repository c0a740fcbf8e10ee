"""Estimability: whether a design can separate a difference from other things. In whole numbers: no rounding.

Asked of the products of the columns of a design, X'X, which spans what its rows span: so a design of any number of rows
is as quick as one of a row per column. The elimination is modulo two primes below 2^31. What it finds independent is;
what is independent and found dependent would have to leave a multiple of both primes, less than once in 10^18.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from math import lcm
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

# A row of a design: the columns that are not 0, by name.
DesignRow = Mapping[Hashable, Fraction | int]
Products: TypeAlias = NDArray[np.int64] | NDArray[np.object_]
PRIMES = (2**31 - 1, 2**31 - 19)
EXACT_FLOATS, FITS = 2**53, 2**63  # sums of whole numbers below them are exact as floats, in 64 bits


def products_of(rows: Products) -> Products:
    """Return the sums of the products of each two columns of these rows, in whole numbers.

    rows: each times what makes its numbers whole, which leaves what rows span as it is.
    """
    largest = int(abs(rows).max(initial=0)) ** 2 * max(len(rows), 1)
    if largest < EXACT_FLOATS:
        floats = rows.astype(float)
        exact: Products = (floats.T @ floats).astype(np.int64)
        return exact
    whole = rows.astype(np.int64 if largest < FITS else object)
    found: Products = whole.T @ whole
    return found


@dataclass(frozen=True, eq=False)
class Eliminated:
    """What is found of the columns of a design: the places of those that are no sum of those before, and of each
    contrast (one column each, one entry per column of the design) whether the rows show it.
    """

    independent: tuple[int, ...]
    shown: tuple[bool, ...]


def eliminated(products: Products, contrasts: Products, primes: Sequence[int] = PRIMES) -> Eliminated:
    """Return which columns of a design are independent, and which contrasts lie in its row space. products: of its
    columns; contrasts: whole numbers, one column each.

    X'X is positive semidefinite, so what is left of it has an empty row where it has an empty place on the diagonal: a
    prime for which that is not so, or which misses what another one sees, divides a pivot and is left out.
    """
    width, beside = products.shape[1], np.concatenate([products, contrasts], axis=1)
    left = {prime: (beside % prime).astype(np.int64) for prime in primes}
    independent, shown = [], np.ones(contrasts.shape[1], dtype=bool)
    for at in range(width):
        seen = [prime for prime, own in left.items() if own[at, at]]
        if seen:
            independent.append(at)
            left = {prime: left[prime] for prime in seen}
            for prime, own in left.items():
                _take_away(own, at, prime)
            continue
        fitting = {prime: own for prime, own in left.items() if not own[at, at:width].any()}
        if not fitting:
            raise ArithmeticError("every prime divides a pivot of this design")
        left = fitting
        shown &= np.logical_and.reduce([own[at, width:] == 0 for own in left.values()])
    return Eliminated(tuple(independent), tuple(shown.tolist()))


def _take_away(own: NDArray[np.int64], at: int, prime: int) -> None:
    """Take a row that leads at its place away from those below it."""
    row = own[at, at + 1 :] * pow(int(own[at, at]), -1, prime) % prime
    column = own[at + 1 :, at]
    rest = own[at + 1 :, at + 1 :]
    rest -= column[:, None] * row
    rest %= prime


@dataclass(frozen=True, eq=False)
class NamedRows:
    """Rows of a design in whole numbers, each times what makes it whole, and the names of their columns."""

    names: tuple[Hashable, ...]
    whole: Products

    @classmethod
    def of(cls, rows: Iterable[DesignRow]) -> NamedRows:
        """Return these rows."""
        rows = list(rows)
        names = tuple(dict.fromkeys(name for row in rows for name in row))
        whole = np.zeros((len(rows), len(names)), dtype=object)
        place = {name: at for at, name in enumerate(names)}
        for own, row in zip(whole, rows, strict=True):
            wide = lcm(*(value.denominator for value in row.values()))
            for name, value in row.items():
                own[place[name]] = value.numerator * (wide // value.denominator)
        return cls(names, whole)

    @cached_property
    def products(self) -> Products:
        """The products of the columns."""
        return products_of(self.whole)

    def shows(self, contrasts: Sequence[DesignRow]) -> list[bool]:
        """Return of each contrast whether it lies in the row space of the design: see comparable."""
        place = {name: at for at, name in enumerate(self.names)}
        beside = np.zeros((len(self.names), len(contrasts)), dtype=np.int64)
        known = [set(contrast) <= set(place) for contrast in contrasts]
        for at, contrast in enumerate(contrasts):
            for name, value in contrast.items() if known[at] else ():
                beside[place[name], at] = int(value)
        found = eliminated(self.products, beside).shown
        return [own and each for own, each in zip(known, found, strict=True)]

    @cached_property
    def independent(self) -> tuple[int, ...]:
        """The places of the columns that are no sum of those before."""
        return eliminated(self.products, np.zeros((len(self.names), 0), dtype=np.int64)).independent


def rank(rows: Sequence[DesignRow]) -> int:
    """Return the number of independent rows (or columns) of the design.

    Checked against: R lm and alias on datasets::npk.
    """
    return len(NamedRows.of(rows).independent)


def comparable(rows: Sequence[DesignRow], contrast: DesignRow) -> bool:
    """Return whether the contrast (of whole numbers) lies in the row space of the design: rank([X; c]) = rank(X).

    If so, some sum of the rows' values estimates it with everything else alike; if not, none does (Searle 1971, Linear
    Models, 5.4: estimable functions).
    """
    return NamedRows.of(rows).shows([contrast])[0]
