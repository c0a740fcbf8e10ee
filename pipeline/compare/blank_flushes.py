"""Levels of which flush numbers are too unsure to say what one flush is against another."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.compare.columns import Cells
from pipeline.compare.factors import Levels
from pipeline.compare.measures import Measure
from pipeline.models.compared_units import ComparedUnits
from pipeline.models.flush_rule import FlushRule


def unsure_levels(units: ComparedUnits, of: Levels, measure: Measure, rule: FlushRule | None) -> dict[str, str]:
    """Return why each level has no figure of a measure between flushes: too many of its flush numbers are derived by a
    rule that is too unsure, as in the decline of `flushes`.
    """
    if rule is None or not measure.between_flushes:
        return {}
    counts = {
        level: (units.pickings[at].sum(), units.pickings_derived[at].sum())
        for level in of.order
        if (at := of.at(level)).any()
    }
    doubts = {level: rule.doubt(float(derived / all_)) for level, (all_, derived) in counts.items() if all_}
    return {level: why for level, why in doubts.items() if why}


def without(found: Cells, unsure: dict[str, str]) -> Cells:
    """Return the cells, those of these levels without a value: none of them counts, or waits."""
    if not unsure:
        return found
    table = found.table
    out = np.isin(table.levels, [at for at, level in enumerate(table.order) if level in unsure])
    values, running = np.where(out, np.nan, table.values), np.where(out, 0, table.units_not_yet)
    return Cells.of(replace(table, values=values, units_not_yet=running), found.at)
