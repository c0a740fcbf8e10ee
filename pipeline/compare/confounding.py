"""What else could explain a pair: another factor that changed along, one batch that alone ties them, the time."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import combinations

from pipeline.compare.cells import Cell
from pipeline.compare.clusters import labels, runs_of
from pipeline.compare.factors import AMOUNTS, BELONGS, CHOICES, MONTH, OWN_RUNS, RUNS
from pipeline.compare.pairs import Pair
from pipeline.stats.estimability import Basis, DesignRow, comparable, dummies
from pipeline.stats.two_levels import Design

ONE_TO_ONE, NESTED, DISCONNECTED = "one-to-one", "nested", "disconnected"
ALONG, TOGETHER, TIE = "changed along", "together", "tie"
LOWER, EARLIER = "always lower", "always earlier"


@dataclass(frozen=True)
class Alias:
    """Another explanation of a pair's difference.

    kind: one-to-one (each level had one label of the factor, and another one), nested (one of the levels had one),
    disconnected (several each, and none in common), changed along (within every split soak), together (no factor alone,
    but these together), tie (only `soak` tells them apart), always lower (an amount), always earlier (the start).
    labels, against_labels: which labels of the (first) factor the two levels had.
    """

    kind: str
    factors: tuple[str, ...]
    labels: tuple[str, ...] = ()
    against_labels: tuple[str, ...] = ()
    soak: str = ""


def held_against(factor: str, of_yield: bool) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """Which choices, runs and amounts are held against this factor? Not itself, nor what belongs to it. How dry mass
    was told (dry_basis) matters to measures over dry mass alone.
    """
    left_out = {factor, *BELONGS.get(factor, ()), *(() if of_yield else ("dry_basis",))}
    runs = (*RUNS, *OWN_RUNS.get(factor, ()))
    return (
        tuple(name for name in CHOICES if name not in left_out and name not in runs),
        tuple(name for name in runs if name not in left_out),
        tuple(name for name in AMOUNTS if name not in left_out),
    )


@dataclass(frozen=True)
class Sides:
    """The cells of a pair: its level's and those it is held against. split: whether only soaks that hold both count, so
    that what a soak does to all its containers is no explanation.
    """

    level: str
    against: str
    first: tuple[Cell, ...]
    second: tuple[Cell, ...]
    split: bool

    @property
    def cells(self) -> tuple[Cell, ...]:
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
        """Can the pair's difference be told with these factors alike?"""
        return comparable([row for row, _ in self.rows(factors)], self.contrast)

    def tied_by(self, factors: Sequence[str]) -> str | None:
        """Which soak alone tells the pair's difference with these factors alike? None where no soak alone does."""
        rows = self.rows(factors)
        # A soak that is needed is among the first rows that tell the difference, and among the last ones that do.
        for soak in sorted(self._enough(rows) & self._enough(rows[::-1])):
            left = [side for side in (self.first, self.second) if any(cell.soak != soak for cell in side)]
            rest = [row for row, soaks in rows if soaks != {soak}]
            if len(left) == 2 and not comparable(rest, self.contrast):
                return soak
        return None

    def _enough(self, rows: Sequence[tuple[DesignRow, set[str]]]) -> set[str]:
        """The soaks that alone stand for one of the first rows that tell the pair's difference."""
        so_far, found = Basis(), set()
        for row, soaks in rows:
            if so_far.add(row) and len(soaks) == 1:
                found |= soaks
            if not so_far.rest(self.contrast):
                break
        return found

    def _row(self, cell: Cell, factors: Sequence[str]) -> dict[Hashable, Fraction | int]:
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
    """Which cells are held against each other in this pair? A blank is taken for the usual label of the pair, for it
    tells of no difference; where soaks are split throughout, soaks are held alike.
    """
    cells = (*pair.first, *pair.second)
    usual = {name: _usual(cells, name) for name in (*CHOICES, *RUNS)}
    first, second = (tuple(_filled(cell, usual) for cell in side) for side in (pair.first, pair.second))
    return Sides(pair.level, pair.against, first, second, pair.varies is Design.WITHIN)


def _usual(cells: Sequence[Cell], factor: str) -> str:
    seen = Counter(label for cell in cells for label in cell.shares[factor] if label)
    return min(seen, key=lambda label: (-seen[label], label), default="")


def _filled(cell: Cell, usual: Mapping[str, str]) -> Cell:
    shares = {}
    for name, told in cell.shares.items():
        filled = {label: share for label, share in told.items() if label}
        if "" in told:
            filled[usual[name]] = filled.get(usual[name], Fraction(0)) + told[""]
        shares[name] = filled
    return replace(cell, shares=shares)


