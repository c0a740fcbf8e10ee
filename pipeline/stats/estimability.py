"""Estimability: whether a design can separate a difference from other things. Exact, in fractions: no rounding."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping, Sequence
from fractions import Fraction
from math import lcm

import numpy as np

# A row of a design: the columns that are not 0, by name.
DesignRow = Mapping[Hashable, Fraction | int]
# After so many rows in a row that add nothing, all that are left are looked at together.
PATIENCE = 40
FITS = 2**62  # sums of whole numbers below it are exact in 64 bits


class Basis:
    """The rows that a design can make, as an echelon form that grows: each row in it leads with a column of its own."""

    def __init__(self) -> None:
        self._leading: dict[Hashable, dict[Hashable, Fraction | int]] = {}

    def rest(self, row: DesignRow) -> dict[Hashable, Fraction | int]:
        """Return what of this row the rows so far cannot make; empty where they make all of it."""
        # Whole numbers stay whole where they can: they are far quicker.
        left = {column: value for column, value in row.items() if value}
        # Rows that lead hold no other led column, so each of these is taken away once and for good.
        for led in [column for column in left if column in self._leading]:
            factor = left[led]
            for column, value in self._leading[led].items():
                new = left.get(column, 0) - factor * value
                if new:
                    left[column] = new
                else:
                    left.pop(column, None)
        return left

    def add(self, row: DesignRow) -> bool:
        """Add a row. Returns whether it is independent of those before."""
        left = self.rest(row)
        if not left:
            return False
        lead, value = next(iter(left.items()))
        fresh = left
        if value != 1:
            fresh = {column: Fraction(each) / value for column, each in left.items()}
        for own in self._leading.values():
            # No other row keeps the new lead: so a rest has no led column left.
            if factor := own.get(lead):
                for column, each in fresh.items():
                    own[column] = own.get(column, 0) - factor * each
                    if not own[column]:
                        del own[column]
        self._leading[lead] = fresh
        return True

    @property
    def rank(self) -> int:
        """The number of independent rows."""
        return len(self._leading)

    def first_beyond(self, rows: Sequence[DesignRow]) -> int:
        """Return the place of the first of these rows that those so far cannot make; their number if there is none.

        All at once, in whole numbers: each row, and the echelon form, times what makes their fractions whole.
        """
        names = list(dict.fromkeys(name for row in (*rows, *self._leading.values()) for name in row))
        led, free = (
            [name for name in names if name in self._leading],
            [name for name in names if name not in self._leading],
        )
        own = lcm(*(value.denominator for row in self._leading.values() for value in row.values()))
        wide = [lcm(*(value.denominator for value in row.values())) for row in rows]
        made = _whole([self._leading[name] for name in led], free, [own] * len(led))
        of_led, of_free = _whole(rows, led, wide), _whole(rows, free, wide)
        largest = max(int(abs(each).max(initial=0)) for each in (made, of_led))
        if max(largest**2 * (len(led) + 1), own * int(abs(of_free).max(initial=0))) < FITS:
            made, of_led, of_free = (each.astype(np.int64) for each in (made, of_led, of_free))
        beyond = (own * of_free != of_led @ made).any(axis=1)
        return int(beyond.argmax()) if beyond.any() else len(rows)


def _whole(rows: Sequence[DesignRow], names: Sequence[Hashable], times: Sequence[int]) -> np.ndarray:
    """These columns of the rows, each row times its number: whole numbers of any size."""
    found = np.zeros((len(rows), len(names)), dtype=object)
    place = {name: at for at, name in enumerate(names)}
    for own, row, factor in zip(found, rows, times, strict=True):
        for name, value in row.items():
            if name in place:
                own[place[name]] = value.numerator * (factor // value.denominator)
    return found


def growth(found: Basis, rows: Sequence[DesignRow]) -> Iterator[int]:
    """Add these rows to the basis. Yields the place of each that is independent of those before, when it is added."""
    at = idle = 0
    while at < len(rows):
        idle += 1
        if found.add(rows[at]):
            idle = 0
            yield at
        at += 1
        if idle >= PATIENCE:
            at, idle = at + found.first_beyond(rows[at:]), 0


def whole_first(rows: Sequence[DesignRow]) -> list[int]:
    """Return the places of these rows, those of whole numbers first: what these make needs no fractions."""
    return sorted(range(len(rows)), key=lambda at: max((each.denominator for each in rows[at].values()), default=1) > 1)


def basis(rows: Sequence[DesignRow]) -> Basis:
    """Return the basis of all rows that these can make."""
    found = Basis()
    for _ in growth(found, [rows[at] for at in whole_first(rows)]):
        pass
    return found


def rank(rows: Sequence[DesignRow]) -> int:
    """Return the number of independent rows (or columns) of the design.

    Checked against: R lm and alias on datasets::npk.
    """
    return basis(rows).rank


def comparable(rows: Sequence[DesignRow], contrast: DesignRow) -> bool:
    """Return whether the contrast lies in the row space of the design: rank([X; c]) = rank(X).

    If so, some sum of the rows' values estimates it with everything else alike; if not, none does (Searle 1971, Linear
    Models, 5.4: estimable functions).
    """
    so_far = Basis()
    ordered = [rows[at] for at in whole_first(rows)]
    return not so_far.rest(contrast) or any(not so_far.rest(contrast) for _ in growth(so_far, ordered))


def dummies(factor: Hashable, shares: Mapping[str, Fraction | int]) -> dict[Hashable, Fraction | int]:
    """Return the columns of one factor in a row: 1 at its label; shares where a cell has several labels."""
    return {(factor, label): share for label, share in shares.items() if share}
