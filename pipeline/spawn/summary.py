"""The tables of spawn rates: what each rate gave, batch by batch, and a curve through the points for the eye."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from pipeline.farm.prices import prices
from pipeline.farm.settings import Settings, number
from pipeline.growth import pins
from pipeline.models.compared_columns import Labels
from pipeline.models.pinned_units import WaitsForPins
from pipeline.models.spawned_units import SpawnedUnits, spawned_farm
from pipeline.models.unit_arrays import Numbers, Whole
from pipeline.spawn.rates import SpawnRecipe, known_numbers, mean_with_limits, recipes
from pipeline.stats.proportions import NoInterval, SoakShares, share_interval

if TYPE_CHECKING:
    from pipeline.models.view import LedgerView
    from schemas.result_rows import ResultRow, ResultRows

LEAST_RATES = 4  # for a curve or a best rate: a quadratic through three rates is exact, whatever they are
FORMS = ("grain", "sawdust")


@dataclass(frozen=True)
class Spawn:
    """What is asked of spawn rates: the recipes with a rate, and what their batches are called, by their numbers."""

    recipes: list[SpawnRecipe]
    batches: Labels
    soaks: Labels

    @cached_property
    def _points(self) -> dict[int, list[tuple[SpawnPoint, str]]]:
        return {}

    def points_of(self, at: int) -> list[tuple[SpawnPoint, str]]:
        """Return the points of a recipe, by the names of their batches, each with its soak's key. at: its place."""
        if at not in self._points:
            self._points[at] = _points(self, self.recipes[at])
        return self._points[at]


def spawn(view: LedgerView, settings: Settings, chosen: Mapping[str, str]) -> Spawn:
    """Return which rates were tested on which recipes. view: grouped by what makes a recipe (rates.RECIPE and more);
    chosen: columns that must have a value.
    """
    dry = {form: number(settings, f"spawn_dry_pct_{form}") for form in FORMS if settings[f"spawn_dry_pct_{form}"]}
    farm = spawned_farm(view)
    return Spawn(recipes(farm, chosen, prices(settings), dry), farm.batches.batches, farm.batches.soaks)


def levels(tested: Spawn) -> ResultRows:
    """What each rate gave. One record per recipe and rate, with the columns of the `spawn_levels` contract."""
    return [{**recipe.called, **_level(recipe, rate)} for recipe in tested.recipes for rate in range(len(recipe.rates))]


def _level(recipe: SpawnRecipe, rate: int) -> ResultRow:
    units, cells = recipe.of_rate(rate), recipe.cells
    own = cells.rate == rate
    in_cells = np.isin(units.soak_no, cells.soak_no[own])
    be, margin = mean_with_limits(cells.be_pct[own]), mean_with_limits(cells.margin[own])
    rate_dry = known_numbers(units.rate_dry_pct)
    days = pins.summary(pins.of_units(_waits(units)))
    return {
        "rate_wet_pct": recipe.rates[rate],
        "rate_dry_pct": float(np.mean(rate_dry)) if len(rate_dry) else None,
        "soaks": int(own.sum()),
        "batches": len(np.unique(units.batch_no[in_cells])),
        "units": int(in_cells.sum()),
        "units_not_yet": int((~units.known).sum()),
        "units_without_dry_mass": int((np.isnan(units.dry_g) & units.known).sum()),
        "pickings_set_aside": int(units.rejected.max(initial=0)),
        "be_pct": be[0],
        "be_low_pct": None if be[1] is None else max(0.0, be[1]),
        "be_high_pct": be[2],
        "be_with_spawn_pct": mean_with_limits(cells.with_spawn_pct[own])[0],
        "median_days_to_pins": days["median_days"],
        "median_low_days": days["median_low_days"],
        "median_high_days": days["median_high_days"],
        **_lost(units),
        "margin_per_kg_dry": margin[0],
        "margin_low": margin[1],
        "margin_high": margin[2],
    }


def _waits(units: SpawnedUnits) -> WaitsForPins:
    """How the units of dated batches stand to their pins."""
    dated = units.where(~np.isnat(units.inoculated_on))
    return WaitsForPins(dated.batch_line, dated.soak_no, dated.pins_fate, dated.pins_days)


def _lost(units: SpawnedUnits) -> ResultRow:
    known = units.where(units.fate_known)
    count = len(known)
    _, soak = np.unique(known.soak_no, return_inverse=True)
    shares = (100 * (np.bincount(soak, known.lost) / np.bincount(soak))).tolist()
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
        "lost": int(known.lost.sum()),
        "lost_pct": 100 * float(known.lost.sum()) / count if count else None,
        "lost_low_pct": low,
        "lost_high_pct": high,
    }


