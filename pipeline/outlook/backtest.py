"""How well this outlook would have held on the farm's own past, and by how much its bands must be widened for that."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pipeline.models.unit_arrays import Numbers, Whole
from pipeline.outlook.history import PastBatches
from pipeline.outlook.simulate import simulate, targets, weigh

# By simulation: refuse at 20 weeks or fewer; at 26, scaling is not available. The least number of past days to look
# back to lies between: our choice, held by tests/calibrate_outlook.py.
REFUSED_WEEKS = 20
LEAST_ORIGINS = 10
MOST_ORIGINS = 52
PAST_DRAWS = 500
# After so many days without a picking, entries are taken to be missing: what came is not known. Our choice, no source.
SILENT_DAYS = 14
# The ends of the bands: 80 % around 50 % around the median.
QUANTILES = (0.10, 0.25, 0.50, 0.75, 0.90)
LOW80, LOW50, MEDIAN, HIGH50, HIGH80 = range(5)
BANDS = {0.5: (LOW50, HIGH50), 0.8: (LOW80, HIGH80)}


@dataclass(frozen=True)
class Past:
    """What would have been foreseen on past days, and what came. origins: those days, the earliest first; seen: days on
    which each span of each had ended; bands_kg: origins x spans x QUANTILES, in kg; actual: origins x spans, nan where
    the span has not ended or a batch had no donors.
    """

    origins: Whole
    seen: Whole
    bands_kg: Numbers
    actual: Numbers


def history_weeks(history: PastBatches, day: int) -> float:
    """Return how many weeks lie between the first inoculation and this day. 0 for an empty farm."""
    begun = history.start[history.start <= day]
    return float(day - begun.min()) / 7 if len(begun) else 0.0


def known_until(history: PastBatches, as_of: int) -> int:
    """Return the day up to which it is known what was picked. `as_of`, or the last picking where that is SILENT_DAYS
    older.
    """
    gave = np.diff(history.kg, axis=1, prepend=0) > 0
    days = history.start[:, None] + np.arange(history.kg.shape[1])
    last = int(np.where(gave & (days <= as_of), days, 0).max(initial=0))
    return last if last and as_of - last > SILENT_DAYS else as_of


def look_back(history: PastBatches, as_of: int, edges: Whole, rng: np.random.Generator) -> Past:
    """Return what the outlook would have been week by week on the farm's own past, as of `as_of`, before it is scaled.

    edges: days ahead at which spans end, the first 0. A past day counts from the first that would not have been
    refused. Only what was known on it is used, but for the plan: the batches that were begun later stand for it. Spans
    for which entries seem to be missing are not held against it.
    """
    found = []
    known = known_until(history, as_of)
    for back in range(MOST_ORIGINS, 0, -1):
        day = as_of - 7 * back
        if history_weeks(history, day) > REFUSED_WEEKS and day + edges[1] <= known:
            found.append((day, *_foreseen_then(history, day, known, edges, rng)))
    spans = len(edges) - 1
    return Past(
        np.array([row[0] for row in found], dtype=np.int64),
        np.array([row[0] + edges[1:] for row in found], dtype=np.int64).reshape(-1, spans),
        np.array([row[1] for row in found], dtype=float).reshape(-1, spans, len(QUANTILES)),
        np.array([row[2] for row in found], dtype=float).reshape(-1, spans),
    )


def _foreseen_then(
    history: PastBatches, day: int, known: int, edges: Whole, rng: np.random.Generator
) -> tuple[Numbers, list[float]]:
    drawn = weigh(history, day, PAST_DRAWS, rng)
    found = simulate(history, day, targets(history, day, int(edges[-1])), edges, drawn, rng)
    actual = [
        history.picked(day + int(first) + 1, day + int(last))
        if day + last <= known and not without_donors
        else math.nan
        for first, last, without_donors in zip(edges[:-1], edges[1:], found.without_donors, strict=True)
    ]
    return bands(found.total), actual


def bands(kg: Numbers) -> Numbers:
    """Return the kg that are the QUANTILES of each span. kg: draws x spans; gives spans x QUANTILES."""
    found: Numbers = np.quantile(kg, QUANTILES, axis=0).T
    return found


def widening(past: Past, level: float, until: int | None = None) -> float | None:
    """Return the factor by which the band of this level must be widened so that it would have held on the past.

    The `level` quantile of |actual - median| / half-width over past days and spans, the half-width being that of the
    side where the actual lies; of n ratios the ceil(level (n + 1))-th smallest, never below 1: bands are not shrunk
    (the rank as in split conformal prediction: Lei et al. 2018, doi 10.1080/01621459.2017.1307116, of
    which the guarantee does not hold here, for past days share their batches). None with fewer than LEAST_ORIGINS past
    days. `until`: only what had been seen by that day.
    """
    seen = ~np.isnan(past.actual) & (past.seen <= (until if until is not None else past.seen.max(initial=0)))
    if seen.any(axis=1).sum() < LEAST_ORIGINS:
        return None
    ratio = _ratios(past, level)[seen]
    ratio = np.sort(ratio[~np.isnan(ratio)])
    rank = math.ceil(level * (len(ratio) + 1))
    if rank > len(ratio) or not math.isfinite(ratio[rank - 1]):
        return None
    return max(1.0, float(ratio[rank - 1]))


def _ratios(past: Past, level: float) -> Numbers:
    """|actual - median| / half-width; nan where nothing was to come and nothing came, inf where something did."""
    low, high = BANDS[level]
    median = past.bands_kg[:, :, MEDIAN]
    off = past.actual - median
    width = np.where(off > 0, past.bands_kg[:, :, high] - median, median - past.bands_kg[:, :, low])
    with np.errstate(divide="ignore", invalid="ignore"):
        found: Numbers = np.abs(off) / width
    return found


def widen(bands_kg: Numbers, factors: dict[float, float]) -> Numbers:
    """Return the bands once each is widened by its factor (1 where it has none). bands_kg: spans x QUANTILES. No band
    reaches below nothing, and none of 50 % beyond that of 80 %.
    """
    found = bands_kg.copy()
    for level, (low, high) in BANDS.items():
        factor = factors.get(level, 1.0)
        for end in (low, high):
            found[..., end] = bands_kg[..., MEDIAN] + factor * (bands_kg[..., end] - bands_kg[..., MEDIAN])
    found[..., LOW50] = np.maximum(found[..., LOW50], found[..., LOW80])
    found[..., HIGH50] = np.minimum(found[..., HIGH50], found[..., HIGH80])
    return np.maximum(found, 0.0)


def within(past: Past, bands_kg: Numbers, level: float) -> Numbers:
    """Return where the actual lay within the band of this level. 1 yes, 0 no, nan not seen: origins x spans."""
    low, high = BANDS[level]
    held = (bands_kg[..., low] <= past.actual) & (past.actual <= bands_kg[..., high])
    found: Numbers = np.where(np.isnan(past.actual), np.nan, held.astype(float))
    return found


def widened_then(past: Past) -> Numbers:
    """Return the bands of each past day, widened by what had been seen by then. As past.bands_kg."""
    found = past.bands_kg.copy()
    for at, day in enumerate(past.origins.tolist()):
        factors = {level: widening(past, level, day) or 1.0 for level in BANDS}
        found[at] = widen(past.bands_kg[at], factors)
    return found
