"""What a plan is made from, beside what the outlook reads: how batches were prepared, which containers are in use."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from pipeline.models.unit_arrays import Numbers, UnitArrays
from pipeline.models.view import Ledger, LedgerView


@dataclass(frozen=True)
class Preparation(UnitArrays):
    """One entry per batch that the outlook reads, in its order. Hours of treatment and of draining, kg of spawn; nan
    where not noted.
    """

    treatment_h: Numbers
    drain_h: Numbers
    spawn_kg: Numbers


@dataclass(frozen=True)
class ContainerUse:
    """A container and the batch that it last held; ended_on: None while it holds it."""

    container: str
    batch: str
    inoculated_on: date
    ended_on: date | None


def preparation(ledger: Ledger, first_day: date) -> Preparation:
    """Return how the batches were prepared that were inoculated on a day or after it."""
    ledger.set_variables(first_day=first_day)
    return Preparation.of(ledger.arrays("batch_preparation"))


def container_uses(view: LedgerView) -> list[ContainerUse]:
    """Return what each container holds at the view's day, or held last."""
    return [ContainerUse(*row) for row in view.tuples("container_uses")]