@dataclass(frozen=True)
class SpawnPoint:
    """What a batch gave at its rate: the columns of the `spawn_points` contract beside those of its recipe."""

    batch: str
    soak: str
    rate_wet_pct: float
    rate_dry_pct: float | None
    level_wet_pct: float
    units: int
    known: bool
    be_pct: float | None
    days_to_pins: float | None
    lost_pct: float | None


# What the curves are drawn of, by the names of the columns.
MEASURED: Mapping[str, Callable[[SpawnPoint], float | None]] = {
    "be_pct": lambda point: point.be_pct,
    "days_to_pins": lambda point: point.days_to_pins,
    "lost_pct": lambda point: point.lost_pct,
}


def points(tested: Spawn) -> ResultRows:
    """What each batch gave at its rate. One record per batch, with the columns of the `spawn_points` contract."""
    recipes = enumerate(tested.recipes)
    return [{**recipe.called, **vars(point)} for at, recipe in recipes for point, _ in tested.points_of(at)]


def _points(tested: Spawn, recipe: SpawnRecipe) -> list[tuple[SpawnPoint, str]]:
    units = recipe.units.where(np.argsort(recipe.units.batch_no, kind="stable"))
    _, begins, counts = np.unique(units.batch_no, return_index=True, return_counts=True)
    _, first = np.unique(recipe.units.batch_no, return_index=True)
    weighed, lost = ~np.isnan(units.dry_g), units.lost & units.fate_known
    dry = np.add.reduceat(np.where(weighed, units.dry_g, 0.0), begins)
    gave = np.add.reduceat(np.where(weighed, units.gave_g, 0.0), begins)
    fates, losses = (np.add.reduceat(each, begins, dtype=np.int64) for each in (units.fate_known, lost))
    found = [
        (
            SpawnPoint(
                batch=tested.batches.texts[tested.batches.codes[batch]],
                soak=tested.soaks.texts[soak].split(" ", 1)[1],
                rate_wet_pct=rate_wet,
                rate_dry_pct=None if math.isnan(rate_dry) else rate_dry,
                level_wet_pct=recipe.rates[level],
                units=count,
                known=known,
                be_pct=100 * gave_g / dry_g if known and dry_g else None,
                days_to_pins=days,
                lost_pct=100 * (losses_of / fates_of) if fates_of else None,
            ),
            tested.soaks.texts[soak],
        )
        for count, days, batch, soak, level, rate_wet, rate_dry, known, gave_g, dry_g, fates_of, losses_of in zip(
            counts.tolist(),
            _medians(units.days_to_pins, begins, counts),
            units.batch_no[begins].tolist(),
            units.soak_no[begins].tolist(),
            recipe.rate[first].tolist(),
            units.rate_wet_pct[begins].tolist(),
            np.fmax.reduceat(units.rate_dry_pct, begins).tolist(),
            np.logical_and.reduceat(units.known, begins).tolist(),
            *(each.tolist() for each in (gave, dry, fates, losses)),
            strict=True,
        )
    ]
    return sorted(found, key=lambda each: each[0].batch)


def _medians(values: Numbers, begins: Whole, counts: Whole) -> list[float | None]:
    """The median of each part's values that are there. begins, counts: where each part begins, and how many it has."""
    part = np.repeat(np.arange(len(begins)), counts)
    rising = values[np.lexsort((values, part))]  # nan behind all others
    known = np.bincount(part[~np.isnan(values)], minlength=len(begins))
    low, high = (rising[begins + np.maximum(at, 0)] for at in ((known - 1) // 2, known // 2 * (known > 0)))
    medians = ((low + high) / 2).tolist()
    return [median if count else None for median, count in zip(medians, known.tolist(), strict=True)]


def curves(tested: Spawn) -> ResultRows:
    """The curve that runs through the batches, for the eye. One record per recipe, measure and place on it, with the
    columns of the `spawn_curves` contract; nothing below four rates.
    """
    rows = []
    for at, recipe in enumerate(tested.recipes):
        if len(recipe.rates) < LEAST_RATES:
            continue
        known = tested.points_of(at)
        for measure, of in MEASURED.items():
            measured = [(point.rate_wet_pct, value, soak) for point, soak in known if (value := of(point)) is not None]
            rows += [{**recipe.called, "measure": measure, **place} for place in _curve(measured)]
    return rows


def _curve(measured: Sequence[tuple[float, float, str]]) -> list[ResultRow]:
    """The places on the curve through these points: each a rate, a value and the key of its soak."""
    if not measured:
        return []
    from pipeline.stats.optimum import band

    rates, values, soaks = zip(*measured, strict=True)
    found = band(np.array(rates), np.array(values), list(soaks))
    if found is None:
        return []
    return [
        {"rate_wet_pct": x, "value": y, "low": low, "high": high}
        for x, y, low, high in zip(*(each.tolist() for each in (found.x, found.y, found.low, found.high)), strict=True)
    ]
