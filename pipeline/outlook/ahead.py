"""The outlook from a day: the weeks simulated, the same on past days, and the bands widened by what those missed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.models.unit_arrays import Numbers
from pipeline.outlook.backtest import BANDS, Past, bands, look_back, widen, widening
from pipeline.outlook.history import PastBatches
from pipeline.outlook.simulate import RunningBatch, Simulated, simulate, targets, weigh

SEED = 20260101  # any number: the same files give the same outlook
DRAWS = 4000


@dataclass(frozen=True)
class Ahead:
    """targets_wanted: the batches that run or are planned; found: what they may give; past: the same on past days;
    factors: by level, how much its band is widened (a level without an entry: not available); bands_kg: the bands,
    weeks x QUANTILES.
    """

    targets_wanted: tuple[RunningBatch, ...]
    found: Simulated
    past: Past
    factors: dict[float, float]
    bands_kg: Numbers


def dice(number: int) -> np.random.Generator:
    """Return the stream of uniforms that belongs to this part of the outlook."""
    return np.random.Generator(np.random.PCG64(SEED + number))


def look_ahead(history: PastBatches, day: int, weeks: int, draws: int = DRAWS) -> Ahead:
    """Return what is to come in so many weeks after `day` (date.toordinal)."""
    edges = np.arange(weeks + 1) * 7
    past = look_back(history, day, edges, dice(1))
    targets_wanted = targets(history, day, 7 * weeks)
    rng = dice(0)
    found = simulate(history, day, targets_wanted, edges, weigh(history, day, draws, rng), rng)
    factors = {level: factor for level in BANDS if (factor := widening(past, level))}
    return Ahead(tuple(targets_wanted), found, past, factors, widen(bands(found.total), factors))
