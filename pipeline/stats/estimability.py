"""Estimability: whether a design can separate a difference from other things. Exact, in fractions: no rounding."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from fractions import Fraction

# A row of a design: the columns that are not 0, by name.
DesignRow = Mapping[Hashable, Fraction | int]


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


def basis(rows: Iterable[DesignRow]) -> Basis:
    """Return the basis of all rows that these can make."""
    found = Basis()
    for row in unlike(rows):
        found.add(row)
    return found


def unlike(rows: Iterable[DesignRow]) -> list[DesignRow]:
    """Return each different row once, in the order of the first of its kind: equal ones add nothing to a design."""
    found: dict[frozenset[tuple[Hashable, Fraction | int]], DesignRow] = {}
    for row in rows:
        found.setdefault(frozenset(row.items()), row)
    return list(found.values())


def rank(rows: Iterable[DesignRow]) -> int:
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
    left = so_far.rest(contrast)
    for row in unlike(rows):
        if not left:
            break
        if so_far.add(row):
            left = so_far.rest(contrast)
    return not left


def dummies(factor: Hashable, shares: Mapping[str, Fraction | int]) -> dict[Hashable, Fraction | int]:
    """Return the columns of one factor in a row: 1 at its label; shares where a cell has several labels."""
    return {(factor, label): share for label, share in shares.items() if share}
