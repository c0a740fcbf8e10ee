"""Can a difference be told apart from other things at all? Exact, with fractions: no rounding decides it."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from fractions import Fraction

# A row of a design: the columns that are not 0, by name.
Row = Mapping[Hashable, Fraction | int]


class Basis:
    """The rows that a design can make, as an echelon form that grows: each row in it leads with a column of its own."""

    def __init__(self) -> None:
        self._leading: dict[Hashable, dict[Hashable, Fraction]] = {}

    def rest(self, row: Row) -> dict[Hashable, Fraction]:
        """What of this row can the rows so far not make? Empty where they make all of it."""
        left = {column: Fraction(value) for column, value in row.items() if value}
        # Rows that lead hold no other led column, so each of these is taken away once and for good.
        for led in [column for column in left if column in self._leading]:
            factor = left[led]
            for column, value in self._leading[led].items():
                new = left.get(column, Fraction(0)) - factor * value
                if new:
                    left[column] = new
                else:
                    left.pop(column, None)
        return left

    def add(self, row: Row) -> bool:
        """Adds a row. True when it says something new."""
        left = self.rest(row)
        if not left:
            return False
        lead, value = next(iter(left.items()))
        fresh = {column: each / value for column, each in left.items()}
        for own in self._leading.values():
            # No other row keeps the new lead: so a rest has no led column left.
            if factor := own.get(lead):
                for column, each in fresh.items():
                    own[column] = own.get(column, Fraction(0)) - factor * each
                    if not own[column]:
                        del own[column]
        self._leading[lead] = fresh
        return True

    @property
    def rank(self) -> int:
        """How many independent rows are there?"""
        return len(self._leading)


def basis(rows: Iterable[Row]) -> Basis:
    """Which rows can these make?"""
    found = Basis()
    for row in rows:
        found.add(row)
    return found


def rank(rows: Iterable[Row]) -> int:
    """How many independent rows (or columns) has the design? Checked against: R lm and alias on datasets::npk."""
    return basis(rows).rank


def comparable(rows: Sequence[Row], contrast: Row) -> bool:
    """Does the contrast lie in the row space of the design: rank([X; c]) = rank(X)?

    If so, some sum of the rows' values tells it with everything else alike; if not, none does (Searle 1971, Linear
    Models, 5.4: estimable functions).
    """
    return not basis(rows).rest(contrast)


def dummies(factor: Hashable, shares: Mapping[str, Fraction]) -> dict[Hashable, Fraction]:
    """The columns of one factor in a row: 1 at its label; shares where the units of a cell have several labels."""
    return {(factor, label): share for label, share in shares.items() if share}
