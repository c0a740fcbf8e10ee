"""The two sides of a pair: its cells with blanks filled, as the rows of an exact design."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import fsum, sqrt

from pipeline.compare.design import DesignCell
from pipeline.compare.factors import CHOICES, CLUSTERS
from pipeline.compare.pairs import Level, Pair
from pipeline.stats.estimability import Basis, DesignRow, comparable, dummies
from pipeline.stats.two_levels import DesignKind


@dataclass(frozen=True)
class Sides:
    """The cells of a pair: its level's and those it is held against. split: whether only soaks that hold both count, so
    that what a soak does to all its containers is no explanation. others: cells of the other levels, which tell what
    other factors do; none where soaks are split. alternate: no soak can hold both.
    """

    level: str
    against: str
    first: tuple[DesignCell, ...]
    second: tuple[DesignCell, ...]
    split: bool
    others: tuple[DesignCell, ...] = ()
    alternate: bool = False

    @property
    def cells(self) -> tuple[DesignCell, ...]:
        """All cells of the pair."""
        return (*self.first, *self.second)

    def rows(self, factors: Sequence[str]) -> list[tuple[DesignRow, set[str]]]:
        """The design, each row once with the soaks that it stands for: a row per cell with its level and these
        factors; where soaks are split, a row per soak with the difference of its two cells, so that the soak drops out.
        """
        found: dict[frozenset[tuple[Hashable, Fraction | int]], tuple[DesignRow, set[str]]] = {}
        for soak, row, _ in self.valued_rows(factors):
            found.setdefault(frozenset(row.items()), (row, set()))[1].add(soak)
        return list(found.values())

    def valued_rows(self, factors: Sequence[str]) -> list[tuple[str, DesignRow, float]]:
        """Return the same, each cell (or split soak) by itself: its soak, its row, and its value (or difference)."""
        theirs = {cell.soak: cell for cell in self.second}
        found: list[tuple[str, DesignRow, float]] = []
        for cell in self.first if self.split else (*self.cells, *self.others):
            row, value = self._row(cell, factors), cell.value or 0.0
            if self.split:
                other = theirs[cell.soak]
                row, value = _less(row, self._row(other, factors)), value - (other.value or 0.0)
            found.append((cell.soak, row, value))
        return found

    @property
    def much_alike(self) -> bool:
        """Whether neither level has over twice as many soaks as the other."""
        few, many = sorted((len(self.first), len(self.second)))
        return many <= 2 * few

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

    def strength(self, factor: str) -> float:
        """Return how strongly a factor's labels went with the levels: Cramer's V over soaks."""
        ours, theirs = counts(self.first, factor), counts(self.second, factor)
        every = sorted({*ours, *theirs})
        return cramers_v([[side.get(label, 0.0) for label in every] for side in (ours, theirs)])

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


def sides_of(pair: Pair, levels: Sequence[Level] = ()) -> Sides:
    """Return the cells that are held against each other in this pair, beside those of the other levels. A blank is
    taken for the usual label of the pair, for it shows no difference; where soaks are split throughout, soaks are held
    alike.
    """
    cells = (*pair.first, *pair.second)
    usual = {name: _usual(cells, name) for name in (*CHOICES, *CLUSTERS)}
    split = pair.varies is DesignKind.WITHIN
    named = (pair.level, pair.against)
    rest = [cell for level in levels if level.name not in named for cell in level.used] if not split else []
    first, second, others = (tuple(_filled(cell, usual) for cell in side) for side in (pair.first, pair.second, rest))
    return Sides(pair.level, pair.against, first, second, split, others, pair.alternate)


def tally(cells: Sequence[DesignCell], factor: str) -> dict[str, Fraction | int]:
    """Return how many of these cells had each label of a factor, exactly; shares add up."""
    found: dict[str, Fraction | int] = {}
    for cell in cells:
        for label, share in cell.shares[factor].items():
            found[label] = found.get(label, 0) + share
    return found


def counts(cells: Sequence[DesignCell], factor: str) -> dict[str, float]:
    """Return the same as numbers, in the order of the labels."""
    return {label: float(count) for label, count in sorted(tally(cells, factor).items())}


def cramers_v(table: Sequence[Sequence[float]]) -> float:
    """Return how strongly rows and columns of a table of counts go together: 0 not at all, 1 wholly.

    sqrt(chi^2 / (n (min(rows, columns) - 1))) (Cramer 1946, Mathematical Methods of Statistics, 21.9). For explaining
    only: a V of 1 can leave pairs that are comparable, and one below 1 can hide that none is.
    """
    rows = [fsum(row) for row in table]
    columns = [fsum(column) for column in zip(*table, strict=True)]
    total, least = fsum(rows), min(len(rows), len(columns)) - 1
    if not total or least < 1:
        return 0.0
    chi = fsum(
        (cell - row * column / total) ** 2 / (row * column / total)
        for own, row in zip(table, rows, strict=True)
        for cell, column in zip(own, columns, strict=True)
        if row * column
    )
    return sqrt(chi / (total * least))


def _usual(cells: Sequence[DesignCell], factor: str) -> str:
    seen = Counter(label for cell in cells for label in cell.shares[factor] if label)
    return min(seen, key=lambda label: (-seen[label], label), default="")


def _filled(cell: DesignCell, usual: Mapping[str, str]) -> DesignCell:
    shares = {}
    for name, own in cell.shares.items():
        filled = {label: share for label, share in own.items() if label}
        if "" in own:
            filled[usual[name]] = filled.get(usual[name], 0) + own[""]
        shares[name] = filled
    return replace(cell, shares=shares)


def labels(cells: Sequence[DesignCell], factor: str) -> tuple[str, ...]:
    """Return the labels of a factor that occur in these cells."""
    return tuple(sorted({label for cell in cells for label in cell.shares[factor]}))


def never_shared(sides: Sides, cluster: str) -> bool:
    """Return whether the two levels never had the same month, or lot. With a blank that is not known."""
    ours, theirs = labels(sides.first, cluster), labels(sides.second, cluster)
    return not set(ours) & set(theirs) and "" not in (*ours, *theirs)
