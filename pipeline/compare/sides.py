"""The two sides of a pair: its cells with blanks filled, as the rows of an exact design."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from pipeline.compare.design import DesignCell
from pipeline.compare.factors import CHOICES, CLUSTERS
from pipeline.compare.pairs import Pair
from pipeline.stats.estimability import Basis, DesignRow, comparable, dummies
from pipeline.stats.two_levels import DesignKind


@dataclass(frozen=True)
class Sides:
    """The cells of a pair: its level's and those it is held against. split: whether only soaks that hold both count, so
    that what a soak does to all its containers is no explanation.
    """

    level: str
    against: str
    first: tuple[DesignCell, ...]
    second: tuple[DesignCell, ...]
    split: bool

    @property
    def cells(self) -> tuple[DesignCell, ...]:
        """All cells of the pair."""
        return (*self.first, *self.second)

    def rows(self, factors: Sequence[str]) -> list[tuple[DesignRow, set[str]]]:
        """The design, each row once with the soaks that it stands for: a row per cell with its level and these
        factors; where soaks are split, a row per soak with the difference of its two cells, so that the soak drops out.
        """
        found: dict[frozenset[tuple[Hashable, Fraction | int]], tuple[DesignRow, set[str]]] = {}
        theirs = {cell.soak: cell for cell in self.second}
        for cell in self.first if self.split else self.cells:
            row = self._row(cell, factors)
            if self.split:
                row = _less(row, self._row(theirs[cell.soak], factors))
            found.setdefault(frozenset(row.items()), (row, set()))[1].add(cell.soak)
        return list(found.values())

    @property
    def contrast(self) -> DesignRow:
        """The pair's difference, as a row of the design."""
        return {("level", self.level): 1, ("level", self.against): -1}

    def comparable(self, factors: Sequence[str]) -> bool:
        """Return whether the pair's difference can be estimated with these factors alike."""
        return comparable([row for row, _ in self.rows(factors)], self.contrast)

    def tied_by(self, factors: Sequence[str]) -> str | None:
        """Return the soak that alone shows the difference with these factors alike; None where none alone does."""
        rows = self.rows(factors)
        # A soak that is needed is among the first rows that show the difference, and among the last ones that do.
        for soak in sorted(self._enough(rows) & self._enough(rows[::-1])):
            left = [side for side in (self.first, self.second) if any(cell.soak != soak for cell in side)]
            rest = [row for row, soaks in rows if soaks != {soak}]
            if len(left) == 2 and not comparable(rest, self.contrast):
                return soak
        return None

    def _enough(self, rows: Sequence[tuple[DesignRow, set[str]]]) -> set[str]:
        """The soaks that alone stand for one of the first rows that show the pair's difference."""
        so_far, found = Basis(), set()
        for row, soaks in rows:
            if so_far.add(row) and len(soaks) == 1:
                found |= soaks
            if not so_far.rest(self.contrast):
                break
        return found

    def _row(self, cell: DesignCell, factors: Sequence[str]) -> dict[Hashable, Fraction | int]:
        row: dict[Hashable, Fraction | int] = {("level", cell.level): 1}
        if not self.split:
            row["all"] = 1
        for factor in factors:
            row |= dummies(factor, cell.shares[factor])
        return row


def _less(row: DesignRow, other: DesignRow) -> dict[Hashable, Fraction | int]:
    columns = (*row, *(column for column in other if column not in row))
    found = {column: row.get(column, 0) - other.get(column, 0) for column in columns}
    return {column: value for column, value in found.items() if value}


def sides_of(pair: Pair) -> Sides:
    """Return the cells that are held against each other in this pair. A blank is taken for the usual label of the pair,
    for it shows no difference; where soaks are split throughout, soaks are held alike.
    """
    cells = (*pair.first, *pair.second)
    usual = {name: _usual(cells, name) for name in (*CHOICES, *CLUSTERS)}
    first, second = (tuple(_filled(cell, usual) for cell in side) for side in (pair.first, pair.second))
    return Sides(pair.level, pair.against, first, second, pair.varies is DesignKind.WITHIN)


def _usual(cells: Sequence[DesignCell], factor: str) -> str:
    seen = Counter(label for cell in cells for label in cell.shares[factor] if label)
    return min(seen, key=lambda label: (-seen[label], label), default="")


def _filled(cell: DesignCell, usual: Mapping[str, str]) -> DesignCell:
    shares = {}
    for name, own in cell.shares.items():
        filled = {label: share for label, share in own.items() if label}
        if "" in own:
            filled[usual[name]] = filled.get(usual[name], Fraction(0)) + own[""]
        shares[name] = filled
    return replace(cell, shares=shares)


def labels(cells: Sequence[DesignCell], factor: str) -> tuple[str, ...]:
    """Return the labels of a factor that occur in these cells."""
    return tuple(sorted({label for cell in cells for label in cell.shares[factor]}))


def never_shared(sides: Sides, cluster: str) -> bool:
    """Return whether the two levels never had the same month, or lot. With a blank that is not known."""
    ours, theirs = labels(sides.first, cluster), labels(sides.second, cluster)
    return not set(ours) & set(theirs) and "" not in (*ours, *theirs)
