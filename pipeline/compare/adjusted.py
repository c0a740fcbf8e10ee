"""A pair with everything else alike: its difference estimated beside the other recipe factors, where these differ."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from pipeline.compare.design_rows import DesignRows
from pipeline.compare.factors import title
from pipeline.compare.pairs import LEAST_DEGREES, Pair
from pipeline.compare.sides import Sides
from schemas.phrases import listed

if TYPE_CHECKING:
    from pipeline.stats.cluster_robust import ClusterFit
    from pipeline.stats.estimate import Estimate

# Below this strength (Cramer's V) a factor is left out where adjusting for it leaves too little to judge by: our
# choice, supported by simulation (tests/calibrate_adjusted.py).
WEAK = 0.3


def unbalanced(sides: Sides, factors: Sequence[str]) -> list[str]:
    """Return those of the factors that the two levels did not have alike, the strongest difference first.

    Alike is exact: the same share of each label on both sides; where soaks are split, within them on average.
    """
    found = [name for name in factors if not sides.of_first(name).has_shares_of(sides.of_second(name))]
    return sorted(found, key=lambda name: -sides.strength(name))


@dataclass(frozen=True)
class PairFit:
    """A fit of levels and factors to the cells of a pair, and the weights of its coefficients that make the pair's
    difference.
    """

    fit: ClusterFit
    weights: list[float]


def adjusted(pair: Pair, sides: Sides, factors: Sequence[str], group: Mapping[str, str]) -> tuple[Pair, PairFit]:
    """Return the pair with its difference estimated beside additive main effects of these factors (strongest first),
    and the fit that it is from.

    Generalised least squares of cell values (one per soak and level, of all levels of the comparison) on levels and
    factors, with the working correlation, the CR2 standard error and the Satterthwaite degrees of freedom of
    pipeline.stats.cluster_robust; where soaks are split throughout, of their differences. group: what stands for
    several soaks. Where a mix is so uneven that these degrees are fewer than two, and no level has over twice the soaks
    of the other, the error of ClusterFit.pooled is taken. Weak factors are left out, the weakest first, while too
    little remains to judge by: which they are depends on the design alone, never on what the soaks gave.
    The difference must be estimable (Sides). Where effects are not additive it is that of an average mix.
    Checked against: least squares and CR2 by their definitions (tests/test_compare_adjusted.py); false alarms and
    coverage in tests/calibrate_adjusted.py.
    """
    chosen = list(factors)
    found = fitted(sides, chosen, group)
    estimate = _estimate(sides, found)
    while chosen and not _enough(estimate) and sides.strength(chosen[-1]) < WEAK:
        chosen.pop()
        found = fitted(sides, chosen, group)
        estimate = _estimate(sides, found)
    # Those that are none of the others by another name.
    named = {name[0] for name in found.fit.names if isinstance(name, tuple)}
    alike = tuple(name for name in chosen if name in named)
    return replace(pair, estimate=estimate, permutation=None, adjusted=alike), found


def _enough(estimate: Estimate) -> bool:
    return estimate.degrees is not None and estimate.degrees >= LEAST_DEGREES


def _estimate(sides: Sides, found: PairFit) -> Estimate:
    estimate = found.fit.contrast(found.weights)
    if not _enough(estimate) and found.fit.of_single_cells and sides.much_alike:
        return found.fit.pooled(found.weights)
    return estimate


def fitted(sides: Sides, factors: Sequence[str] = (), group: Mapping[str, str] | None = None) -> PairFit:
    """Return the fit of levels and these factors to the cells of a pair (and of the other levels)."""
    found = fitted_to(sides.rows(factors), group)
    return PairFit(found, [float(sides.contrast.get(name, 0)) for name in found.names])


def fitted_to(rows: DesignRows, group: Mapping[str, str] | None = None) -> ClusterFit:
    """Return the fit of these rows' independent columns to their values; group: what stands for several soaks."""
    from pipeline.stats.cluster_robust import fit

    columns, design = rows.independent
    soaks = rows.soaks.renamed([group.get(soak, soak) for soak in rows.soaks.texts]) if group else rows.soaks
    return fit(soaks.codes, design, rows.values, columns, kinds=rows.kinds)


def alike_text(pair: Pair) -> str:
    """Return what is held alike in this pair: "strain and treatment"; empty where nothing is."""
    return listed([title(name) for name in pair.adjusted])
