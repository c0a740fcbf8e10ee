"""The result tables of growth on a farm, for tests of what all result tables promise."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from pipeline.growth import another_flush, flushes, pins
from pipeline.models.pinned_units import pinned_units
from pipeline.models.spawned_units import SpawnedUnits
from pipeline.models.view import LedgerView
from pipeline.spawn import summary as spawn
from pipeline.spawn.best_rate import best
from pipeline.spawn.rates import SpawnRecipe
from pipeline.spawn.steps import steps

PRICES = {"price_per_kg": 10.0, "spawn_cost_per_kg": 4.0, "spawn_dry_pct_grain": 55.0}


def four_rates() -> SpawnRecipe:
    """A recipe of eight batches, each a soak, at four rates: the demo farm has only three."""
    rates = np.array([5.0, 10, 20, 30] * 2)
    names = np.array([f"B{at}" for at in range(8)], dtype=object)
    units = SpawnedUnits(
        unit=np.arange(8, dtype=np.uint64),
        group_id=np.zeros(8, dtype=int),
        batch=names,
        batch_no=np.arange(8),
        soak_key=np.array([f"batch {name}" for name in names], dtype=object),
        soak_no=np.arange(8),
        spawn_form=np.array(["grain"] * 8, dtype=object),
        rate_wet_pct=rates,
        rate_dry_pct=rates * 3,
        dry_g=np.full(8, 3000.0),
        spawn_g=rates * 100,
        known=np.ones(8, dtype=bool),
        gave_g=np.array([1500.0, 2000, 2300, 2200, 1600, 2100, 2200, 2300]),
        fate_known=np.ones(8, dtype=bool),
        lost=np.zeros(8, dtype=bool),
        days_to_pins=26 - rates / 5,
        rejected=np.zeros(8, dtype=int),
    )
    return SpawnRecipe(
        {"substrate": "straw"}, units, np.array([0, 1, 2, 3] * 2), (5.0, 10.0, 20.0, 30.0), (), lambda _: 0.0
    )


def growth_tables(view: LedgerView, settings: Mapping[str, Any]) -> dict[str, list[dict[str, Any]]]:
    """Every result table of growth, by the columns of the view."""
    priced = {**settings, **PRICES}
    asked = spawn.spawn(view, priced, {})
    return {
        "flushes": flushes.flushes(view),
        "declines": flushes.declines(view),
        "pins": pins.pins(view),
        "pins_curve": pins.pins_curve(view),
        "another_flush": another_flush.another_flush(view, priced),
        "given_so_far": another_flush.given_so_far(view),
        "spawn_levels": spawn.levels(asked),
        "spawn_steps": steps(asked),
        "spawn_best": best(asked),
        "spawn_points": spawn.points(asked),
        "spawn_curves": spawn.curves(spawn.Spawn([four_rates()], pinned_units(view))),
    }
