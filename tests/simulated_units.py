"""Units of invented farms, made without files, so that thousands of farms go through the code of compare."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import NamedTuple

import numpy as np

from pipeline.compare.factors import FACTORS
from pipeline.farm.settings import default_settings
from pipeline.models.compared_columns import Labels, MeasureParts, UnitStarts, UnitWaits
from pipeline.models.compared_units import COMPARED_COLUMNS, MONTH, WAITS, ComparedUnits, FarmUnits
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


class Gave(NamedTuple):
    """What one container adds to the two sums of a measure: see MeasureParts. under None: nothing to divide by."""

    over: float
    under: float | None
    resolved: bool


class Waited(NamedTuple):
    """How one container stands to what it waits for: see UnitWaits."""

    fate: str
    day: float
    batch: int


@dataclass(frozen=True)
class Container:
    """One container of an invented farm: see ComparedUnits."""

    unit: str
    batch: str
    soak: str
    inoculated_on: date
    cells: Mapping[str, str]
    parts: Mapping[str, Gave] = field(default_factory=dict)
    waits: Mapping[str, Waited] = field(default_factory=dict)


NOTHING = Gave(0.0, None, True)


def table(rows: Sequence[Container]) -> ComparedUnits:
    """These containers as compare takes them. Their names are in the order of their lines."""
    ranks = {name: at for at, name in enumerate(sorted(row.unit for row in rows))}
    nowhere = np.full(len(rows), np.nan)
    nothing = np.zeros(len(rows), dtype=np.int64)
    names = rows[0].cells if rows else (*COMPARED_COLUMNS, *FACTORS, MONTH)
    return ComparedUnits(
        np.array([10**9 + ranks[row.unit] for row in rows], dtype=np.uint64),
        Labels.of([row.batch for row in rows]),
        Labels.of([row.soak for row in rows]),
        np.array([row.inoculated_on for row in rows], dtype="datetime64[D]"),
        {name: Labels.of([row.cells[name] for row in rows]) for name in names},
        {each.value: parts([row.parts.get(each.value, NOTHING) for row in rows]) for each in ComparedMeasure},
        {name: _waits([row.waits.get(name) for row in rows]) for name in WAITS},
        UnitStarts(nowhere, nowhere, nowhere),
        Labels.of([""] * len(rows)),
        nothing,
        nothing,
    )


def parts(gave: Sequence[Gave]) -> MeasureParts:
    """What these containers add to the sums of one measure."""
    under = np.array([np.nan if each.under is None else each.under for each in gave], dtype=float)
    return MeasureParts(
        np.array([each.over for each in gave], dtype=float),
        under,
        np.array([each.resolved for each in gave], dtype=bool),
    )


def _waits(waited: Sequence[Waited | None]) -> UnitWaits:
    return UnitWaits(
        np.array([each.fate if each else None for each in waited], dtype=object),
        np.array([each.day if each else np.nan for each in waited], dtype=float),
        np.array([each.batch if each else 0 for each in waited], dtype=np.uint64),
    )


def unit(name: str, soak: str, be: float, on: date, **cells: str) -> Container:
    """A finished container with this BE (%), of 1 kg of dry substrate; cells: what went into it."""
    texts = dict.fromkeys((*COMPARED_COLUMNS, *FACTORS), "") | {MONTH: f"{on:%Y-%m}"} | cells
    gave = {each.value: NOTHING for each in ComparedMeasure} | {"be": Gave(be / 100, 1.0, True)}
    return Container(name, soak, f"soak {soak}", on, texts, gave)


def soak_units(
    at: int, cells: Sequence[dict[str, str]], means: Sequence[float], containers: int, sd: float,
    dice: np.random.Generator, on: date | None = None,
) -> list[Container]:  # fmt: skip
    """The containers of one soak: of each of its parts (its cells and its mean BE) so many, with this SD among them."""
    start = on or FIRST + timedelta(days=9 * at)
    return [
        unit(f"u{at}-{part}-{number}", f"s{at}", float(be), start, **own)
        for part, (own, mean) in enumerate(zip(cells, means, strict=True))
        for number, be in enumerate(mean + sd * dice.standard_normal(containers))
    ]


def farm(rows: Sequence[Container]) -> FarmUnits:
    """These units as a farm, all of it finished."""
    return FarmUnits(LAST, 2, None, table(rows), 1.0)
