"""What else could explain a pair: another factor that changed along, one soak that alone ties them, the time.

The test is exact: with 0/1 columns for the labels of all choices (shares, where the units of a cell differ), a
difference can be separated from them when its contrast lies in the row space of the pair's own cells
(pipeline.stats.estimability). Cramer's V only explains: a V of 1 can leave useful pairs, one below 1 can hide that none
is. Months and spawn lots change by themselves; where two levels never share one, they are clusters: what is counted in
place of soaks, or, where there are too few, an explanation of their own.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from pipeline.compare.factors import AMOUNTS, CHOICES, CLUSTERS, OWN_CLUSTERS, parts_of
from pipeline.compare.pairs import LEAST_FOR_A_VERDICT, Pair, estimated_by
from pipeline.compare.sides import Sides, never_shared
from pipeline.models.compared_columns import Labels
from pipeline.models.compared_units import MONTH
from pipeline.models.unit_arrays import Whole

ONE_TO_ONE, NESTED, DISCONNECTED = "one-to-one", "nested", "disconnected"
ALONG, TOGETHER, TIE = "changed along", "together", "tie"
LOWER, EARLIER = "always lower", "always earlier"


@dataclass(frozen=True)
class Confounder:
    """Another explanation of a pair's difference.

    kind: one-to-one (each level had one label of the factor, and another one), nested (one of the levels had one),
    disconnected (several each, and none in common), changed along (within every split soak), together (no factor alone,
    but these together), tie (only `soak` separates them), always lower (an amount), always earlier (the start).
    labels, against_labels: which labels of the (first) factor the two levels had.
    """

    kind: str
    factors: tuple[str, ...]
    labels: tuple[str, ...] = ()
    against_labels: tuple[str, ...] = ()
    soak: str = ""


def held_against(factor: str, of_yield: bool) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """Return the choices, clusters and amounts that are held against this factor: not itself, nor what belongs to it.
    How dry mass was found (dry_basis) matters to measures over dry mass alone.
    """
    left_out = {factor, *parts_of(factor), *(() if of_yield else ("dry_basis",))}
    clusters = (*CLUSTERS, *OWN_CLUSTERS.get(factor, ()))
    return (
        tuple(name for name in CHOICES if name not in left_out and name not in clusters),
        tuple(name for name in clusters if name not in left_out),
        tuple(name for name in AMOUNTS if name not in left_out),
    )


def groups(sides: Sides, cluster: str) -> Whole:
    """Return the group of each text of `sides.soaks`, by the place of the first of its soaks in text order: those hang
    together that had a label of this cluster in common.
    """
    soaks, column = sides.soaks, sides.of_pair(cluster)
    # Each soak at each of its labels: the lowest number of a soak is handed on until nothing changes.
    kinds, labels = column.kinds.kind_of, column.kinds.label_of
    starts = np.searchsorted(kinds, np.arange(len(column.every) + 1))
    lengths = np.diff(starts)[column.codes]
    entry = np.repeat(starts[column.codes] - (np.cumsum(lengths) - lengths), lengths) + np.arange(lengths.sum())
    own, label = np.repeat(soaks.codes, lengths), labels[entry]
    top = np.arange(len(soaks.texts))
    while True:
        of_label = np.full(len(column.kinds.labels), len(top))
        np.minimum.at(of_label, label, top[own])
        new = top.copy()
        np.minimum.at(new, own, of_label[label])
        new = new[new]
        if (new == top).all():
            break
        top = new
    return top


@dataclass(frozen=True)
class Clusters:
    """How many groups of soaks, and how many soaks, each level has, where the two never share a month or lot. every:
    the soaks of both; of_soak: see groups.
    """

    cluster: str
    every: Labels
    of_soak: Whole
    counts: tuple[int, int]
    soaks: tuple[int, int]

    @property
    def group(self) -> dict[str, str]:
        """The group of each soak, called by its first one."""
        return {self.every.texts[at]: self.every.texts[self.of_soak[at]] for at in self.every.used.tolist()}

    @property
    def too_few(self) -> bool:
        """Whether it is another explanation: one alone, or fewer than three that stand for more soaks than they are."""
        return any(
            count == 1 or count < min(LEAST_FOR_A_VERDICT, soaks)
            for count, soaks in zip(self.counts, self.soaks, strict=True)
        )

    @property
    def repeated(self) -> bool:
        """Whether any soaks have one in common."""
        return self.counts != self.soaks


def clusters_of(sides: Sides, cluster: str) -> Clusters | None:
    """Return how soaks hang together by a cluster that the two levels never share; None where they share one."""
    if not never_shared(sides, cluster):
        return None
    every, of_soak = sides.soaks, groups(sides, cluster)
    soaks = np.split(every.codes, [len(sides.first)])
    counts = [[len(np.unique(each)) for each in (of_soak[own], own)] for own in soaks]
    return Clusters(cluster, every, of_soak, (counts[0][0], counts[1][0]), (counts[0][1], counts[1][1]))


def counted_clusters(sides: Sides, clusters: Sequence[str]) -> Clusters | None:
    """Return what is counted in place of soaks: of the clusters never shared that soaks have in common, the fewest.
    None where every soak had its own, or where too few are an explanation anyway.
    """
    found = [each for name in clusters if (each := clusters_of(sides, name)) and each.repeated]
    if not found or any(each.too_few for each in found):
        return None
    return min(found, key=lambda each: sum(each.counts))


def by_clusters(pair: Pair, found: Clusters | None) -> Pair:
    """Return the pair with clusters as its units of replication, where they are to be counted.

    What a month or a lot does to all of its soaks is part of the difference where the levels never share it. Counting
    soaks, 2 to 4 months of 2 or 3 soaks each raised 7-24 % false alarms where months made a quarter to three quarters
    of the spread between soaks; counting months (the fit of `mixed`, its errors summed by month) 3-6 % (4,000 simulated
    farms each: tests/calibrate.py). The rule is ours.
    """
    if found is None:
        return pair
    return replace(pair, estimate=estimated_by(found.group, pair), permutation=None, clusters=found.cluster)


def confounders(sides: Sides, factor: str, of_yield: bool, least_gap: Callable[[str], float]) -> list[Confounder]:
    """Return what else could explain the pair's difference; empty where nothing that is written down could.

    The exact test is put to the cells that the difference is estimated from: the pair's own, and those of other levels,
    which may show what the other factor does. least_gap: from which gap on an amount counts as different; asked only of
    amounts that lie apart, for it looks at all units.
    """
    choices, clusters, amounts = held_against(factor, of_yield)
    found = [_alone(sides, name) for name in choices if not sides.comparable([name])]
    earlier = always_earlier(sides)
    # What was always started earlier is explained by that, and not by its months as well.
    found += [
        confounder for name in clusters if not (earlier and name == MONTH) and (confounder := _of_cluster(sides, name))
    ]
    known = {name for confounder in found for name in confounder.factors}
    free = [name for name in choices if name not in known and len(sides.of_pair(name).labels) > 1]
    if not sides.comparable(free):
        found.append(_together(sides, free))
    elif free and (tie := _tie(sides, free)):
        found.append(tie)
    # What belongs to an explanation is none of its own.
    part = {name for confounder in found for one in confounder.factors for name in parts_of(one)}
    apart = {name: gap_apart(sides, name) for name in amounts if name not in part}
    found += [Confounder(LOWER, (name,)) for name, gap in apart.items() if gap > 0 and gap > least_gap(name)]
    return [*found, earlier] if earlier else found


def _labels(sides: Sides, factor: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    return sides.of_first(factor).labels, sides.of_second(factor).labels


def _alone(sides: Sides, factor: str) -> Confounder:
    ours, theirs = _labels(sides, factor)
    return Confounder(_kind(ours, theirs), (factor,), ours, theirs)


def _kind(ours: tuple[str, ...], theirs: tuple[str, ...]) -> str:
    if set(ours) & set(theirs):
        return ALONG
    if len(ours) == len(theirs) == 1:
        return ONE_TO_ONE
    return NESTED if 1 in (len(ours), len(theirs)) else DISCONNECTED


def _of_cluster(sides: Sides, factor: str) -> Confounder | None:
    found = clusters_of(sides, factor)
    if found is None or not found.too_few:
        return None
    ours, theirs = _labels(sides, factor)
    return Confounder(_kind(ours, theirs), (factor,), ours, theirs)


def _together(sides: Sides, factors: Sequence[str]) -> Confounder:
    """The fewest factors that together explain the pair: two if two do."""
    for size in range(2, len(factors)):
        for some in combinations(factors, size):
            if not sides.comparable(some):
                return Confounder(TOGETHER, some, *_labels(sides, some[0]))
    return Confounder(TOGETHER, tuple(factors), *_labels(sides, factors[0]))


def _tie(sides: Sides, factors: Sequence[str]) -> Confounder | None:
    """The soak that alone separates the pair from the other factors; from those of them that it is tied by alone."""
    soak = sides.tied_by(factors)
    if soak is None:
        return None
    tied = [name for name in factors if sides.tied_by([name]) == soak] or list(factors)
    return Confounder(TIE, tuple(tied), *_labels(sides, tied[0]), soak)


def gap_apart(sides: Sides, factor: str) -> float:
    """Return the gap of an amount by which all of one level lies below all of the other; within split soaks, in every
    one the same way. Not above 0 where it does not.
    """
    if sides.split:
        gaps = sides.first.mean_of_each(factor) - sides.mean_of_against(factor)
        return float(max(gaps.min(), -gaps.max())) if len(gaps) and not np.isnan(gaps).any() else 0.0
    ours, against = sides.first.means(factor), sides.second.means(factor)
    return float(max(against.min() - ours.max(), ours.min() - against.max())) if len(ours) and len(against) else 0.0


def always_earlier(sides: Sides) -> Confounder | None:
    """Return that all soaks of one level were started before all of the other, where that is so."""
    ours, theirs = sides.first.starts, sides.second.starts
    if not len(ours) or not len(theirs):
        return None
    if ours.max() < theirs.min():
        return Confounder(EARLIER, (MONTH,), (sides.level,), (sides.against,))
    if theirs.max() < ours.min():
        return Confounder(EARLIER, (MONTH,), (sides.against,), (sides.level,))
    return None
