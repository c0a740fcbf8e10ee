"""What this outlook would have said on the farm's own past, and which likeness that past prefers."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.models.unit_arrays import Numbers, Whole
from pipeline.outlook.drawing import Drawing
from pipeline.outlook.history import PastBatches
from pipeline.outlook.levels import LIKENESSES, OTHERS, USUAL, Likeness, donors, donors_of, pool_of
from pipeline.outlook.running import targets
from pipeline.outlook.simulate import expected_kg, simulate
from schemas.steps import STEPS

Flags = NDArray[np.bool_]
# By simulation: refuse at 20 weeks or fewer.
REFUSED_WEEKS = 20
MOST_WEEKS = 26
MOST_ORIGINS = 52
PAST_DRAWS = 200
# After so many days without a picking, entries are taken to be missing: what came is not known. Our choice, no source.
SILENT_DAYS = 14
# A likeness is preferred once so many past days were seen and its misses are that much smaller. Our choice.
LEAST_LEARNT, BETTER = 5, 0.97
LEARNT_WEEKS = 8
LEARNT_EACH = 2  # every other past day is enough to learn from
# The ends of the bands: 80 % around 50 % around the median.
QUANTILES = (0.10, 0.25, 0.50, 0.75, 0.90)
LOW80, LOW50, MEDIAN, HIGH50, HIGH80 = range(5)
BANDS = {0.5: (LOW50, HIGH50), 0.8: (LOW80, HIGH80)}
# What is shown meanwhile.
PAST_WEEKS = "Foreseeing past weeks, to see how often the outlook holds"
WEEK_ENDS = np.arange(1, MOST_WEEKS + 1) * 7


@dataclass(frozen=True)
class Spans:
    """Bands and what came, of spans of one kind: origins x spans (x QUANTILES), in kg; actual: nan where the span has
    not ended or a batch had no donors.
    """

    bands_kg: Numbers
    actual: Numbers


@dataclass(frozen=True)
class Past:
    """What would have been foreseen on past days, and what came. origins: those days, the earliest first; weeks: of
    single weeks; sums: from the day on to the end of each week.
    """

    origins: Whole
    weeks: Spans
    sums: Spans

    def seen_by(self, day: int) -> Flags:
        """Return which spans of which origins had ended by a day: origins x weeks."""
        found: Flags = self.origins[:, None] + WEEK_ENDS <= day
        return found


def history_weeks(history: PastBatches, day: int) -> float:
    """Return how many weeks lie between the first inoculation and this day. 0 for an empty farm."""
    begun = history.start[history.start <= day]
    return float(day - begun.min()) / 7 if len(begun) else 0.0


def known_until(history: PastBatches, as_of: int) -> int:
    """Return the day up to which it is known what was picked. `as_of`, or the last picking where that is SILENT_DAYS
    older.
    """
    first = int(history.start.min(initial=as_of))
    gave = np.flatnonzero(history.of_days[: max(as_of + 1 - first, 0)] > 0)
    last = first + int(gave[-1]) if len(gave) else 0
    return last if last and as_of - last > SILENT_DAYS else as_of


def single_weeks(sums: Numbers) -> Numbers:
    """Return what each week gives, of what is given up to its end. The last axis is that of weeks."""
    found: Numbers = np.diff(sums, axis=-1, prepend=0.0)
    return found


def bands(kg: Numbers) -> Numbers:
    """Return the kg that are the QUANTILES of each span. kg: draws x spans; gives spans x QUANTILES."""
    found: Numbers = np.moveaxis(np.quantile(kg, QUANTILES, axis=0), 0, -1)
    return found


def past_days(history: PastBatches, as_of: int) -> Whole:
    """Return the past days to look back to: a week apart, from the first that would not have been refused."""
    known = known_until(history, as_of)
    days = [as_of - 7 * back for back in range(MOST_ORIGINS, 0, -1)]
    return np.array(
        [day for day in days if history_weeks(history, day) > REFUSED_WEEKS and day + 7 <= known], dtype=np.int64
    )


class Misses:
    """How far the means of each likeness were off, on past days: what the weights of likeness are learned from."""

    def __init__(self, history: PastBatches, as_of: int) -> None:
        self.days = past_days(history, as_of)[::-LEARNT_EACH][::-1]
        known = known_until(history, as_of)
        ends = WEEK_ENDS[:LEARNT_WEEKS]
        self.ends = self.days[:, None] + ends
        self.actual = np.array([came(history, day, known)[:LEARNT_WEEKS] for day in self.days.tolist()])
        self.off = np.full((len(LIKENESSES), len(self.days), LEARNT_WEEKS), np.nan)
        for at, day in enumerate(self.days.tolist()):
            wanted = targets(history, day, int(ends[-1]))
            pool = pool_of(history, day)
            for which, likeness in enumerate(LIKENESSES):
                kg, without = expected_kg(donors_of(pool, history, likeness), wanted, ends)
                miss = np.abs(single_weeks(kg) - single_weeks(self.actual[at]))
                self.off[which, at] = np.where(without > 0, np.nan, miss)

    def learnt(self, day: int) -> Likeness:
        """Return the likeness that the past prefers, by what had been seen on a day: trait by trait."""
        seen = (self.ends <= day) & ~np.isnan(self.off).any(axis=0)
        if seen.any(axis=1).sum() < LEAST_LEARNT:
            return USUAL
        off = self.off[:, seen].mean(axis=1)
        found = USUAL
        best: dict[str, float] = {}
        for trait, miss in zip(OTHERS, off[1:].tolist(), strict=True):
            ((name, value),) = trait.items()
            if miss < BETTER * off[0] and miss < best.get(name, np.inf):
                best[name] = miss
                found = replace(found, **{name: value})  # type: ignore[arg-type]
        return found


def came(history: PastBatches, day: int, known: int) -> Numbers:
    """Return the kg picked after a day up to the end of each week, nan where that is not known."""
    upto = np.cumsum(history.picked_after(day, int(WEEK_ENDS[-1])))[WEEK_ENDS - 1]
    found: Numbers = np.where(day + WEEK_ENDS <= known, upto, np.nan)
    return found


def look_back(history: PastBatches, as_of: int, misses: Misses, rng: np.random.Generator) -> Past:
    """Return what the outlook would have been week by week on the farm's own past, as of `as_of`, before it is widened.

    Only what was known on a past day is used, but for the plan: the batches that were begun later stand for it. Spans
    for which entries seem to be missing are not held against it.
    """
    known, days = known_until(history, as_of), past_days(history, as_of)
    count = len(days)
    weeks = [np.full((count, MOST_WEEKS, len(QUANTILES)), np.nan) for _ in range(2)]
    actual = [np.full((count, MOST_WEEKS), np.nan) for _ in range(2)]
    with STEPS.during(PAST_WEEKS):
        for at, day in enumerate(days.tolist()):
            STEPS.at(PAST_WEEKS, at, count)
            drawing = Drawing(donors(history, day, misses.learnt(day)), PAST_DRAWS, rng)
            found = simulate(drawing, targets(history, day, int(WEEK_ENDS[-1])), WEEK_ENDS)
            weeks[0][at], weeks[1][at] = bands(single_weeks(found.total)), bands(found.total)
            upto = np.where(found.without_donors > 0, np.nan, came(history, day, known))
            actual[0][at], actual[1][at] = single_weeks(upto), upto
    return Past(days, Spans(weeks[0], actual[0]), Spans(weeks[1], actual[1]))
