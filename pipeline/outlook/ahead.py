"""The outlook from a day: one simulation of the days ahead, the same on past days, and the widening by what it missed.

Whatever is asked, so many weeks or so many kg by a day, reads these numbers: the same days have the same figures.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from pipeline.models.unit_arrays import Numbers
from pipeline.outlook.backtest import MOST_WEEKS, WEEK_ENDS, Misses, Past, bands, look_back, single_weeks
from pipeline.outlook.drawing import Drawing
from pipeline.outlook.history import PastBatches, read_history
from pipeline.outlook.levels import Likeness, donors
from pipeline.outlook.running import RunningBatches, targets
from pipeline.outlook.simulate import Simulated, simulate
from pipeline.outlook.widening import Factors, Widened, widen, widened

if TYPE_CHECKING:
    from datetime import date

    from pipeline.models.view import Ledger

SEED = 20260101  # any number: the same files give the same outlook
DRAWS = 4000
DAYS = np.arange(1, 7 * MOST_WEEKS + 1)


@dataclass(frozen=True)
class Ahead:
    """targets_wanted: the batches that run or are planned; found: what they may give by each of the DAYS ahead;
    drawing: the draws, for further batches; past: the same on past days, with the bands of then; factors: how much
    the bands are widened; likeness: what the past prefers.
    """

    targets_wanted: RunningBatches
    found: Simulated
    drawing: Drawing
    past: Past
    factors: Factors
    likeness: Likeness

    @property
    def sums_kg(self) -> Numbers:
        """Return the bands of the sum up to the end of each week, widened: weeks x QUANTILES."""
        return widen(bands(self.found.total[:, WEEK_ENDS - 1]), self.factors.sums)

    @property
    def weeks_kg(self) -> Numbers:
        """Return the bands of each week, widened: weeks x QUANTILES."""
        return widen(bands(single_weeks(self.found.total[:, WEEK_ENDS - 1])), self.factors.weeks)


def dice(number: int) -> np.random.Generator:
    """Return the stream of uniforms that belongs to this part of the outlook."""
    return np.random.Generator(np.random.PCG64(SEED + number))


@dataclass(frozen=True)
class FarmPast:
    """A farm's batches up to a day (date.toordinal), and what its past teaches: worked out once, for whoever looks
    ahead from this day.
    """

    history: PastBatches
    day: int

    @cached_property
    def likeness(self) -> Likeness:
        """Return what the past prefers."""
        return self._misses.learnt(self.day)

    @cached_property
    def widening(self) -> Widened:
        """Return how the same held on past days, and by how much the bands are widened for it."""
        return widened(look_back(self.history, self.day, self._misses, dice(1)), self.day)

    @cached_property
    def _misses(self) -> Misses:
        return Misses(self.history, self.day)

    def ahead(self, draws: int = DRAWS) -> Ahead:
        """Return what is to come after the day, for MOST_WEEKS."""
        targets_wanted = targets(self.history, self.day, int(DAYS[-1]))
        drawing = Drawing(donors(self.history, self.day, self.likeness), draws, dice(0))
        found = simulate(drawing, targets_wanted, DAYS, apart=True)
        by_past = self.widening
        return Ahead(targets_wanted, found, drawing, by_past.past, by_past.factors, self.likeness)


def read_past(ledger: Ledger, as_of: date) -> FarmPast:
    """Return the farm's batches up to a day, as the ledger has them."""
    return FarmPast(read_history(ledger, as_of), as_of.toordinal())


def look_ahead(history: PastBatches, day: int, draws: int = DRAWS) -> Ahead:
    """Return what is to come after `day` (date.toordinal), for MOST_WEEKS."""
    return FarmPast(history, day).ahead(draws)
