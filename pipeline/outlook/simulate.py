"""The simulation: what may the batches give that run or are planned, if each goes on as one of the past did?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.models.unit_arrays import Numbers, Whole
from pipeline.outlook.history import LAST_AGE, PastBatches

# Fewer past batches than this tell nothing of how much batches differ : chosen by simulation.
LEAST_DONORS = 4
# Of a long past so many are drawn from, evenly over time, so that a large farm need not wait. Our choice, no source.
MOST_DONORS = 150
BORROWED_FROM = ("same substrate and strain", "same substrate", "all batches")


@dataclass(frozen=True)
class RunningBatch:
    """A batch whose coming weeks are asked for. batch: its number, for size and recipe; age on the day (negative: to
    come); running: the share of its containers that still run; planned: not yet inoculated.
    """

    batch: int
    age: int
    running: float
    planned: bool


@dataclass(frozen=True)
class Borrowed:
    """What a batch may borrow. pool: places of its donors in the pool; paths: kg of each donor in each span, at the
    batch's own size; spans_known: for how many spans there are donors enough; source: whose paths they are.
    """

    pool: Whole
    paths: Numbers
    spans_known: int
    source: str


@dataclass(frozen=True)
class Simulated:
    """running and planned: kg per draw and span (array draws x spans). without_donors: in each span, how many batches
    have none and are in no figure. borrowed: one entry per target, None where nothing can be borrowed.
    """

    running: Numbers
    planned: Numbers
    without_donors: Whole
    borrowed: tuple[Borrowed | None, ...]

    @property
    def total(self) -> Numbers:
        """Return what all batches give together."""
        found: Numbers = self.running + self.planned
        return found


def targets(history: PastBatches, day: int, days_ahead: int) -> list[RunningBatch]:
    """Return the batches that run on that day, or are inoculated in the days ahead."""
    found = []
    for batch, start in enumerate(history.start.tolist()):
        age = day - start
        if age < 0:
            found += [RunningBatch(batch, age, 1.0, True)] if -age < days_ahead else []
        elif age <= LAST_AGE and history.running[batch, age] > 0:
            found.append(RunningBatch(batch, age, float(history.running[batch, age]), False))
    return found


def donor_pool(history: PastBatches, day: int) -> Whole:
    """Return the batches that may lend, on that day. Those begun before it: all, or MOST_DONORS of them evenly over
    time.
    """
    begun = np.flatnonzero(history.start < day)
    if len(begun) <= MOST_DONORS:
        return begun
    return begun[np.linspace(0, len(begun) - 1, MOST_DONORS).round().astype(np.int64)]


def borrow(history: PastBatches, day: int, target: RunningBatch, edges: Whole, pool: Whole) -> Borrowed | None:
    """Return the past batches from which a target borrows its path, and what it would give in each span on theirs.

    edges: days ahead at which spans end, the first 0. A donor was as old on that day as the target will be at the end:
    age alone decides, never whether it has finished, or early failures would be drawn too often. Of those the first
    kind of BORROWED_FROM with LEAST_DONORS of them. Where none has, the spans count that enough of them lived to
    see. A running batch borrows what its containers that still run may give: from donors with any left at its age, if
    they are enough.
    """
    ages = day - history.start[pool]
    old = ages >= target.age + edges[-1]
    kinds = (history.alike, history.substrate, None)
    for source, kind in zip(BORROWED_FROM, kinds, strict=True):
        mine = old if kind is None else old & (kind[pool] == kind[target.batch])
        if mine.sum() >= LEAST_DONORS:
            return _lent(history, target, edges, pool, np.flatnonzero(mine), source)
    if len(pool) < LEAST_DONORS:
        return None
    seen = int(np.sort(ages)[-LEAST_DONORS]) - target.age
    spans_known = int(np.searchsorted(edges, seen, side="right")) - 1
    if spans_known < 1:
        return None
    old = ages >= target.age + edges[spans_known]
    return _lent(history, target, edges[: spans_known + 1], pool, np.flatnonzero(old), BORROWED_FROM[-1])


def _lent(
    history: PastBatches, target: RunningBatch, edges: Whole, pool: Whole, chosen: Whole, source: str
) -> Borrowed:
    if not target.planned:
        left = history.running[pool[chosen], target.age] > 0
        chosen = chosen[left] if left.sum() >= LEAST_DONORS else chosen
    donors = pool[chosen]
    at = target.age + edges
    so_far = np.where(at < 0, 0.0, history.kg[donors][:, np.clip(at, 0, LAST_AGE)])
    paths: Numbers = np.diff(so_far, axis=1) * _size_ratio(history, target, donors)[:, None]
    return Borrowed(chosen, paths, len(edges) - 1, source)


def _size_ratio(history: PastBatches, target: RunningBatch, donors: Whole) -> Numbers:
    """Return how much larger the target is than each donor. By dry substrate where both have it, else by containers,
    else they are taken as alike; of a running batch only by what still ran at its age.
    """
    ratio = history.dry_kg[target.batch] / history.dry_kg[donors]
    ratio = np.where(np.isnan(ratio), history.containers[target.batch] / history.containers[donors], ratio)
    ratio = np.where(np.isnan(ratio), 1.0, ratio)
    if target.planned:
        return ratio
    left = history.running[donors, target.age]
    found: Numbers = np.where(left > 0, ratio * target.running / np.where(left > 0, left, 1.0), 0.0)
    return found


@dataclass(frozen=True)
class Draws:
    """Whose past is drawn from, and by which weights. pool: numbers of batches; weights: draws x pool."""

    pool: Whole
    weights: Numbers


def weigh(history: PastBatches, day: int, draws: int, rng: np.random.Generator) -> Draws:
    """Return the weight that every past batch has, draw by draw. Exponential ones, which is the Bayesian bootstrap
    (Rubin 1981, Annals of Statistics 9(1):130-134). The same `rng` state gives the same weights.
    """
    pool = donor_pool(history, day)
    return Draws(pool, -np.log1p(-rng.random((draws, len(pool)))))


def simulate(
    history: PastBatches,
    day: int,
    wanted: list[RunningBatch],
    edges: Whole,
    drawn: Draws,
    rng: np.random.Generator,
) -> Simulated:
    """Return what the targets may give in each span of days after `day`, draw by draw.

    In each draw every target takes the path of one donor, by the weights of that draw, which are the same for all
    targets. Whole batches are drawn, never containers: those of one batch share its luck. The same `rng` state gives
    the same numbers.
    """
    draws, spans = len(drawn.weights), len(edges) - 1
    sums = {False: np.zeros((draws, spans)), True: np.zeros((draws, spans))}
    without_donors = np.zeros(spans, dtype=np.int64)
    borrowed = []
    for target in wanted:
        chance = rng.random(draws)
        found = borrow(history, day, target, edges, drawn.pool)
        borrowed.append(found)
        without_donors[found.spans_known if found else 0 :] += 1
        if found:
            sums[target.planned][:, : found.spans_known] += drawn_paths(found, drawn, chance)
    return Simulated(sums[False], sums[True], without_donors, tuple(borrowed))


def drawn_paths(borrowed: Borrowed, drawn: Draws, chance: Numbers) -> Numbers:
    """Return the donor whose path each draw takes. chance: one uniform per draw; gives draws x spans, in kg."""
    heaped = np.cumsum(drawn.weights[:, borrowed.pool], axis=1)
    which = (heaped < (chance * heaped[:, -1])[:, None]).sum(axis=1)
    found: Numbers = borrowed.paths[which]
    return found
