"""What spawn went into each unit, what the unit gave, and how far that is known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipeline.models.compared_columns import Days, Labels, MeasureParts, UnitStarts
from pipeline.models.compared_units import (
    COMPARED_COLUMNS,
    HOLES,
    BatchCells,
    ComparedUnits,
    FillingCells,
    filling_cells,
)
from pipeline.models.unit_arrays import Flags, Lines, Numbers, Texts, UnitArrays, Whole
from pipeline.models.view import LedgerView
from schemas.answers import ComparedMeasure

# From this flush on holes are told apart: see unit_holes.sql.
FIRST_WITH_HOLES = 2


@dataclass(frozen=True)
class SpawnedUnits(UnitArrays):
    """The units of a view, one entry each, by their lines. Masses in g, rates in % of the batch's wet and dry
    substrate; nan where not known. batch_no, soak_no: where their batch and their soak stand (SpawnedFarm); known: far
    enough to be counted; gave_g: so far, or up to the flush of the view; followed_g, followed: what it gave, and
    whether that is known, through the flush to which comparisons follow it; lost: finished without a picking, which
    fate_known says whether it can be said; pins_fate, pins_days: see unit_pinning.sql, blank and nan without a day of
    inoculation; rejected: pickings set aside that may be its own.
    """

    unit: Lines
    group_id: Whole
    batch_line: Lines
    batch_no: Whole
    soak_no: Whole
    inoculated_on: Days
    rate_wet_pct: Numbers
    rate_dry_pct: Numbers
    dry_g: Numbers
    spawn_g: Numbers
    known: Flags
    gave_g: Numbers
    followed_g: Numbers
    followed: Flags
    fate_known: Flags
    lost: Flags
    pins_fate: Texts
    pins_days: Numbers
    rejected: Whole

    @property
    def days_to_pins(self) -> Numbers:
        """The days to pins of each; nan without a note of them."""
        return np.where(self.pins_fate == "noted", self.pins_days, np.nan)


@dataclass(frozen=True)
class SpawnedFarm:
    """The units of a farm with their spawn, what their groups are called, and the batches and soaks that they are out
    of. view: which is read again for what else went into them, where that is asked for.
    """

    units: SpawnedUnits
    groups: Mapping[int, Mapping[str, str]]
    batches: BatchCells
    view: LedgerView

    @cached_property
    def _of_fillings(self) -> FillingCells:
        return filling_cells(self.view)

    @cached_property
    def _holes(self) -> Labels:
        """With which holes each unit went into the flush to which it is followed; blank where that is not known."""
        if (self.view.query.through_flush or 1) < FIRST_WITH_HOLES:
            return Labels(np.zeros(len(self.units), dtype=np.int64), ("",))
        noted = self.view.arrays("noted_holes")
        found = np.full(len(self.units), "", dtype=object)
        found[np.searchsorted(self.units.unit, noted["unit"])] = noted["holes"]
        return Labels.of(found.tolist())

    def compared(self, own: SpawnedUnits, with_cells: bool) -> ComparedUnits:
        """Return these units for a comparison of what they gave; with_cells: also of what went into them. Of what that
        does not ask for there is nothing: no waits, and blank sizes and starts.
        """
        count, cells = len(own), {}
        if with_cells:
            cells = {name: each.where(own.batch_no) for name, each in self.batches.cells.items()}
            cells |= self._of_fillings.of_units(own.unit)
            cells[HOLES] = self._holes.where(np.searchsorted(self.units.unit, own.unit))
        nothing, unknown = np.zeros(count, dtype=np.int64), np.full(count, np.nan)
        return ComparedUnits(
            own.unit,
            self.batches.batches.where(own.batch_no).alone,
            Labels(own.soak_no, self.batches.soaks.texts).alone,
            own.inoculated_on,
            cells,
            {ComparedMeasure.BE.value: MeasureParts(own.followed_g, own.dry_g, own.followed)},
            {},
            UnitStarts(unknown, unknown, unknown),
            Labels(nothing, ("",)),
            nothing,
            nothing,
        )


def spawned_farm(view: LedgerView) -> SpawnedFarm:
    """Return the units of a view with their spawn: as far as its flush, to their end where it has none."""
    view.set_variables(of_flush=view.query.through_flush or 0)
    # Both first, for what went into them is read by other groups, which take the place of these.
    units, groups = view.arrays("spawned_units"), view.groups()
    by_columns = view.by(*COMPARED_COLUMNS)
    batches = BatchCells.of_units(by_columns, units["batch_line"])
    at = batches.at(units["batch_line"])
    tried = batches.rate_wet_pct > 0
    rates = {
        "rate_wet_pct": np.where(tried, batches.rate_wet_pct, np.nan)[at],
        "rate_dry_pct": np.where(batches.rate_dry_pct > 0, batches.rate_dry_pct, np.nan)[at],
    }
    days = units["inoculated_on"].astype("datetime64[D]")
    numbers = {"batch_no": at, "soak_no": batches.soaks.codes[at], "inoculated_on": days}
    return SpawnedFarm(SpawnedUnits.of({**units, **rates, **numbers}), groups, batches, by_columns)
