"""What the outlook reads of a farm's past: its batches, the ends of their containers, what was picked at which age."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from pipeline.models.unit_arrays import Numbers, UnitArrays, Whole
from pipeline.models.view import Ledger


@dataclass(frozen=True)
class OutlookBatch:
    """A batch with a day of inoculation, also one to come. dry_kg, containers: its size, None where not known."""

    name: str
    inoculated_on: date
    dry_kg: float | None
    containers: int | None
    substrate: str | None
    strain: str | None


@dataclass(frozen=True)
class ContainerEnds(UnitArrays):
    """One entry per container. number: of its batch; closed_age: at which age (days) it ended, nan while it runs."""

    number: Whole
    closed_age: Numbers


@dataclass(frozen=True)
class AgedPickings(UnitArrays):
    """One entry per container, or batch weighed together, and age at which it was picked from. number: of its batch;
    place: of the container among the ends, nan where weighed together; age in days; kg.
    """

    number: Whole
    place: Numbers
    age: Whole
    kg: Numbers


@dataclass(frozen=True)
class OutlookRecords:
    """The batches in the order of their numbers, from 0; their ends and pickings; undated: how many batches are left
    out for want of a day.
    """

    batches: Sequence[OutlookBatch]
    ends: ContainerEnds
    pickings: AgedPickings
    undated: int = 0


def outlook_records(ledger: Ledger, first_day: date) -> OutlookRecords:
    """Return what the ledger holds of batches inoculated on a day or after it."""
    ledger.set_variables(first_day=first_day)
    ((undated,),) = ledger.tuples("undated_batches")
    return OutlookRecords(
        [OutlookBatch(*row) for row in ledger.tuples("outlook_past_batches")],
        ContainerEnds.of(ledger.arrays("outlook_ends")),
        AgedPickings.of(ledger.arrays("outlook_pickings")),
        int(undated),
    )


def rejected_count(ledger: Ledger, until: date) -> int:
    """Return how many pickings are set aside or waiting, up to a day."""
    ledger.set_variables(until=until)
    ((pickings,),) = ledger.tuples("rejected_count")
    return int(pickings)