def aliases(sides: Sides, factor: str, of_yield: bool) -> list[Alias]:
    """What else could explain the pair's difference? Empty where nothing that is written down could.

    The exact test asks whether the contrast lies in the row space of 0/1 columns of all choices (shares, where the
    units of a cell differ). It is put to the pair's own cells, for its difference is told from no others. Months and
    spawn lots change by themselves: where two levels share none, they are what is counted (see runs), and fewer than
    three on a side an explanation.
    """
    choices, runs, amounts = held_against(factor, of_yield)
    found = [_alone(sides, name) for name in choices if not sides.comparable([name])]
    earlier = _earlier(sides)
    # What was always started earlier has its months told by that.
    found += [alias for name in runs if not (earlier and name == MONTH) and (alias := _of_run(sides, name))]
    told = {name for alias in found for name in alias.factors}
    free = [name for name in choices if name not in told and len(labels(sides.cells, name)) > 1]
    if not sides.comparable(free):
        found.append(_together(sides, free))
    elif free and (tie := _tie(sides, free)):
        found.append(tie)
    # What belongs to an explanation is none of its own.
    part = {name for alias in found for one in alias.factors for name in BELONGS.get(one, ())}
    found += [Alias(LOWER, (name,)) for name in amounts if name not in part and _separated(sides, name)]
    return [*found, earlier] if earlier else found


def _alone(sides: Sides, factor: str) -> Alias:
    ours, theirs = labels(sides.first, factor), labels(sides.second, factor)
    return Alias(_kind(ours, theirs), (factor,), ours, theirs)


def _kind(ours: tuple[str, ...], theirs: tuple[str, ...]) -> str:
    if set(ours) & set(theirs):
        return ALONG
    if len(ours) == len(theirs) == 1:
        return ONE_TO_ONE
    return NESTED if 1 in (len(ours), len(theirs)) else DISCONNECTED


def _of_run(sides: Sides, factor: str) -> Alias | None:
    found = runs_of(sides, factor)
    if found is None or not found.too_few:
        return None
    ours, theirs = labels(sides.first, factor), labels(sides.second, factor)
    return Alias(_kind(ours, theirs), (factor,), ours, theirs)


def _together(sides: Sides, factors: Sequence[str]) -> Alias:
    """The fewest factors that together explain the pair: two if two do."""
    for size in range(2, len(factors)):
        for some in combinations(factors, size):
            if not sides.comparable(some):
                return Alias(TOGETHER, some, labels(sides.first, some[0]), labels(sides.second, some[0]))
    return Alias(TOGETHER, tuple(factors), labels(sides.first, factors[0]), labels(sides.second, factors[0]))


def _tie(sides: Sides, factors: Sequence[str]) -> Alias | None:
    """Does one soak alone tell the pair apart from the other factors? From those of them that it is tied by alone."""
    soak = sides.tied_by(factors)
    if soak is None:
        return None
    tied = [name for name in factors if sides.tied_by([name]) == soak] or list(factors)
    return Alias(TIE, tuple(tied), labels(sides.first, tied[0]), labels(sides.second, tied[0]), soak)


def _separated(sides: Sides, factor: str) -> bool:
    """Does all of one level lie below all of the other? Within split soaks: in every one of them the same way."""
    if sides.split:
        theirs = {cell.soak: cell.means.get(factor) for cell in sides.second}
        pairs = [(cell.means.get(factor), theirs.get(cell.soak)) for cell in sides.first]
        gaps = [a - b for a, b in pairs if a is not None and b is not None]
        return bool(gaps) and len(gaps) == len(pairs) and (min(gaps) > 0 or max(gaps) < 0)
    ours = [cell.means[factor] for cell in sides.first if factor in cell.means]
    against = [cell.means[factor] for cell in sides.second if factor in cell.means]
    return bool(ours) and bool(against) and (max(ours) < min(against) or max(against) < min(ours))


def _earlier(sides: Sides) -> Alias | None:
    ours = [cell.started for cell in sides.first if cell.started]
    theirs = [cell.started for cell in sides.second if cell.started]
    if not ours or not theirs:
        return None
    if max(ours) < min(theirs):
        return Alias(EARLIER, (MONTH,), (sides.level,), (sides.against,))
    if max(theirs) < min(ours):
        return Alias(EARLIER, (MONTH,), (sides.against,), (sides.level,))
    return None
