"""From which gap on does a picking begin a new flush? The heaps of gaps again, by a general optimiser.

The program climbs by EM; here the likelihood itself is maximised, and nothing is taken from the program.
"""

from collections import Counter
from collections.abc import Sequence
from math import exp, inf, log, sqrt

import numpy as np
from scipy.optimize import minimize
from scipy.stats import norm

USUAL, FEWEST, LONGEST, NARROWEST = 7, 30, 45, 0.1
EDGES = np.log(np.arange(LONGEST + 1) + 0.5)
DAYS = np.arange(1, LONGEST + 1)


def cells(share: float, centre: float, spread: float) -> np.ndarray:
    """Which part of all gaps is of this heap and so many days long?"""
    at = norm.cdf((EDGES - centre) / spread)
    return share * np.maximum(np.diff(at), 1e-300)


def two_heaps(at: Sequence[float]) -> tuple[np.ndarray, np.ndarray]:
    """The parts of two heaps: the share of the first as log odds, each centre and log spread."""
    share = 1 / (1 + exp(-float(np.clip(at[0], -30, 30))))
    spreads = [max(NARROWEST, exp(min(at[place], 5.0))) for place in (2, 4)]
    return cells(share, at[1], spreads[0]), cells(1 - share, at[3], spreads[1])


def moments(gaps: np.ndarray, chosen: np.ndarray) -> tuple[float, float, float]:
    """How many gaps are chosen, and the mean and log spread of their logarithms?"""
    weight = gaps * chosen + 1e-9
    mean = float((weight * np.log(DAYS)).sum() / weight.sum())
    variance = float((weight * (np.log(DAYS) - mean) ** 2).sum() / weight.sum())
    return float(weight.sum()), mean, log(max(sqrt(variance), 0.2))


def likeliest(gaps: np.ndarray) -> tuple[float, np.ndarray, np.ndarray, Sequence[float]]:
    """Which two heaps are most likely: the log likelihood, their parts, and where they lie?"""
    best: tuple[float, Sequence[float]] = (-inf, ())
    for cut in (4, 6, 8, 11, 14):
        early, late = moments(gaps, cut > DAYS), moments(gaps, cut <= DAYS)
        start = [log(early[0] / late[0]), *early[1:], *late[1:]]
        found = minimize(
            lambda at: -(gaps * np.log(sum(two_heaps(at)))).sum(),
            start,
            method="Nelder-Mead",
            options={"maxiter": 6000, "maxfev": 6000, "xatol": 1e-6, "fatol": 1e-9, "adaptive": True},
        )
        best = max(best, (-float(found.fun), tuple(found.x)))
    first, second = two_heaps(best[1])
    at = best[1]
    return (best[0], first, second, at) if at[1] <= at[3] else (best[0], second, first, [-at[0], *at[3:], *at[1:3]])


def one_heap(gaps: np.ndarray) -> float:
    """How likely is one heap alone?"""
    _, mean, spread = moments(gaps, DAYS > 0)
    found = minimize(
        lambda at: -(gaps * np.log(cells(1.0, at[0], max(NARROWEST, exp(at[1]))))).sum(),
        [mean, spread],
        method="Nelder-Mead",
    )
    return -float(found.fun)


def new_flush_after(days: Sequence[int]) -> int:
    """From how many days on does a picking begin a new flush, by the gaps (days) between pickings of one container?"""
    if len(days) < FEWEST:
        return USUAL
    counted = Counter(min(each, LONGEST) for each in days)
    gaps = np.array([counted[each] for each in DAYS], dtype=float)
    gain, early, late, at = likeliest(gaps)
    later = [int(day) for day in DAYS if log(day) >= at[1] and late[day - 1] >= early[day - 1]]
    crossing = later[0] if later else LONGEST + 1
    # The day between the two centres with the fewest gaps, of several the nearest to the crossing.
    between = [int(day) for day in DAYS if at[1] < log(day) < at[3]]
    fewest = min((counted[day] for day in between), default=0)
    valley = sorted(between, key=lambda day: (counted[day] > fewest, abs(day - crossing), day))
    lowest = valley[0] if valley else min(crossing, LONGEST)
    cut = lowest if lowest >= crossing else lowest + 1
    off = float(abs(gaps / gaps.sum() - early - late).sum() / 2)
    parted = gain - one_heap(gaps) > 1.5 * log(gaps.sum()) and 4 <= cut <= 21 and at[3] >= log(7.5) and off <= 0.2
    return cut if parted else USUAL
