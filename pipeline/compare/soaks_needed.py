"""How many soaks would show a worthwhile difference, if they spread as these do?"""

from __future__ import annotations

from pipeline.compare.cells import BETWEEN, BOTH
from pipeline.compare.pairs import LEAST_FOR_A_VERDICT, Pair, split_alone
from pipeline.stats.multiple import Family
from pipeline.stats.power import minimum_detectable

MOST = 60  # beyond this no number is told: our choice, no source


def soaks_needed(pair: Pair, together: Family, difference: float) -> int | None:
    """How many soaks (of each level, or holding both) would show this difference in 4 of 5 such farms?

    The spread per soak is taken as this pair's own: v = SE^2 / (1/nA + 1/nB) between soaks, SE^2 b within, and that of
    the differences where some soaks hold both; so it is as unsure as that spread is. None for more than 60, or without
    a spread.
    """
    if pair.varies == BOTH and pair.split >= LEAST_FOR_A_VERDICT:
        pair = split_alone(pair)
    error = pair.estimate.standard_error
    if not error or not difference > 0:
        return None
    apart = pair.varies == BETWEEN
    if apart:
        per_soak = 2 * error**2 / (1 / len(pair.first) + 1 / len(pair.second))
    else:
        per_soak = error**2 * len({cell.soak for cell in (*pair.first, *pair.second)})

    def shows(soaks: int) -> bool:
        degrees = float(2 * (soaks - 1) if apart else soaks - 1)
        return bool(minimum_detectable(degrees, together.critical(degrees)) * (per_soak / soaks) ** 0.5 <= difference)

    low, high = LEAST_FOR_A_VERDICT - 1, MOST
    if not shows(high):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if shows(middle) else (middle, high)
    return high
