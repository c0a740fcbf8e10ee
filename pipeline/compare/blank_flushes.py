"""Levels of which flush numbers are too unsure to say what one flush is against another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline.compare.design import DesignCell
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


def without(found: Sequence[DesignCell], unsure: dict[str, str]) -> list[DesignCell]:
    """Return the cells, those of these levels without a value: none of them counts, or waits."""
    return [replace(each, value=None, units_not_yet=0) if each.level in unsure else each for each in found]
