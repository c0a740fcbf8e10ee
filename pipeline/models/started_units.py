"""Which units were started, and what each gave at each age."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.models.unit_arrays import Lines, Numbers, UnitArrays, Whole
from pipeline.models.view import LedgerView


@dataclass(frozen=True)
class StartedUnits(UnitArrays):
    """One entry per unit of a dated batch with a known number of containers. age: in days."""

    unit: Lines
    group_id: Whole
    soak_no: Whole
    age: Numbers
    containers: Numbers


@dataclass(frozen=True)
class PickedByAge(UnitArrays):
    """One entry per started unit and age (days) at which anything was picked from it. fresh_g: in g."""

    unit: Lines
    group_id: Whole
    age: Numbers
    fresh_g: Numbers


def started_units(view: LedgerView) -> StartedUnits:
    """Return the started units of a view, in the order of their lines."""
    return StartedUnits.of(view.arrays("started_units"))


def picked_by_age(view: LedgerView) -> PickedByAge:
    """Return what the started units of a view gave by age, in the order of their lines and ages."""
    return PickedByAge.of(view.arrays("picked_by_age"))
