"""Does the difference hold? Every factor that varies on the farm, compared, for a report that is read again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pipeline.compare.comparison import Asked, Comparison, compare
from pipeline.compare.factors import SPAWN_RATE, known_level, levels
from pipeline.compare.measures import measure_of
from pipeline.compare.tables import Rows, level_rows, pair_rows
from pipeline.compare.text import heading, measured
from pipeline.compare.verdicts import CANNOT_TELL
from pipeline.models.compared_units import FarmUnits
from schemas.finding import WrongRequest

# What growers choose between. Numbers that merely come along are asked for by name.
OF_BATCHES = ("substrate", "strain", "treatment", "supplement", "spawn_form", SPAWN_RATE)
STANDING_FACTORS = (*OF_BATCHES, "kind", "volume_l", "holes_open", "room")
# A page that is looked at again after every batch raises more false alarms than 5 %, so its intervals are wider (R9).
STANDING_LEVEL = 0.99


@dataclass(frozen=True)
class Standing:
    """One factor of the report: what is measured, its heading, both tables, and its sentences, what holds first.
    open_pairs: how many pairs cannot be told.
    """

    factor: str
    measure: str
    heading: str
    levels: Rows
    pairs: Rows
    sentences: tuple[str, ...]
    open_pairs: int


def standing(
    units: FarmUnits,
    settings: Mapping[str, Any],
    measure: str = "be",
    factors: Sequence[str] = STANDING_FACTORS,
    within: tuple[tuple[str, str], ...] = (),
) -> list[Standing]:
    """Which differences between recipes and containers hold on this farm? One entry per factor that has two levels with
    a figure, with 99 % intervals. Call units.farm_units first. Raises WrongRequest for a label that does not exist.
    """
    for name, label in within:
        known_level(label, levels(units.rows, name), "--within")
    found = []
    for factor in factors:
        try:
            asked = Asked(factor, measure_of(measure, units.to_day), within, level=STANDING_LEVEL)
            answer = compare(units, asked, settings)
        except WrongRequest:
            continue  # numbers without a gap: nobody said where to part them
        if sum(bool(level.used) for level in answer.levels) > 1:
            found.append(_told(factor, answer))
    return found


def _told(factor: str, answer: Comparison) -> Standing:
    pairs = pair_rows(answer)
    held = [row for row in pairs if row["verdict"] != CANNOT_TELL]
    nearly = [row for row in pairs if row["verdict"] == CANNOT_TELL]
    sentences = tuple(str(row["sentence"]) for row in (*held, *nearly))
    measure = measured(answer.asked.measure, answer.units)
    return Standing(factor, measure, heading(answer), level_rows(answer), pairs, sentences, len(nearly))
