"""The gaps between the pickings of one container: two heaps, within a flush and from flush to flush, and where they
part.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]

# Ours, by simulation (python -m tests.calibrate_flush). Days, but for the shares and the count.
LEAST_GAPS = 30
LONGEST_DAYS = 45  # longer gaps count as this long
LEAST_SPREAD = 0.1  # of the logarithm
EARLIEST_CUT, LATEST_CUT = 4, 21
LEAST_CENTRE_BETWEEN = 7.5
# What is within a flush, and between flushes, where one heap alone is seen.
SURELY_WITHIN, SURELY_BETWEEN = 3, 11
MOST_OFF = 0.2  # of the gaps, that two heaps cannot place
LIKE_GAPS = 50  # gaps between flushes that what the heaps say of their overlap counts for
STARTS = (4, 6, 8, 11, 14)
WARMING, MOST_STEPS, ENOUGH = 15, 200, 1e-9
SMALLEST = 1e-300


@dataclass(frozen=True)
class Heaps:
    """A mixture of normals of the logarithm of gaps. share, centre (log days), spread: one entry per heap, rising by
    centre; log_likelihood of gaps told in whole days.
    """

    share: Numbers
    centre: Numbers
    spread: Numbers
    log_likelihood: float

    def chances(self, edges: Numbers) -> Numbers:
        """Return the chance of a gap between each two edges (log days) and of each heap: edges - 1 rows."""
        at = (edges[:, None] - self.centre) / self.spread
        below = np.array([[0.5 * math.erfc(-each / math.sqrt(2)) for each in row] for row in at.tolist()])
        return np.asarray(np.maximum(np.diff(below, axis=0), SMALLEST) * self.share, dtype=np.float64)


@dataclass(frozen=True)
class GapRule:
    """From how many days on a gap begins a new flush. fitted: the heaps part there, else it is the usual one; wrong:
    how many gaps are expected on the wrong side, over the gaps between flushes; from unsure_from to unsure_to (days) a
    gap may be either.
    """

    days: int
    fitted: bool
    wrong: float
    unsure_from: int
    unsure_to: int


def gap_rule(days: NDArray[np.int64], counts: NDArray[np.int64], usual: int) -> GapRule:
    """Return where the gaps part. counts: how many gaps are so many days (1 or more) long; usual: the cut where they do
    not.

    Two heaps (normals of log gaps) are taken for true when they beat one by Schwarz's criterion, the cut is a possible
    one, the later heap lies a week off or more, and at most MOST_OFF of the gaps are where the heaps have none: visits
    on set days of the week give gaps that no two heaps describe. The cut is beside the day between the centres
    that has the fewest gaps (the antimode), for heaps end more sharply than normals do. wrong: the gaps of that day,
    with what the heaps say of their overlap for LIKE_GAPS more.
    """
    gaps = lengths(days, counts)
    total = int(gaps.sum())
    if total < LEAST_GAPS:
        return GapRule(usual, False, 0.0, usual, usual - 1)
    two = fit(gaps, 2)
    edges = _edges()
    chances = two.chances(edges)
    crossing = _crossing(two, chances)
    valley = _valley(gaps, two, crossing)
    cut = valley if valley >= crossing else valley + 1
    parted = (
        two.log_likelihood - fit(gaps, 1).log_likelihood > 1.5 * math.log(total)
        and EARLIEST_CUT <= cut <= LATEST_CUT
        and two.centre[1] >= math.log(LEAST_CENTRE_BETWEEN)
        and np.abs(gaps / total - chances.sum(axis=1)).sum() / 2 <= MOST_OFF
    )
    if not parted:
        between = slice(SURELY_WITHIN, SURELY_BETWEEN - 1)
        return GapRule(usual, False, float(gaps[between].sum() / total), SURELY_WITHIN + 1, SURELY_BETWEEN - 1)
    overlap = (chances[: cut - 1, 1].sum() + chances[cut - 1 :, 0].sum()) / two.share[1]
    wrong = (gaps[valley - 1] + LIKE_GAPS * overlap) / (gaps[cut - 1 :].sum() + LIKE_GAPS)
    first, last = _unsure(two, chances)
    return GapRule(cut, True, float(wrong), min(first, cut - 1), max(last, cut))


def lengths(days: NDArray[np.int64], counts: NDArray[np.int64]) -> Numbers:
    """Return how many gaps are 1, 2, ... LONGEST_DAYS days long, the longer ones with the last."""
    gaps = np.zeros(LONGEST_DAYS)
    np.add.at(gaps, np.minimum(days, LONGEST_DAYS) - 1, counts)
    return gaps


def _edges() -> Numbers:
    edges: Numbers = np.log(np.arange(LONGEST_DAYS + 1) + 0.5)
    return edges


def _crossing(two: Heaps, chances: Numbers) -> int:
    """The first whole day, from the centre of the early heap on, on which the later heap is as likely."""
    days = np.arange(1, LONGEST_DAYS + 1)
    later = (np.log(days) >= two.centre[0]) & (chances[:, 1] >= chances[:, 0])
    return int(days[later][0]) if later.any() else LONGEST_DAYS + 1


def _valley(gaps: Numbers, two: Heaps, crossing: int) -> int:
    """The day between the centres with the fewest gaps, of several the nearest to the crossing; the crossing itself
    where no day lies between.
    """
    days = np.arange(1, LONGEST_DAYS + 1)
    between = days[(np.log(days) > two.centre[0]) & (np.log(days) < two.centre[1])].tolist()
    return min(between, key=lambda day: (gaps[day - 1], abs(day - crossing), day), default=min(crossing, LONGEST_DAYS))


def _unsure(two: Heaps, chances: Numbers) -> tuple[int, int]:
    """The first and last day, between the centres, on which each heap has a tenth or more of the gaps."""
    days = np.arange(1, LONGEST_DAYS + 1)
    least = chances.min(axis=1) / chances.sum(axis=1)
    unsure = days[(least >= 0.1) & (np.log(days) >= two.centre[0]) & (np.log(days) <= two.centre[1])]
    return (int(unsure[0]), int(unsure[-1])) if len(unsure) else (LONGEST_DAYS, LONGEST_DAYS - 1)


def fit(gaps: Numbers, heaps: int) -> Heaps:
    """Return the most likely one or two heaps. gaps: how many are 1, 2, 3 ... days long, two lengths or more.

    Maximum likelihood of grouped data by the EM algorithm (Dempster, Laird & Rubin 1977): a gap of d days lies between
    d - .5 and d + .5. Of two heaps from several first cuts, the most likely goes on.
    """
    edges = _edges()
    if heaps == 1:
        return _climbed(gaps, edges, _parts(gaps, np.ones((len(gaps), 1))), MOST_STEPS)
    days = np.arange(1, len(gaps) + 1)
    starts = [_parts(gaps, np.column_stack([days < cut, days >= cut]).astype(float)) for cut in STARTS]
    warmed = [_climbed(gaps, edges, each, WARMING) for each in starts]
    best = _climbed(gaps, edges, max(warmed, key=lambda each: each.log_likelihood), MOST_STEPS)
    order = np.argsort(best.centre, kind="stable")
    return Heaps(best.share[order], best.centre[order], best.spread[order], best.log_likelihood)


def _parts(gaps: Numbers, member: Numbers) -> Heaps:
    """The heaps of gaps that are parted so. member: one row per length, one column per heap."""
    weight = gaps[:, None] * member + 1e-9
    logs = np.log(np.arange(1, len(gaps) + 1))[:, None]
    centre = (weight * logs).sum(axis=0) / weight.sum(axis=0)
    spread = np.sqrt((weight * (logs - centre) ** 2).sum(axis=0) / weight.sum(axis=0))
    return Heaps(weight.sum(axis=0) / weight.sum(), centre, np.maximum(spread, 2 * LEAST_SPREAD), -math.inf)


def _climbed(gaps: Numbers, edges: Numbers, heaps: Heaps, steps: int) -> Heaps:
    """The heaps after so many steps of EM, or when a step gains next to nothing."""
    for _ in range(steps):
        before = heaps.log_likelihood
        heaps = _step(gaps, edges, heaps)
        if heaps.log_likelihood - before < ENOUGH * abs(before):
            break
    return heaps


def _step(gaps: Numbers, edges: Numbers, heaps: Heaps) -> Heaps:
    """One step of EM; the likelihood is that of the heaps before it."""
    joint = heaps.chances(edges)
    total = joint.sum(axis=1, keepdims=True)
    weight = gaps[:, None] * joint / total
    mean, variance = _within_days(edges, heaps, joint / heaps.share)
    count = np.maximum(weight.sum(axis=0), SMALLEST)
    centre = (weight * mean).sum(axis=0) / count
    spread = np.sqrt((weight * (variance + (mean - centre) ** 2)).sum(axis=0) / count)
    likelihood = float((gaps * np.log(total[:, 0])).sum())
    return Heaps(count / count.sum(), centre, np.maximum(spread, LEAST_SPREAD), likelihood)


def _within_days(edges: Numbers, heaps: Heaps, chance: Numbers) -> tuple[Numbers, Numbers]:
    """Mean and variance of the log gap of each heap within each day; far from the heap those of the nearest edge."""
    at = np.clip((edges[:, None] - heaps.centre) / heaps.spread, -37, 37)
    height = np.exp(-(at**2) / 2) / math.sqrt(2 * math.pi)
    known = chance > 1e-12
    tilt = np.where(known, -np.diff(height, axis=0) / chance, 0.0)
    curve = np.where(known, -np.diff(at * height, axis=0) / chance, -1.0)
    low, high = edges[:-1, None], edges[1:, None]
    mean = np.clip(heaps.centre + heaps.spread * tilt, low, high)
    variance = np.clip(heaps.spread**2 * (1 + curve - tilt**2), 0.0, (high - low) ** 2 / 4)
    return mean, variance
