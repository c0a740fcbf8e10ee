"""The result tables of growth on a farm, for tests of what all result tables promise."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from pipeline.compare.columns import Cells
from pipeline.growth import another_flush, flushes, pins
from pipeline.models.compared_columns import Labels
from pipeline.models.pinned_units import pinned_units
from pipeline.models.spawned_units import SpawnedUnits
from pipeline.models.view import LedgerView
from pipeline.spawn import summary as spawn
from pipeline.spawn.best_rate import best
from pipeline.spawn.rates import RateCells, SpawnRecipe
from pipeline.spawn.steps import steps
from pipeline.stats.incidence import pseudo_values

PRICES = {"price_per_kg": 10.0, "spawn_cost_per_kg": 4.0, "spawn_dry_pct_grain": 55.0}


def four_rates() -> spawn.Spawn:
    """A recipe of eight batches, each a soak, at four rates: the demo farm has only three."""
    rates = np.array([5.0, 10, 20, 30] * 2)
    every, yes, nothing = np.arange(8), np.ones(8, dtype=bool), np.zeros(8)
    names = Labels.of([f"B{at}" for at in range(8)])
    units = SpawnedUnits(
        unit=every.astype(np.uint64),
        group_id=np.zeros(8, dtype=int),
        batch_line=every.astype(np.uint64),
        batch_no=every,
        soak_no=every,
        inoculated_on=np.full(8, np.datetime64("2026-01-05")),
        rate_wet_pct=rates,
        rate_dry_pct=rates * 3,
        dry_g=np.full(8, 3000.0),
        spawn_g=rates * 100,
        known=yes,
        gave_g=np.array([1500.0, 2000, 2300, 2200, 1600, 2100, 2200, 2300]),
        followed_g=nothing,
        followed=yes,
        fate_known=yes,
        lost=~yes,
        pins_fate=np.array(["noted"] * 8, dtype=object),
        pins_days=26 - rates / 5,
        rejected=np.zeros(8, dtype=int),
    )
    number = np.array([0, 1, 2, 3] * 2)
    none = RateCells(Cells(), *(np.zeros(0, dtype=int) for _ in range(2)), *(np.zeros(0) for _ in range(4)))
    recipe = SpawnRecipe({"substrate": "straw"}, units, number, (5.0, 10.0, 20.0, 30.0), none, lambda _: 0.0)
    return spawn.Spawn([recipe], names, names.renamed([f"batch {name}" for name in names.texts]))


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
        "spawn_curves": spawn.curves(four_rates()),
    }


def pinned_by_soak(view: LedgerView, day: int) -> dict[tuple[int, str], float]:
    """What each soak says of the share pinned by `day` (%), by its group and name: a pseudo-value, so it may lie beside
    0 to 100. Pooled over all groups.
    """
    units = pinned_units(view)
    batches = "select line, soak_key from batches"
    soak_of = dict(view.connection.execute(batches).fetchall())
    of_group = [pins.of_units(each) for each in units.parts(units.group_id)]
    groups = np.unique(units.group_id).tolist()
    apart = int(units.soak_no.max()) + 1
    values = pseudo_values(
        np.concatenate([each.days for each in of_group]),
        np.concatenate([each.ends for each in of_group]),
        np.concatenate([group * apart + each.soaks for group, each in zip(groups, of_group, strict=True)]),
        day,
        np.concatenate([each.stands_for for each in of_group]),
    )
    called = {no: soak_of[line] for no, line in zip(units.soak_no.tolist(), units.batch_line.tolist(), strict=True)}
    return {(number // apart, called[number % apart]): 100 * value for number, value in values.items()}
