"""What spawn went into each unit, what the unit gave, and how far that is known."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.models.unit_arrays import Flags, Lines, Numbers, Texts, UnitArrays, Whole
from pipeline.models.view import LedgerView


@dataclass(frozen=True)
class SpawnedUnits(UnitArrays):
    """The units of a view, one entry each, by batch. Masses in g, rates in % of the batch's wet and dry substrate; nan
    where not known. batch_no, soak_no: the numbers of batch and soak; known: far enough to be counted; gave_g: so far,
    or up to the flush of the view; lost: finished without a picking, which fate_known says whether it can be said;
    rejected: pickings set aside that may be its own.
    """

    unit: Lines
    group_id: Whole
    batch: Texts
    batch_no: Whole
    soak_key: Texts
    soak_no: Whole
    spawn_form: Texts
    rate_wet_pct: Numbers
    rate_dry_pct: Numbers
    dry_g: Numbers
    spawn_g: Numbers
    known: Flags
    gave_g: Numbers
    fate_known: Flags
    lost: Flags
    days_to_pins: Numbers
    rejected: Whole


def spawned_units(view: LedgerView) -> SpawnedUnits:
    """Return the units of a view with their spawn: as far as its flush, to their end where it has none."""
    view.set_variables(of_flush=view.query.through_flush or 0)
    return SpawnedUnits.of(view.arrays("spawned_units"))
