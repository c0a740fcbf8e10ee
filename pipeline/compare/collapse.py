"""Collapse first: one value per soak and level. Containers are never compared, for those of one soak share its fate."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np

from pipeline.compare.columns import Cells, CellTable, soaks_of
from pipeline.compare.design import CellColumns
from pipeline.compare.factors import Levels
from pipeline.compare.measures import Measure
from pipeline.compare.parts import Parts
from pipeline.models.compared_columns import Days, Labels, MeasureParts
from pipeline.models.compared_units import ComparedUnits
from pipeline.models.unit_arrays import Flags
from pipeline.stats.two_levels import DesignKind, design_by_counts

# A soak counts once this share of its containers that gave anything, or still may, is far enough; those that do not yet
# are left out. Our choice, by simulation: see tests/calibrate_unfinished.py.
MOST = Fraction(4, 5)


def cells(units: ComparedUnits, of: Levels, measure: Measure) -> Cells:
    """Return the cells that the units make, by level and soak. Units without a level are in none."""
    if not of.known.any():
        return Cells()
    places = of.codes * len(units.soaks.texts) + units.soaks.codes
    of_cell, part = Parts.within(units.by_soak, of.codes, places, of.known), units.parts[measure.name]
    adding, waiting = of_cell.count(part.adding), of_cell.count(part.waiting)
    # What went into it is that of the units that count, or will.
    own = of_cell.only(part.adding)
    over, under = of_cell.sums(part.over, part.adding), of_cell.sums(part.under, part.adding)
    has = (under > 0) & far_enough(of_cell, part, measure)
    first = of_cell.rows[of_cell.starts]
    every = np.arange(len(first))
    table = CellTable(
        Labels(units.soaks.codes[first], units.soaks.texts),
        of.codes[first],
        of.order,
        np.divide(measure.scale * over, under, out=np.full(len(first), np.nan), where=has),
        over,
        under,
        of_cell.alike(units.runs.codes).texts(units.batches),
        adding,
        of_cell.sizes - adding - waiting,
        waiting,
        _first_days(own, units.inoculated_on),
        CellColumns(own, units),
        every,
    )
    return Cells.of(table, every)


def _first_days(own: Parts, days: Days) -> Days:
    found: Days = np.fmin.reduceat(days[own.rows], own.starts)
    return found


def far_enough(parts: Parts, gave: MeasureParts, measure: Measure) -> Flags:
    """Return whether the units of each part count: none still runs, or for some measures few enough do."""
    waiting = parts.count(gave.waiting)
    if not measure.most:
        none: Flags = waiting == 0
        return none
    # What was lost is in at once, and stands for nothing that still runs.
    some = parts.count(gave.adding & (gave.over > 0))
    enough: Flags = (waiting == 0) | (some * MOST.denominator >= MOST.numerator * (some + waiting))
    return enough


def varies(levels: Sequence[Cells]) -> DesignKind:
    """Return where the factor varies. levels: the cells of each that have a value."""
    different = len(soaks_of(levels).used)
    return design_by_counts([len(each) for each in levels if len(each)], different)
