"""What was picked, and what left, day by day: what lies there unsold follows from it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from pipeline.models.view import Ledger


@dataclass(frozen=True)
class PickedDay:
    """What was picked of a strain on a day, in kg; strain: blank where not noted."""

    picked_on: date
    strain: str
    kg: float


@dataclass(frozen=True)
class LeftDay:
    """What left on a day, in kg; strain: blank where the sale names none; picked_on: None where it does not say."""

    left_on: date
    strain: str
    picked_on: date | None
    kg: float


@dataclass(frozen=True)
class UnsoldRecords:
    """What was picked and what left between two days."""

    picked: list[PickedDay]
    left: list[LeftDay]


def unsold_records(ledger: Ledger, first: date, last: date) -> UnsoldRecords:
    """Return what was picked and what left from one day to another, both included, in the order of days."""
    ledger.set_variables(first_day=first, last_day=last)
    return UnsoldRecords(
        [PickedDay(*row) for row in ledger.tuples("picked_of_strains")],
        [LeftDay(*row) for row in ledger.tuples("left_of_strains")],
    )
