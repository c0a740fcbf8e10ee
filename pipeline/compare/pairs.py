"""The levels and pairs of a comparison: estimates, intervals, p values, and what the data could have shown."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from math import isfinite

import numpy as np

from pipeline.compare.collapse import varies
from pipeline.compare.columns import Cells, soaks_of
from pipeline.compare.design import DesignCell
from pipeline.stats.estimate import Estimate, Limits
from pipeline.stats.multiple import Family
from pipeline.stats.permutation import Permutation, flip, shuffle
from pipeline.stats.power import minimum_detectable
from pipeline.stats.sequential import anytime_critical, e_value
from pipeline.stats.two_levels import DesignKind, between, both_ways, within
from schemas.confidence import LEVEL

# Below so many soaks no interval exists; below so many none supports a verdict.
LEAST_FOR_AN_INTERVAL = 2
LEAST_FOR_A_VERDICT = 3
LEAST_DEGREES = 2.0  # of freedom, where some soaks are split
NO_PLACE = -1  # of a level that no cell has


@dataclass(frozen=True)
class Level:
    """One level. used: its cells with a value; waiting: those that have none, for units are not far enough. estimate:
    the mean of its soaks, None where it has none.
    """

    name: str
    used: Cells
    waiting: Cells
    estimate: Estimate | None

    @property
    def partly(self) -> Cells:
        """The cells that count although some of their units are not far enough."""
        return self.used.running


@dataclass(frozen=True)
class Pair:
    """Two levels held against each other. split: how many soaks hold both; varies: between soaks, within soaks, both.
    limits and p are adjusted for all pairs judged together; minimum_detectable: the smallest difference that the data
    could have shown, at these limits. clusters: month or spawn_lot, where these are counted and not the soaks in them
    (see confounding.by_clusters); adjusted: the factors that the estimate holds alike (see compare.adjusted);
    split_only: other soaks were left out, because those that hold both have everything else alike; alternate: no soak
    can hold both (see side_by_side.alternates).
    """

    level: str
    against: str
    first: Cells
    second: Cells
    split: int
    varies: DesignKind
    estimate: Estimate
    limits: Limits | None = None
    p: float | None = None
    minimum_detectable: float | None = None
    permutation: Permutation | None = None
    clusters: str = ""
    adjusted: tuple[str, ...] = ()
    split_only: bool = False
    alternate: bool = False

    @property
    def has_interval(self) -> bool:
        """Whether there are two soaks of each level, or two that hold both."""
        return max(self.split, min(len(self.first), len(self.second))) >= LEAST_FOR_AN_INTERVAL

    @property
    def size(self) -> float:
        """The soaks that the estimate is worth: split ones, or nA nB / (nA + nB)."""
        if self.varies is DesignKind.WITHIN:
            return float(self.split)
        return len(self.first) * len(self.second) / (len(self.first) + len(self.second))

    @property
    def has_enough(self) -> bool:
        """Whether there are three soaks of each level, or three that hold both, and degrees of freedom to judge by."""
        enough = max(self.split, min(len(self.first), len(self.second))) >= LEAST_FOR_A_VERDICT
        degrees = self.estimate.degrees
        return enough and (not self.adjusted if degrees is None else degrees >= LEAST_DEGREES)


def levels_of(cells: Sequence[DesignCell], order: Sequence[str]) -> list[Level]:
    """Return what each level gave: the mean of its soaks, one value each."""
    every = cells if isinstance(cells, Cells) else Cells(cells)
    place = {name: at for at, name in enumerate(every.table.order)}
    level_of = every.table.levels[every.at]
    found = []
    for name in order:
        own = every.where(np.flatnonzero(level_of == place.get(name, NO_PLACE)))
        has = ~np.isnan(own.values)
        used = own.where(has)
        # The mean of soaks and its spread: the paired t's way with differences from nothing.
        estimate = within(used.values) if used else None
        found.append(Level(name, used, own.where(~has).running, estimate))
    return found


def pairs_of(levels: Sequence[Level], against: str | None = None, split_only: bool = False) -> list[Pair]:
    """Return how far the levels lie apart: one pair for every two levels that have a value, or for every level and the
    one that is named. A pair is estimated from its own cells alone, with split_only from those of soaks that hold both;
    the unit of replication is the soak throughout.
    """
    have = [each for each in levels if each.used]
    if against is None:
        chosen = [(b, a) for a, b in combinations(have, 2)]
    else:
        chosen = [(each, one) for one in have if one.name == against for each in have if each is not one]
    if split_only:
        chosen = [_split(level, other) for level, other in chosen]
    return [_pair(level, other) for level, other in chosen if level.used and other.used]


def _split(level: Level, against: Level) -> tuple[Level, Level]:
    ours, theirs = np.split(soaks_of([level.used, against.used]).codes, [len(level.used)])
    return (
        replace(level, used=level.used.where(np.isin(ours, theirs))),
        replace(against, used=against.used.where(np.isin(theirs, ours))),
    )


def _pair(level: Level, against: Level) -> Pair:
    first, second = level.used, against.used
    how = varies((first, second))
    permutation, split = None, 0
    if how is DesignKind.BETWEEN:
        permutation = shuffle(first.values.tolist(), second.values.tolist())
        estimate = between(first.values, second.values)
    else:
        soaks = soaks_of([first, second])
        ours, theirs = np.split(soaks.codes, [len(first)])
        of_soak = np.full(len(soaks.texts), np.nan)
        of_soak[theirs] = second.values
        differences = first.values - of_soak[ours]
        differences = differences[~np.isnan(differences)]
        split = len(differences)
        if how is DesignKind.WITHIN:
            permutation, estimate = flip(differences.tolist()), within(differences)
        else:
            estimate = both_ways((ours, first.values), (theirs, second.values))
    return Pair(level.name, against.name, first, second, split, how, estimate, permutation=permutation)


def split_alone(pair: Pair) -> Pair:
    """Return the same pair, from the soaks that hold both alone."""
    ours, theirs = (
        Level(name, side, Cells(), None) for name, side in ((pair.level, pair.first), (pair.against, pair.second))
    )
    return _pair(*_split(ours, theirs))


def estimated_by(group: Mapping[str, str], pair: Pair) -> Estimate:
    """Return how far the levels of a pair lie apart where soaks of one group share its fate. group: of each soak."""
    soaks = soaks_of([pair.first, pair.second])
    grouped = soaks.renamed([group.get(soak, soak) for soak in soaks.texts])
    ours, theirs = np.split(grouped.codes, [len(pair.first)])
    return both_ways((ours, pair.first.values), (theirs, pair.second.values))


def family(pairs: Sequence[Pair], every_pair: bool) -> Family:
    """Return the pairs that are judged together: those whose design supports a verdict: what is refused whatever it
    gave raises no alarm. every_pair: no single level was named to hold the others against.
    """
    between_only = all(pair.varies is DesignKind.BETWEEN and not pair.adjusted for pair in pairs)
    tested = {name for pair in pairs for name in (pair.level, pair.against)}
    return Family(max(len(pairs), 1), len(tested) if between_only and every_pair else 0)


def judged(pair: Pair, together: Family, level: float = LEVEL, often: bool = False) -> Pair:
    """Return the pair with its limits, p, and minimum detectable difference, adjusted for the pairs judged together;
    often: for what is looked at again and again, so that they hold at all looks together (see stats.sequential).
    """
    estimate = pair.estimate
    if not pair.has_interval or estimate.t is None or estimate.degrees is None or estimate.standard_error is None:
        return pair
    critical, p = together.critical(estimate.degrees, level), together.p(estimate)
    if often:
        critical = anytime_critical(estimate.degrees, pair.size, (1 - level) / together.pairs)
        p = min(1.0, together.pairs / e_value(estimate.t, estimate.degrees, pair.size))
    if not isfinite(critical):
        return replace(pair, p=p)
    return replace(
        pair,
        limits=estimate.around(critical),
        p=p,
        minimum_detectable=minimum_detectable(estimate.degrees, critical) * estimate.standard_error,
    )


def limited(pair: Pair, together: Family, level: float = LEVEL) -> Pair:
    """Return the pair with its limits alone, as `judged` has them: what the data could have shown takes longer."""
    estimate = pair.estimate
    if not pair.has_interval or estimate.t is None or estimate.degrees is None:
        return pair
    critical = together.critical(estimate.degrees, level)
    return replace(pair, limits=estimate.around(critical)) if isfinite(critical) else pair
