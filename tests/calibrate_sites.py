"""Pairs of levels over several farms: false alarms, coverage and power, by design.

`python -m tests.calibrate_sites [CO_OPS [SEED]]` prints a table for 20,000 co-ops a design and ends with 1 where alarms
pass 6.5 % or coverage falls below 94 %, or where sites that do not differ in the difference are said to in over 6.5 %.
All co-ops of a design are worked out at once, from the definitions of the methods; the first ten of each go through the
code of compare as well, and it must find the same.

Value = site + level + site by level + soak; soaks have SD 1, sites SD 2. Where the difference truly goes with the
site, the truth is its mean over these sites, each weighing by its soaks; `anew`: how often a direction is said where
the sites are drawn anew each time, of farms among which the difference is 0 on average. Beside it two stages (each
site's difference by its inverse variance, DerSimonian and Laird's spread between sites, Hartung and Knapp's error, t
with sites - 1), and all soaks in one heap (Welch).
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc, stdtr

from pipeline.compare.pairs import LEAST_DEGREES, LEAST_FOR_A_VERDICT
from pipeline.compare.sites import SitesPair, over_sites
from pipeline.stats.two_levels import bell_mccaffrey_degrees
from tests.simulated_sites import cell, site

MOST_ALARMS, LEAST_COVERAGE, MOST_DIFFER = 0.065, 0.94, 0.065
SITE_SD, ALPHA = 2.0, 0.05
CORRELATION = 0.5  # the working one, within a soak
HELD_AGAINST_COMPARE = 10  # co-ops a design
Sizes = tuple[int, int]
Numbers = NDArray[np.float64]


@dataclass(frozen=True)
class Design:
    """Soaks of the two levels on each site; split: soaks beside them that hold both, on each; site_sds: how much the
    soaks of each site vary, level_sds: of each level; apart: by how much a site's difference lies from the mean, apart
    in turn; spread: the SD of the difference among all farms that there might be.
    """

    name: str
    sizes: Sequence[Sizes]
    split: int = 0
    site_sds: Sequence[float] = (1.0,)
    level_sds: Sizes = (1, 1)
    apart: float = 0.0
    spread: float = 0.0


def _equal(sites: int, soaks: int) -> Design:
    return Design(f"{sites} sites, {soaks}v{soaks}", [(soaks, soaks)] * sites)


UNEQUAL = ((6, 6), (2, 2), (2, 3), (4, 2), (3, 3))
OPPOSED = ((5, 2), (2, 5))
DESIGNS = (
    *(_equal(sites, soaks) for sites in (2, 3, 5, 12) for soaks in (1, 2, 3)),
    *(Design(f"{sites} sites, unequal", (UNEQUAL * 3)[:sites]) for sites in (2, 3, 5, 12)),
    *(Design(f"{sites} sites, 5v2 and 2v5 in turn", (OPPOSED * 6)[:sites]) for sites in (2, 3, 5, 12)),
    Design("5 sites, 5v1 and 1v5 in turn", (((5, 1), (1, 5)) * 3)[:5]),
    Design("2 sites, 5v2, small side 2x as variable", [(5, 2)] * 2, level_sds=(1, 2)),
    Design("3 sites, 5v2, small side 2x as variable", [(5, 2)] * 3, level_sds=(1, 2)),
    Design("5 sites, 5v1, small side 2x as variable", [(5, 1)] * 5, level_sds=(1, 2)),
    Design("2 sites, 6v6, one 3x as variable", [(6, 6)] * 2, site_sds=(1, 3)),
    Design("3 sites, unequal, the last 3x as variable", UNEQUAL[:3], site_sds=(1, 1, 3)),
    Design("3 sites, 1v1 and 2 split soaks each", [(1, 1)] * 3, split=2),
    Design("3 sites, 3 split soaks each", [(0, 0)] * 3, split=3),
    *(Design(f"{sites} sites, 3v3, +1 and -1 in turn", [(3, 3)] * sites, apart=1.0) for sites in (2, 12)),
    Design("2 sites, 6v6, +1 and -1", [(6, 6)] * 2, apart=1.0),
    *(Design(f"{sites} sites, 3v3, differing by SD .5", [(3, 3)] * sites, spread=0.5) for sites in (2, 3, 5, 12)),
)


@dataclass(frozen=True)
class Layout:
    """Where the cells of a design are: the site and the soak of each, and whether it is of the first level."""

    sites: NDArray[np.int64]
    soaks: NDArray[np.int64]
    first: NDArray[np.bool_]

    @classmethod
    def of(cls, design: Design) -> Layout:
        """The cells of this design."""
        cells, soak = [], 0
        for at, (ours, theirs) in enumerate(design.sizes):
            for levels in [*[(True,)] * ours, *[(False,)] * theirs, *[(True, False)] * design.split]:
                cells += [(at, soak, level) for level in levels]
                soak += 1
        sites, soaks, first = (np.array(each) for each in zip(*cells, strict=True))
        return cls(sites, soaks, first)

    def at(self, site: int, first: bool) -> NDArray[np.bool_]:
        """Which cells are of this site and level."""
        found: NDArray[np.bool_] = (self.sites == site) & (self.first == first)
        return found

    @property
    def all_split(self) -> bool:
        """Whether every soak holds both levels."""
        return len(self.first) == 2 * len(set(self.soaks.tolist()))

    @property
    def single(self) -> bool:
        """Whether no soak holds both."""
        return len(self.first) == len(set(self.soaks.tolist()))


@dataclass(frozen=True)
class Fit:
    """Least squares on sites and levels, of a layout: what the difference takes of each value, the residuals of values,
    and what each soak's residuals add to the error (CR2), by its definition.
    """

    layout: Layout

    @cached_property
    def design(self) -> Numbers:
        """A column for the first level, and one a site."""
        return np.column_stack(
            [self.layout.first, *(self.layout.sites == at for at in range(self.layout.sites.max() + 1))]
        ).astype(float)

    @cached_property
    def covariance(self) -> Numbers:
        """The working one of all cells."""
        same = self.layout.soaks[:, None] == self.layout.soaks
        found: Numbers = np.where(same, CORRELATION, 0.0) + (1 - CORRELATION) * np.eye(len(same))
        return found

    @cached_property
    def bread(self) -> Numbers:
        """(X' W X)^-1."""
        return np.linalg.inv(self.design.T @ np.linalg.solve(self.covariance, self.design))

    @cached_property
    def takes(self) -> Numbers:
        """What the difference takes of each value."""
        found: Numbers = (self.bread @ np.linalg.solve(self.covariance, self.design).T)[0]
        return found

    @cached_property
    def left(self) -> Numbers:
        """What makes residuals of values."""
        found: Numbers = (
            np.eye(len(self.design)) - self.design @ self.bread @ np.linalg.solve(self.covariance, self.design).T
        )
        return found

    @cached_property
    def pulls(self) -> Numbers:
        """One row a soak: what its residuals add to the difference, enlarged so that squares are unbiased."""
        found = np.zeros((self.layout.soaks.max() + 1, len(self.design)))
        of_values = self.left @ self.covariance @ self.left.T
        for soak in range(len(found)):
            own = self.layout.soaks == soak
            root = np.linalg.cholesky(self.covariance[np.ix_(own, own)]).T
            values, vectors = np.linalg.eigh(root @ of_values[np.ix_(own, own)] @ root.T)
            inverse = np.where(values > 1e-10, 1 / np.sqrt(np.where(values > 1e-10, values, 1.0)), 0.0)
            found[soak, own] = self.takes[own] @ (root.T @ (vectors * inverse) @ vectors.T @ root)
        return found

    @cached_property
    def degrees(self) -> float:
        """Satterthwaite's."""
        kernel = self.pulls @ self.left @ self.covariance @ self.left.T @ self.pulls.T
        return float(np.trace(kernel) ** 2 / (kernel**2).sum())


Estimates = tuple[Numbers, Numbers, Numbers]  # value, standard error, degrees of freedom, an entry a co-op


def ours(layout: Layout, values: Numbers) -> Estimates:
    """The difference of each co-op (a row of values each) as compare is to find it."""
    if layout.all_split:
        apart = values[:, layout.first] - values[:, ~layout.first]
        count = apart.shape[1]
        return apart.mean(1), apart.std(1, ddof=1) / count**0.5, np.full(len(values), count - 1.0)
    fit = Fit(layout)
    squares = (values @ fit.left.T @ fit.pulls.T) ** 2
    degrees = np.full(len(values), fit.degrees)
    if layout.single:
        free = np.diag(fit.left)
        sides = [(squares[:, side].sum(1), free[side].sum()) for side in (layout.first, ~layout.first)]
        degrees = np.minimum(degrees, _welch(sides))
    return values @ fit.takes, squares.sum(1) ** 0.5, degrees


def _welch(sides: Sequence[tuple[Numbers, float]]) -> Numbers:
    found: Numbers = sum(part for part, _ in sides) ** 2 / sum(part**2 / free for part, free in sides)
    return found


def of_sides(ours: Numbers, theirs: Numbers) -> Estimates:
    """The difference of two levels by the rule of one site, between soaks."""
    sizes = ours.shape[1], theirs.shape[1]
    parts = [(side.var(1, ddof=1) / side.shape[1], side.shape[1] - 1.0) for side in (ours, theirs)]
    degrees = np.minimum(_welch(parts), bell_mccaffrey_degrees(sizes))
    return ours.mean(1) - theirs.mean(1), sum(part for part, _ in parts) ** 0.5, degrees


def of_sites(design: Design, layout: Layout, values: Numbers) -> tuple[list[Estimates], Numbers] | None:
    """Each site's own difference and what it weighs; None where a site has none with an error, or of two kinds."""
    if not layout.all_split and (not layout.single or min(min(both) for both in design.sizes) < 2):
        return None
    found = []
    for at in range(len(design.sizes)):
        first, second = (values[:, layout.at(at, level)] for level in (True, False))
        if layout.all_split:
            apart = first - second
            count = apart.shape[1]
            found.append((apart.mean(1), apart.std(1, ddof=1) / count**0.5, np.full(len(values), count - 1.0)))
        else:
            found.append(of_sides(first, second))
    return found, weights_of(design)


def weights_of(design: Design) -> Numbers:
    """The soaks that each site's difference is worth."""
    if design.split:
        return np.full(len(design.sizes), float(design.split))
    return np.array([first * second / (first + second) for first, second in design.sizes])


def sites_p(found: Sequence[Estimates], weights: Numbers) -> Numbers:
    """How often sites that do not differ lie at least so far apart, by the definition of stats.agreement."""
    apart, errors, degrees = (np.array([each[at] for each in found]) for at in range(3))
    weights = weights[:, None]
    total = weights.sum()
    middle = (weights * apart).sum(0) / total
    chance = weights * (1 - weights / total) * errors**2
    shared = (weights**2 * errors**2).sum(0) / total
    above = chance.sum(0) ** 2 / (((weights * errors**2) ** 2 * (1 - 2 * weights / total)).sum(0) + shared**2)
    below = chance.sum(0) ** 2 / (chance**2 / degrees).sum(0)
    p: Numbers = fdtrc(above, below, (weights * (apart - middle) ** 2).sum(0) / chance.sum(0))
    return p


def two_stages(found: Sequence[Estimates]) -> Numbers:
    """The p of a random effects analysis of the sites' differences (DerSimonian & Laird 1986; Hartung & Knapp 2001).
    Beside ours only: nothing rests on it.
    """
    values, variances = np.array([each[0] for each in found]), np.array([each[1] for each in found]) ** 2
    weights, most = 1 / variances, len(found) - 1
    fixed = (weights * values).sum(0) / weights.sum(0)
    apart = (weights * (values - fixed) ** 2).sum(0) - most
    between = np.maximum(0.0, apart / (weights.sum(0) - (weights**2).sum(0) / weights.sum(0)))
    weights = 1 / (variances + between)
    mean = (weights * values).sum(0) / weights.sum(0)
    error = ((weights * (values - mean) ** 2).sum(0) / most / weights.sum(0)) ** 0.5
    return p_of((mean, error, np.full(len(mean), float(most))))


def p_of(found: Estimates) -> Numbers:
    """The two-sided p of t."""
    value, error, degrees = found
    p: Numbers = 2 * stdtr(degrees, -np.abs(value / error))
    return p


def co_ops(
    design: Design, layout: Layout, true: float, count: int, dice: np.random.Generator
) -> tuple[Numbers, Numbers]:
    """The values of so many co-ops, a row each, and how far the levels truly lie apart on the sites of each."""
    number = len(design.sizes)
    in_turn = [(-1) ** at * design.apart if at < number // 2 * 2 else 0.0 for at in range(number)]
    apart = true + np.array(in_turn) + design.spread * dice.standard_normal((count, number))
    site_sds = np.array([design.site_sds[at % len(design.site_sds)] for at in range(number)])
    sds = site_sds[layout.sites] * np.where(layout.first, *design.level_sds)
    # Where a soak holds both levels, half of the variance is its own.
    both = np.bincount(layout.soaks)[layout.soaks] > 1
    fate = dice.standard_normal((count, layout.soaks.max() + 1))[:, layout.soaks]
    part = dice.standard_normal((count, len(layout.soaks)))
    noise = sds * np.where(both, 0.5**0.5 * (fate + part), part)
    of_site = SITE_SD * dice.standard_normal((count, number))
    values = of_site[:, layout.sites] + apart[:, layout.sites] * layout.first + noise
    return values, (apart * weights_of(design)).sum(1) / weights_of(design).sum()


@dataclass(frozen=True)
class Answers:
    """What is said of many co-ops, an entry each: the estimate, whether a direction is, its p, whether the sites are
    said to differ (None: that cannot be asked), and the p of two stages.
    """

    estimate: Estimates
    shown: NDArray[np.bool_]
    p: Numbers
    differ: NDArray[np.bool_] | None
    stages: Numbers | None


def answers(design: Design, layout: Layout, values: Numbers) -> Answers:
    """What is said of these co-ops."""
    found = ours(layout, values)
    p = p_of(found)
    soaks = [len(set(layout.soaks[side].tolist())) for side in (layout.first, ~layout.first)]
    shown = (p < ALPHA) & (found[2] >= LEAST_DEGREES) & (min(soaks) >= LEAST_FOR_A_VERDICT)
    own = of_sites(design, layout, values)
    if own is None:
        return Answers(found, shown, p, None, None)
    differ = sites_p(*own) < ALPHA
    other_way = (np.array([each[0] for each in own[0]]) * found[0] <= 0).any(0)
    return Answers(found, shown & ~(differ & other_way), p, differ, two_stages(own[0]))


def answer(layout: Layout, values: Numbers) -> SitesPair:
    """What compare says of the first level against the other, of one co-op."""
    sites = {}
    for at in range(layout.sites.max() + 1):
        own = np.flatnonzero(layout.sites == at).tolist()
        sites[f"site {at}"] = site(
            [cell(str(layout.soaks[each]), "b" if layout.first[each] else "a", float(values[each])) for each in own]
        )
    (found,) = over_sites(sites).pairs
    return found


def held_against_compare(design: Design, layout: Layout, values: Numbers) -> None:
    """Raise ValueError where compare finds something else in these co-ops."""
    found = answers(design, layout, values)
    for at, row in enumerate(values):
        said = answer(layout, row)
        assert said.pair is not None
        own = said.pair.estimate
        same = np.allclose(
            [own.value, own.standard_error or 0.0, own.degrees or 0.0], [each[at] for each in found.estimate], rtol=1e-9
        )
        if found.differ is not None and said.agreement is not None:
            same = same and said.agreement.differ == found.differ[at]
            same = same and said.judgement.direction.is_shown == found.shown[at]
        if not same:
            raise ValueError(f"{design.name}, co-op {at}: compare finds something else: {said}")


@dataclass(frozen=True)
class Done:
    """How a design did, as shares of its co-ops: alarms (a direction is said, and the truth lies beside the interval),
    intervals that hold the truth, a direction where sites are drawn anew, a difference of 1 shown, sites said to
    differ; alarms and power of two stages, and alarms of one heap.
    """

    name: str
    alarms: float
    coverage: float
    anew: float
    shown: float
    differ: float
    two_stage_alarms: float
    two_stage_shown: float
    heap_alarms: float
    one_difference: bool

    @property
    def passes(self) -> bool:
        """Whether it keeps the limits."""
        held = self.alarms <= MOST_ALARMS and self.coverage >= LEAST_COVERAGE
        return held and (not self.differ > MOST_DIFFER or not self.one_difference)

    def __str__(self) -> str:
        shares = (
            self.alarms, self.coverage, self.anew, self.shown, self.differ, self.two_stage_alarms,
            self.two_stage_shown, self.heap_alarms,
        )  # fmt: skip
        columns = "".join(f"{'-' if np.isnan(share) else f'{100 * share:.1f}':>9}" for share in shares)
        return f"{self.name:42}{columns}{'' if self.passes else '   passes a limit'}"


HEADING = f"{'design':42}" + "".join(
    f"{name:>9}" for name in ("alarms %", "cover", "anew", "shown", "differ", "2-stage", "shown", "one heap")
)


def run(design: Design, count: int, seed: int) -> Done:
    """Return how the design does over so many co-ops."""
    dice, layout = np.random.default_rng(seed), Layout.of(design)
    values, truth = co_ops(design, layout, 0.0, count, dice)
    held_against_compare(design, layout, values[:HELD_AGAINST_COMPARE])
    found = answers(design, layout, values)
    value, error, degrees = found.estimate
    holds = p_of((value - truth, error, degrees)) >= ALPHA
    shifted, _ = co_ops(design, layout, 1.0, count, dice)
    of_one = answers(design, layout, shifted)
    heap = p_of(of_sides(values[:, layout.first], values[:, ~layout.first]))
    return Done(
        design.name,
        _share(found.shown & ~holds),
        _share(holds),
        _share(found.shown),
        _share(of_one.shown & (of_one.estimate[0] > 0)),
        _share(found.differ),
        _share(None if found.stages is None else found.stages < ALPHA),
        _share(None if of_one.stages is None else of_one.stages < ALPHA),
        _share(heap < ALPHA),
        not design.apart and not design.spread,
    )


def _share(of: NDArray[np.bool_] | None) -> float:
    return float("nan") if of is None else float(of.mean())


def main(count: int = 20000, seed: int = 17) -> int:
    """Runs all designs; 0 when every one keeps the limits."""
    print(HEADING)
    passed = True
    for design in DESIGNS:
        done = run(design, count, seed)
        print(done, flush=True)
        passed = passed and done.passes
    return 0 if passed else 1


if __name__ == "__main__":
    sys.exit(main(*(int(each) for each in sys.argv[1:])))
