"""Whether a pair's difference goes with what is held alike: a check beside an adjusted pair, said and never used."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from pipeline.compare.adjusted import fitted_to
from pipeline.compare.design_rows import DesignRows
from pipeline.compare.pairs import LEAST_DEGREES, Pair
from pipeline.compare.sides import Sides
from pipeline.stats.estimability import DesignRow
from schemas.confidence import LEVEL

if TYPE_CHECKING:
    from pipeline.stats.cluster_robust import ClusterFit
    from pipeline.stats.estimate import Estimate

LEAST_LABELS = 2  # that show the pair's difference, for these to be held against each other
INTERPLAY = "interplay"  # begins the names of the columns that the check adds


@dataclass(frozen=True)
class Interplay:
    """How far a pair lies apart at each label of a factor that is held alike, in the measure's unit. p: of labels
    whose differences lie as far from each other where they are alike, adjusted for the pairs of labels and the factors.
    """

    factor: str
    differences: tuple[tuple[str, float], ...]
    p: float

    @property
    def differs(self) -> bool:
        """Whether the differences lie further apart than chance would have them."""
        return self.p < 1 - LEVEL


def interplays(pair: Pair, sides: Sides) -> tuple[Interplay, ...]:
    """Return the check of each factor that the pair's estimate holds alike; none where the records cannot tell.

    Level by label, beside the additive effects of the factors, in the pair's own cells; the error is the larger of the
    pooled and the CR2 one with residual degrees of freedom (ClusterFit.pooled), or, where some soaks are split, CR2
    with Satterthwaite's. Without any interplay 2 to 6 % of farms are said to have one (tests/calibrate_adjusted.py).
    """
    if sides.split or pair.clusters:
        return ()
    own = replace(sides, others=())
    checks = [found for factor in pair.adjusted if (found := _interplay(own, factor, pair.adjusted))]
    return tuple(replace(each, p=min(1.0, each.p * len(checks))) for each in checks)


def _interplay(own: Sides, factor: str, factors: Sequence[str]) -> Interplay | None:
    """The check of one factor; None where not two of its labels show the pair's difference, or no error is known."""
    ours = own.of_first(factor).labels
    both = [label for label in own.of_second(factor).labels if label in ours]
    if len(both) < LEAST_LABELS:
        return None
    rows = _apart(own.rows(factors), own.level, factor, both[1:])
    at = {label: _at(own, label, both[1:]) for label in both}
    shown = [label for label, is_shown in zip(both, rows.shows(*at.values()), strict=True) if is_shown]
    if len(shown) < LEAST_LABELS:
        return None
    found = fitted_to(rows)
    weights = {label: [float(at[label].get(name, 0)) for name in found.names] for label in shown}
    estimates = [_apart_by(found, weights[one], weights[other]) for one, other in combinations(shown, 2)]
    p = [each.p for each in estimates if each.p is not None and (each.degrees or 0) >= LEAST_DEGREES]
    if len(p) < len(estimates):
        return None
    differences = tuple((label, found.contrast(weights[label]).value) for label in shown)
    return Interplay(factor, differences, min(1.0, min(p) * len(p)))


def _apart(rows: DesignRows, level: str, factor: str, names: Sequence[str]) -> DesignRows:
    """The rows with a column for each of these labels, where they are of the pair's own level."""
    own = rows.column(("level", level)) > 0
    return rows.beside(
        [(INTERPLAY, label) for label in names],
        np.column_stack([np.where(own, rows.column((factor, label)), 0) for label in names]),
    )


def _at(own: Sides, label: str, names: Sequence[str]) -> DesignRow:
    """The pair's difference at one label."""
    return {**own.contrast, **({(INTERPLAY, label): 1} if label in names else {})}


def _apart_by(found: ClusterFit, ours: Sequence[float], theirs: Sequence[float]) -> Estimate:
    weights = [one - other for one, other in zip(ours, theirs, strict=True)]
    return found.pooled(weights) if found.of_single_cells else found.contrast(weights)
