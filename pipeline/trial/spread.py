"""How much this farm's soaks, parts of one soak, and containers differ, in points of biological efficiency."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from pipeline.models.trial_batches import TrialBatch
from pipeline.stats.variance import Anova, inflation, one_way, pooled

# The table of inflation begins at 2: from less, an SD of soaks is not known.
LEAST_DEGREES = 2
# Where no soak was ever split: two parts of a soak differ by so much of the variance of soaks. Our choice, no source.
ASSUMED_PART = 0.25
# Parts of so many batches at most are compared, for the work grows with their cube. Our choice, no source.
MOST_PARTS = 300


@dataclass(frozen=True)
class Component:
    """A variance, in points^2 of BE. degrees: of freedom it is known from, 0 where assumed; planned: the variance that
    is planned with, inflated for few degrees; cut: was the estimate below nothing, and set to nothing?
    """

    variance: float
    degrees: int
    planned: float
    cut: bool = False

    @property
    def sd(self) -> float:
        """The standard deviation, in points."""
        return sqrt(self.variance)

    @property
    def planned_sd(self) -> float:
        """The standard deviation that is planned with, in points."""
        return sqrt(self.planned)


@dataclass(frozen=True)
class Spread:
    """soaks: between soaks of one substrate and strain; parts: between batches of one soak, beyond their containers and
    what their recipes do; containers: within a batch. part_assumed: no soak was split often enough to know.
    """

    soaks: Component
    parts: Component
    containers: Component
    part_assumed: bool


def spread(batches: Sequence[TrialBatch]) -> Spread | None:
    """Return how much soaks, parts and containers differ; None where too few soaks or containers tell.

    One-way ANOVA estimators: soaks (MSB - MSW) / n0, pooled over substrates and strains, so that what these do is not
    counted as spread (Searle, Casella & McCulloch 1992, Variance Components, 3.6). Checked against: lme4 Dyestuff and
    Dyestuff2.
    """
    by_soak = _by_soak(batches)
    within = one_way([each.be_pct for each in batches])
    soaks = components([list(groups.values()) for groups in by_soak.values()])
    if within is None or within.within_degrees < LEAST_DEGREES or within.within_ms <= 0:
        return None
    if soaks is None or soaks.degrees < LEAST_DEGREES:
        return None
    containers = Component(within.within_ms, within.within_degrees, within.within_ms)
    parts = _parts(batches, within.within_ms)
    if parts is None:
        assumed = ASSUMED_PART * soaks.planned
        return Spread(soaks, Component(ASSUMED_PART * soaks.variance, 0, assumed), containers, True)
    return Spread(soaks, parts, containers, False)


def _by_soak(batches: Sequence[TrialBatch]) -> dict[tuple[str, str], dict[str, list[float]]]:
    """The values of each soak, for each substrate and strain."""
    found: dict[tuple[str, str], dict[str, list[float]]] = {}
    for each in batches:
        groups = found.setdefault((each.substrate, each.strain), {})
        groups.setdefault(each.soak_key, []).extend(each.be_pct)
    return found


def components(strata: Sequence[Sequence[Sequence[float]]]) -> Component | None:
    """Return the variance that groups have, beyond their members' and within strata. strata: of each, the values of its
    groups.

    None where no stratum has two groups and a group of two.
    """
    found = pooled([each for groups in strata if (each := one_way(groups)) is not None])
    return _component(found) if found else None


def _component(anova: Anova) -> Component:
    """The variance behind two mean squares. Where it is nothing or less, what is planned with is still the upper limit
    of what the mean square between may be: that no spread was seen does not show that there is none.
    """
    factor = inflation(anova.between_degrees) ** 2
    planned = factor * anova.batch_variance
    if not planned:
        planned = max(0.0, (factor * anova.between_ms - anova.within_ms) / anova.n0)
    return Component(anova.batch_variance, anova.between_degrees, planned, anova.between_variance < 0)


def _coded(keys: Sequence[str]) -> NDArray[np.int64]:
    codes = {key: code for code, key in enumerate(dict.fromkeys(keys))}
    return np.array([codes[key] for key in keys], dtype=np.int64)


def _parts(batches: Sequence[TrialBatch], within: float) -> Component | None:
    """The variance of batches of one soak. What their recipes do is taken out (least squares of batch means on soak and
    recipe); None where fewer than LEAST_DEGREES remain. within: the variance of containers.
    """
    of_soak = Counter(each.soak_key for each in batches)
    split = [each for each in batches if of_soak[each.soak_key] > 1][-MOST_PARTS:]
    if not split:
        return None
    means = np.array([sum(each.be_pct) / len(each.be_pct) for each in split])
    codes = [_coded([each.soak_key for each in split]), _coded([each.recipe for each in split])]
    design = np.hstack([np.eye(int(each.max()) + 1)[each] for each in codes])
    # The projection that leaves what soak and recipe do not explain; its trace is what remains of the degrees.
    left = np.eye(len(split)) - design @ np.linalg.pinv(design)
    degrees = round(float(np.trace(left)))
    if degrees < LEAST_DEGREES:
        return None
    noise = within * sum(share / len(each.be_pct) for share, each in zip(np.diag(left).tolist(), split, strict=True))
    return _component(Anova(float((left @ means) @ means) / degrees, noise / degrees, degrees, 0, 1.0))
