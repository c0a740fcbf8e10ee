"""Units of invented farms, made without files, so that thousands of farms go through the code of compare."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np

from pipeline.compare.factors import FACTORS
from pipeline.farm.settings import default_settings
from pipeline.models.compared_units import COMPARED_COLUMNS, MONTH, ComparedUnit, FarmUnits, MeasureParts
from schemas.answers import ComparedMeasure

FIRST = date(2026, 1, 5)
LAST = date(2030, 12, 31)
SETTINGS = default_settings() | {
    "worthwhile_be_points": 10.0,
    "worthwhile_days": 2.0,
    "worthwhile_pins_points": 10.0,
    "worthwhile_decline_points": 10.0,
    "worthwhile_losses_points": 5.0,
    "worthwhile_culled_points": 5.0,
    "worthwhile_late_points": 5.0,
    "worthwhile_kg_pct": 10.0,
}


def unit(name: str, soak: str, be: float, on: date, **cells: str) -> ComparedUnit:
    """A finished container with this BE (%), of 1 kg of dry substrate; cells: what went into it."""
    texts = dict.fromkeys((*COMPARED_COLUMNS, *FACTORS), "") | {MONTH: f"{on:%Y-%m}"} | cells
    parts = {each.value: MeasureParts(0.0, None, True) for each in ComparedMeasure}
    parts["be"] = MeasureParts(be / 100, 1.0, True)
    return ComparedUnit(name, soak, f"soak {soak}", on, texts, parts)


def soak_units(
    at: int, cells: Sequence[dict[str, str]], means: Sequence[float], containers: int, sd: float,
    dice: np.random.Generator, on: date | None = None,
) -> list[ComparedUnit]:  # fmt: skip
    """The containers of one soak: of each of its parts (its cells and its mean BE) so many, with this SD among them."""
    start = on or FIRST + timedelta(days=9 * at)
    return [
        unit(f"u{at}-{part}-{number}", f"s{at}", float(be), start, **own)
        for part, (own, mean) in enumerate(zip(cells, means, strict=True))
        for number, be in enumerate(mean + sd * dice.standard_normal(containers))
    ]


def farm(rows: Sequence[ComparedUnit]) -> FarmUnits:
    """These units as a farm, all of it finished."""
    return FarmUnits(LAST, 2, None, rows, 1.0)
