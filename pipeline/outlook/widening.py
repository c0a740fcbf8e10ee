"""By how much the bands are widened, so that they hold as often as they say: from what they missed on past days."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.models.unit_arrays import Numbers
from pipeline.outlook.backtest import BANDS, MEDIAN, MOST_WEEKS, Past, Spans

WANTED_SHARE = 0.8
# Before the farm's own past has its say, bands are widened by this, and that counts as so many past days. Chosen among
# about 12 settings on 43 simulated farms, which is a small search (tests/calibrate_outlook.py).
FIRST_FACTOR, FIRST_DAYS = 1.0, 10.0
# Bands are not shrunk below this share of what was drawn. Chosen in the same search:
# with 1.0, bands of steady farms and of short records held too often.
LEAST_FACTOR = 0.9
# Of ten absolute values of a standard normal, the 80 % quantile by _pulled: misses of unseen days are taken to be so
# spread.
HALF_NORMAL = 1.295
_LADDER = np.abs(np.array([0.06, 0.19, 0.32, 0.45, 0.60, 0.76, 0.93, 1.15, 1.44, 1.96])) / HALF_NORMAL


@dataclass(frozen=True)
class Factors:
    """By which factor the band of each week is widened, and of the sum up to its end. The first two are one."""

    weeks: Numbers
    sums: Numbers

    def of_days(self, days: int) -> float:
        """Return the factor of the sum of so many days: between those of the weeks about it."""
        return float(np.interp(days / 7, np.arange(1, MOST_WEEKS + 1), self.sums))


def ratios(spans: Spans) -> Numbers:
    """|actual - median| / half-width of the 80 % band on that side; nan where nothing was to come and nothing came, or
    nothing was seen, inf where something came that could not.
    """
    low, high = (spans.bands_kg[..., end] for end in BANDS[WANTED_SHARE])
    median = spans.bands_kg[..., MEDIAN]
    off = spans.actual - median
    width = np.where(off > 0, high - median, median - low)
    with np.errstate(divide="ignore", invalid="ignore"):
        found: Numbers = np.abs(off) / width
    return found


def widening(past: Past, day: int) -> Factors:
    """Return the factors by what had been seen on a day.

    The WANTED_SHARE quantile of the ratios of past days at the same lead, among them those that would be usual: for the
    first week FIRST_FACTOR, for a later one what the week before it has, counted as FIRST_DAYS. So a lead of which
    little was seen is widened as the one before. A sum of n weeks counts a past day as 1 / sqrt(n), for
    such sums overlap.
    Never below LEAST_FACTOR.
    """
    seen = past.seen_by(day)
    weeks, sums = (np.where(seen, ratios(each), np.nan) for each in (past.weeks, past.sums))
    found = np.ones((2, MOST_WEEKS))
    found[:, 0] = _pulled(weeks[:, 0], FIRST_FACTOR, 1.0)
    for week in range(1, MOST_WEEKS):
        found[0, week] = _pulled(weeks[:, week], found[0, week - 1], 1.0)
        found[1, week] = _pulled(sums[:, week], found[1, week - 1], 1 / np.sqrt(week + 1))
    return Factors(found[0], found[1])


def _pulled(ratio: Numbers, before: float, weight: float) -> float:
    """Return the quantile of these ratios and of the usual ones, that are spread as `before` says."""
    ratio = ratio[~np.isnan(ratio)]
    usual = before * _LADDER
    values = np.concatenate([usual, ratio])
    weights = np.concatenate([np.full(len(usual), FIRST_DAYS / len(usual)), np.full(len(ratio), weight)])
    order = np.argsort(values)
    values, heaped = values[order], np.cumsum(weights[order])
    middle = (heaped - weights[order] / 2) / heaped[-1]
    finite = np.isfinite(values)
    return max(LEAST_FACTOR, float(np.interp(WANTED_SHARE, middle[finite], values[finite])))


def spread(kg: Numbers, factor: float | Numbers) -> Numbers:
    """Return the draws moved away from their median by the factor, none below nothing. kg: draws (x spans)."""
    median = np.median(kg, axis=0)
    found: Numbers = np.maximum(median + factor * (kg - median), 0.0)
    return found


def widen(bands_kg: Numbers, factor: Numbers) -> Numbers:
    """Return the bands once each is widened by its factor. bands_kg: spans x QUANTILES; factor: one per span. None
    reaches below nothing.
    """
    median = bands_kg[..., [MEDIAN]]
    found: Numbers = np.maximum(median + factor[..., None] * (bands_kg - median), 0.0)
    return found


def within(spans: Spans, level: float = WANTED_SHARE) -> Numbers:
    """Return where the actual lay within the band of this level. 1 yes, 0 no, nan not seen: origins x spans."""
    low, high = BANDS[level]
    held = (spans.bands_kg[..., low] <= spans.actual) & (spans.actual <= spans.bands_kg[..., high])
    found: Numbers = np.where(np.isnan(spans.actual), np.nan, held.astype(float))
    return found


def widened_then(past: Past) -> Past:
    """Return the past with the bands as they would have been given: widened by what had been seen by then."""
    weeks, sums = past.weeks.bands_kg.copy(), past.sums.bands_kg.copy()
    for at, day in enumerate(past.origins.tolist()):
        factors = widening(past, day)
        weeks[at], sums[at] = widen(weeks[at], factors.weeks), widen(sums[at], factors.sums)
    return Past(past.origins, Spans(weeks, past.weeks.actual), Spans(sums, past.sums.actual))
