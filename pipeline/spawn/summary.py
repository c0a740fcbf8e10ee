"""The tables of spawn rates: what each rate gave, batch by batch, and a curve through the points for the eye."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.farm.prices import prices
from pipeline.growth import pins
from pipeline.models import unit_arrays as unit_tables
from pipeline.models.unit_arrays import Arrays
from pipeline.spawn.rates import SpawnRecipe, known_numbers, mean_with_limits, recipes
from pipeline.stats.optimum import band
from pipeline.stats.proportions import NoInterval, SoakShares, share_interval

if TYPE_CHECKING:
    from pipeline.models.view import LedgerView, Rows

LEAST_RATES = 4  # for a curve or a best rate: a quadratic through three rates is exact, whatever they are
MEASURED = ("be_pct", "days_to_pins", "lost_pct")
FORMS = ("grain", "sawdust")


@dataclass(frozen=True)
class Spawn:
    """What is asked of spawn rates: the recipes with a rate, and how their units stand to pins."""

    recipes: list[SpawnRecipe]
    pinning: Arrays


def spawn(view: LedgerView, settings: Mapping[str, Any], chosen: Mapping[str, str]) -> Spawn:
    """Return which rates were tested on which recipes. view: grouped by what makes a recipe (rates.RECIPE and more);
    chosen: columns that must have a value.
    """
    dry = {form: settings[f"spawn_dry_pct_{form}"] for form in FORMS if settings[f"spawn_dry_pct_{form}"]}
    return Spawn(recipes(view, chosen, prices(settings), dry), view.arrays("pinned_units"))


def levels(tested: Spawn) -> Rows:
    """What each rate gave. One record per recipe and rate, with the columns of the `spawn_levels` contract."""
    return [
        {**recipe.called, **_level(recipe, rate, tested.pinning)}
        for recipe in tested.recipes
        for rate in range(len(recipe.rates))
    ]


def _level(recipe: SpawnRecipe, rate: int, pinning: Arrays) -> dict[str, Any]:
    units, cells = recipe.of_rate(rate), recipe.at(rate)
    soaks = {cell.soak for cell in cells}
    in_cells = np.array([soak in soaks for soak in units["soak_key"]], dtype=bool)
    be = mean_with_limits([cell.be_pct for cell in cells])
    margin = mean_with_limits([cell.margin for cell in cells])
    rate_dry = known_numbers(units["rate_dry_pct"])
    days = pins.summary(pins.of_units(unit_tables.where(pinning, np.isin(pinning["unit"], units["unit"]))))
    return {
        "rate_wet_pct": recipe.rates[rate],
        "rate_dry_pct": float(np.mean(rate_dry)) if rate_dry else None,
        "soaks": len(soaks),
        "batches": len(set(units["batch"][in_cells])),
        "units": int(in_cells.sum()),
        "units_not_yet": int((~units["known"]).sum()),
        "units_without_dry_mass": int((np.isnan(units["dry_g"]) & units["known"]).sum()),
        "pickings_set_aside": int(units["rejected"].max(initial=0)),
        "be_pct": be[0],
        "be_low_pct": None if be[1] is None else max(0.0, be[1]),
        "be_high_pct": be[2],
        "be_with_spawn_pct": mean_with_limits([cell.with_spawn_pct for cell in cells])[0],
        "median_days_to_pins": days["median_days"],
        "median_low_days": days["median_low_days"],
        "median_high_days": days["median_high_days"],
        **_lost(units),
        "margin_per_kg_dry": margin[0],
        "margin_low": margin[1],
        "margin_high": margin[2],
    }


def _lost(units: Arrays) -> dict[str, Any]:
    known = unit_tables.where(units, units["fate_known"])
    count = len(known["unit"])
    shares = [100 * float(of["lost"].mean()) for of in unit_tables.parts(known, "soak_no")]
    found = share_interval(
        SoakShares(
            len(shares),
            float(np.mean(shares)) if shares else None,
            float(np.std(shares, ddof=1)) if len(shares) > 1 else None,
            min(shares, default=None),
            max(shares, default=None),
        )
    )
    low, high = (None, None) if isinstance(found, NoInterval) else found
    return {
        "lost": int(known["lost"].sum()),
        "lost_pct": 100 * float(known["lost"].sum()) / count if count else None,
        "lost_low_pct": low,
        "lost_high_pct": high,
    }


def points(tested: Spawn) -> Rows:
    """What each batch gave at its rate. One record per batch, with the columns of the `spawn_points` contract."""
    return [{**recipe.called, **point} for recipe in tested.recipes for point, _ in _points(recipe)]


def _points(recipe: SpawnRecipe) -> list[tuple[dict[str, Any], str]]:
    """The points of a recipe, each with its soak's key."""
    table = {**recipe.units, "level": recipe.rate}
    found = [
        (_point(units, recipe.rates[int(units["level"][0])]), str(units["soak_key"][0]))
        for units in unit_tables.parts(table, "batch_no")
    ]
    return sorted(found, key=lambda each: str(each[0]["batch"]))


def _point(units: Arrays, level: float) -> dict[str, Any]:
    known = bool(units["known"].all())
    weighed = ~np.isnan(units["dry_g"])
    dry = float(units["dry_g"][weighed].sum())
    fates = units["fate_known"]
    days = known_numbers(units["days_to_pins"])
    rate_dry = known_numbers(units["rate_dry_pct"])
    return {
        "batch": str(units["batch"][0]),
        "soak": str(units["soak_key"][0]).split(" ", 1)[1],
        "rate_wet_pct": float(units["rate_wet_pct"][0]),
        "rate_dry_pct": rate_dry[0] if rate_dry else None,
        "level_wet_pct": level,
        "units": len(units["unit"]),
        "known": known,
        "be_pct": 100 * float(units["gave_g"][weighed].sum()) / dry if known and dry else None,
        "days_to_pins": float(np.median(days)) if days else None,
        "lost_pct": 100 * float(units["lost"][fates].mean()) if fates.any() else None,
    }


def curves(tested: Spawn) -> Rows:
    """The curve that runs through the batches, for the eye. One record per recipe, measure and place on it, with the
    columns of the `spawn_curves` contract; nothing below four rates.
    """
    rows = []
    for recipe in tested.recipes:
        if len(recipe.rates) < LEAST_RATES:
            continue
        known = _points(recipe)
        for measure in MEASURED:
            rows += [{**recipe.called, "measure": measure, **place} for place in _curve(known, measure)]
    return rows


def _curve(known: list[tuple[dict[str, Any], str]], measure: str) -> Rows:
    seen = [(row, soak) for row, soak in known if row[measure] is not None]
    if not seen:
        return []
    found = band(
        np.array([row["rate_wet_pct"] for row, _ in seen]),
        np.array([row[measure] for row, _ in seen]),
        [soak for _, soak in seen],
    )
    if found is None:
        return []
    return [
        {"rate_wet_pct": x, "value": y, "low": low, "high": high}
        for x, y, low, high in zip(*(each.tolist() for each in (found.x, found.y, found.low, found.high)), strict=True)
    ]
