"""One test of trend over an ordered amount (a rate, hours, a fill), beside the pairs of its levels."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from pipeline.compare import wording as words
from pipeline.compare.columns import soaks_of
from pipeline.compare.confounding import held_against
from pipeline.compare.factor_column import FactorColumn
from pipeline.compare.factors import AMOUNTS, READINGS, title, unit_of
from pipeline.compare.pairs import LEAST_DEGREES, Level
from pipeline.compare.query import ComparisonQuery
from pipeline.models.unit_arrays import Numbers
from pipeline.stats.estimate import Estimate

LEAST_LEVELS = 3  # of two levels the pair says it


@dataclass(frozen=True)
class Trend:
    """How a measure goes with an amount: by how much it rises with one unit of it; soaks: that tell; lowest, highest:
    the amounts between which it holds; adjusted: the factors that are held alike.
    """

    factor: str
    estimate: Estimate
    soaks: int
    lowest: float
    highest: float
    adjusted: tuple[str, ...]

    @property
    def is_shown(self) -> bool:
        """Whether its interval leaves 0, with degrees of freedom to judge by."""
        limits, degrees = self.estimate.limits(), self.estimate.degrees
        return bool(limits and degrees and degrees >= LEAST_DEGREES and (limits[0] > 0 or limits[1] < 0))


def trend_of(levels: Sequence[Level], query: ComparisonQuery) -> Trend | None:
    """Return the trend over the amounts of the levels' cells; None for words, for two levels, and where it cannot be
    told from another factor. The soak is the unit of replication, as in pairs, and it is one test: no pairs to adjust
    for. What the levels did not have alike is held alike where its labels change.
    """
    from pipeline.stats.trend import slope

    factor = query.factor
    if factor not in (*AMOUNTS, *READINGS) or sum(bool(each.used) for each in levels) < LEAST_LEVELS:
        return None
    groups = [each.used.where(~np.isnan(each.used.mean_of_each(factor))) for each in levels]
    amounts = np.concatenate([each.means(factor) for each in groups])
    if len(np.unique(amounts)) < LEAST_LEVELS:
        return None
    choices, _, _ = held_against(factor, query.of_yield)
    had = {name: FactorColumn.joined([each.column(name) for each in groups]) for name in choices}
    differing = tuple(name for name in choices if len(had[name].labels) > 1)
    soaks, values = soaks_of(groups).codes, np.concatenate([each.values for each in groups])
    estimate = slope(soaks, amounts, values, _columns({name: had[name] for name in differing}))
    if estimate is None or estimate.limits() is None:
        return None
    lowest, highest = float(amounts.min()), float(amounts.max())
    return Trend(factor, estimate, len(np.unique(soaks)), lowest, highest, differing)


def _columns(had: Mapping[str, FactorColumn]) -> dict[Hashable, Numbers]:
    """The share of each label that is not blank, one entry per cell, in the order in which cells have them."""
    found: dict[Hashable, tuple[tuple[int, int, int], Numbers]] = {}
    for of, (name, column) in enumerate(had.items()):
        first = column.first_cells
        for at, (label, cell) in enumerate(first.items()):
            if label:
                share = np.array([float(shares.get(label, 0)) for shares in column.every])
                found[name, label] = ((cell, of, at), share[column.codes])
    return {name: share for name, (_, share) in sorted(found.items(), key=lambda each: each[1][0])}


def trend_sentence(found: Trend, query: ComparisonQuery) -> str:
    """Return what the amounts together say, in a sentence."""
    low, high = found.estimate.limits() or (0.0, 0.0)
    unit, what = query.measure.unit, title(found.factor)
    over = f"over all {what}s, {found.lowest:.3g} to {found.highest:.3g} {unit_of(found.factor)}"
    said = partial(words.number, decimals=query.measure.decimals)
    fits = f"{said(low)} to {said(high, unit)}"
    if not found.is_shown:
        return f"No trend is shown {over}: with each {unit_of(found.factor)} more, anything from {fits} more fits."
    more = "rises" if low > 0 else "falls"
    near, far = (low, high) if low > 0 else (-high, -low)
    return (
        f"There is a trend {over}: with each {unit_of(found.factor)} more it {more} by {said(near)} to "
        f"{said(far, unit)}, about {said(abs(found.estimate.value))}."
    )
