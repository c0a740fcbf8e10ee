"""By how much the bands are widened, so that they hold as often as they say: from what they missed on past days."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.models.unit_arrays import Numbers, Whole
from pipeline.outlook.backtest import BANDS, LEARNT_WEEKS, MEDIAN, MOST_WEEKS, Past, Spans

WANTED_SHARE = 0.8
# Before the farm's own past has its say, bands are widened by this, and that counts as so many past days.
FIRST_FACTOR, FIRST_DAYS = 1.0, 10.0
# Bands are not shrunk below this share of what was drawn: with 1.0, bands of short records held too often.
LEAST_FACTOR = 0.9
# Where bands of late missed more often than they say, all are widened further, by exp(PUSH x (share missed - wanted)).
# Spans count half after so many weeks, the leads of LEARNT_WEEKS count, and FIRST_SPANS that missed as often as they
# should are among them. Of the kind of Gibbs and Candes 2021 (NeurIPS 34, adaptive conformal inference), which
# holds under drift.
PUSH, HALF_AFTER_WEEKS, FIRST_SPANS = 4.0, 12.0, 8.0
# FIRST_FACTOR, FIRST_DAYS and LEAST_FACTOR were chosen among about 12 settings on 43 simulated farms, the three of PUSH
# among about 20 on 6 farms of each design; the table in DEVELOPERS.md is of other farms.
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


@dataclass(frozen=True)
class Widened:
    """past: with the bands as they would have been given on each past day, by what had been seen by then; factors: of
    the day itself.
    """

    past: Past
    factors: Factors


def widened(past: Past, day: int) -> Widened:
    """Return the bands of past days widened, and by which factors those of `day` are: each by what had been seen then.

    The WANTED_SHARE quantile of the ratios of past days at the same lead, among them those that would be usual: for the
    first week FIRST_FACTOR, for a later one what the week before it has, counted as FIRST_DAYS. So a lead of which
    little was seen is widened as the one before. Then by what the bands that were given missed of late.
    Never below LEAST_FACTOR.
    """
    ratio = np.stack([ratios(past.weeks), ratios(past.sums)])
    days = [*past.origins.tolist(), day]
    factors = np.ones((2, len(days), MOST_WEEKS))
    for at, then in enumerate(days):
        known = np.where(past.seen_by(then), ratio, np.nan)
        late = missed_of_late(known, factors[:, :-1], past.origins, then)
        factors[:, at] = np.maximum(_by_lead(known) * late[:, None], LEAST_FACTOR)
        factors[1, at, 0] = factors[0, at, 0]  # the first week, and the sum of one
    weeks, sums = (
        Spans(widen(each.bands_kg, own[:-1]), each.actual)
        for each, own in zip((past.weeks, past.sums), factors, strict=True)
    )
    return Widened(Past(past.origins, weeks, sums), Factors(factors[0, -1], factors[1, -1]))


def _by_lead(ratio: Numbers) -> Numbers:
    """Return the factors by the ratios of each lead: of weeks and of sums, 2 x weeks."""
    found = np.ones((2, MOST_WEEKS))
    found[:, 0] = _pulled(ratio[0, :, 0], FIRST_FACTOR)
    for week in range(1, MOST_WEEKS):
        found[:, week] = [_pulled(ratio[kind, :, week], found[kind, week - 1]) for kind in range(2)]
    return found


def missed_of_late(ratio: Numbers, factors: Numbers, origins: Whole, day: int) -> Numbers:
    """Return the factors, of weeks and of sums, by how many bands missed as they were given, most by the latest."""
    ratio, factors = ratio[..., :LEARNT_WEEKS], factors[..., :LEARNT_WEEKS]
    ago = (day - origins[:, None]) / 7 - np.arange(1, LEARNT_WEEKS + 1)
    counts = np.where(np.isnan(ratio), 0.0, 0.5 ** (np.maximum(ago, 0) / HALF_AFTER_WEEKS))
    missed = (counts * (ratio > factors)).sum(axis=(1, 2)) + FIRST_SPANS * (1 - WANTED_SHARE)
    share = missed / (counts.sum(axis=(1, 2)) + FIRST_SPANS)
    found: Numbers = np.exp(PUSH * (share - (1 - WANTED_SHARE)))
    return found


def _pulled(ratio: Numbers, before: float) -> float:
    """Return the quantile of these ratios and of the usual ones, that are spread as `before` says."""
    ratio = ratio[~np.isnan(ratio)]
    usual = before * _LADDER
    values = np.concatenate([usual, ratio])
    weights = np.concatenate([np.full(len(usual), FIRST_DAYS / len(usual)), np.ones(len(ratio))])
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
