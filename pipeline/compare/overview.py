"""An overview: every factor that varies on the farm, compared, for a report that is read again and again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.compare.comparison import Comparison, compare
from pipeline.compare.factors import REPORTED, known_level, levels
from pipeline.compare.leaning import farm_spread
from pipeline.compare.measures import measure_of
from pipeline.compare.money import check_prices
from pipeline.compare.query import ComparisonQuery
from pipeline.compare.tables import level_rows, pair_rows
from pipeline.compare.text import heading, measured
from pipeline.farm.settings import Settings
from pipeline.models.compared_units import FarmUnits
from pipeline.models.view import Rows
from schemas.finding import WrongRequest


@dataclass(frozen=True)
class Overview:
    """One factor of the report: what is measured, its heading, and both tables. open_pairs: how many have no answer."""

    factor: str
    measure: str
    heading: str
    levels: Rows
    pairs: Rows
    open_pairs: int


def overview(
    units: FarmUnits,
    settings: Settings,
    measure: str = "be",
    factors: Sequence[str] = REPORTED,
    within: tuple[tuple[str, str], ...] = (),
) -> list[Overview]:
    """Return the differences between recipes and containers of this farm: one entry per factor that has two levels with
    a figure, with intervals that hold at all looks together. Raises WrongRequest for a label that does not exist, and
    for money without prices.
    """
    check_prices(measure_of(measure), units)
    for name, label in within:
        known_level(label, levels(units.rows, name), "--within")
    found = []
    spread = farm_spread(units.rows, measure_of(measure)) if measure == "be" else None
    for factor in factors:
        try:
            query = ComparisonQuery(factor, measure_of(measure, units.to_day), within, often=True)
            answer = compare(units, query, settings, spread)
        except WrongRequest:
            continue  # numbers without a gap: nobody said where to part them
        if sum(bool(level.used) for level in answer.levels) > 1:
            found.append(_of_factor(factor, answer))
    return found


def without_a_gap(units: FarmUnits, factors: Sequence[str] = REPORTED) -> list[str]:
    """Return what is said of each factor whose numbers leave no gap, so that nobody said where to part them."""
    found = []
    for factor in factors:
        try:
            levels(units.rows, factor)
        except WrongRequest as refused:
            found.append(str(refused))
    return found


def _of_factor(factor: str, answer: Comparison) -> Overview:
    open_pairs = sum(not each.judgement.answered for each in answer.pairs)
    measure = measured(answer.query.measure, answer.units)
    return Overview(factor, measure, heading(answer), level_rows(answer), pair_rows(answer), open_pairs)
