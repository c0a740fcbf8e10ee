"""The batches whose coming weeks are asked for: those that run on a day, and those that are begun in the days ahead."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Self

import numpy as np

from pipeline.models.unit_arrays import Numbers, UnitArrays, Whole
from pipeline.outlook.history import LAST_AGE, PastBatches


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
class RunningBatches(UnitArrays):
    """Several of them: one entry per batch in each array, as in RunningBatch."""

    batch: Whole
    age: Whole
    running: Numbers

    @classmethod
    def of_one(cls, target: RunningBatch) -> Self:
        """Return one alone."""
        return cls(np.array([target.batch]), np.array([target.age]), np.array([target.running]))

    def __iter__(self) -> Iterator[RunningBatch]:
        for batch, age, running in zip(self.batch.tolist(), self.age.tolist(), self.running.tolist(), strict=True):
            yield RunningBatch(batch, age, running, age < 0)


def targets(history: PastBatches, day: int, days_ahead: int) -> RunningBatches:
    """Return the batches that run on that day, or are inoculated in the days ahead, in the order of their numbers."""
    near = np.flatnonzero((history.start >= day - LAST_AGE) & (history.start < day + days_ahead))
    age = day - history.start[near]
    running = np.where(age < 0, 1.0, history.running[near, np.maximum(age, 0)])
    runs = running > 0
    return RunningBatches(near[runs], age[runs], running[runs])
