"""How many soaks would show a difference that counts, if they spread as a pair's do."""

from __future__ import annotations

from pipeline.compare.pairs import LEAST_FOR_A_VERDICT, Pair, split_alone
from pipeline.stats.multiple import Family
from pipeline.stats.power import batches_needed
from pipeline.stats.two_levels import DesignKind

MOST = 60  # beyond this no number is named: our choice, no source


def soaks_needed(pair: Pair, together: Family, difference: float) -> int | None:
    """Return how many soaks (of each level, or holding both) would show this difference in 4 of 5 such farms.

    The spread per soak is taken as this pair's own: v = SE^2 / (1/nA + 1/nB) between soaks, SE^2 b within, and that of
    the differences where some soaks hold both; so it is as unsure as that spread is. None for more than 60, or without
    a spread.
    """
    if pair.varies is DesignKind.BOTH and pair.split >= LEAST_FOR_A_VERDICT:
        pair = split_alone(pair)
    error = pair.estimate.standard_error
    if not error or not difference > 0:
        return None
    apart = pair.varies is DesignKind.BETWEEN
    if apart:
        per_soak = 2 * error**2 / (1 / len(pair.first) + 1 / len(pair.second))
    else:
        per_soak = error**2 * len({cell.soak for cell in (*pair.first, *pair.second)})
    return batches_needed(difference, per_soak, together.critical, not apart, LEAST_FOR_A_VERDICT, MOST)
