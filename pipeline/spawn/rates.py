"""Spawn rates: which rates were tested on each recipe, with which units, and what each soak says of each rate."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, partial
from typing import TYPE_CHECKING

import numpy as np

from pipeline.compare.collapse import cells as held_cells
from pipeline.compare.design import DesignCell as Held
from pipeline.compare.factors import Levels, least_gap
from pipeline.compare.measures import MEASURES
from pipeline.farm.prices import Prices
from pipeline.models.compared_units import COMPARED_COLUMNS, SPAWN_RATE, ComparedUnits, compared_units
from pipeline.models.groups import groupable
from pipeline.models.spawned_units import SpawnedUnits, spawned_units
from pipeline.models.unit_arrays import Numbers, Whole
from pipeline.stats.estimate import t_critical
from schemas.finding import WrongRequest
from schemas.phrases import did_you_mean

if TYPE_CHECKING:
    from pipeline.models.view import LedgerView

# What makes a recipe, the spawn rate aside: rates are compared where all of these are the same.
RECIPE = ("substrate", "supplement", "treatment", "strain", "spawn_form")
# Rates up to this far above the lowest of them are one: scales and hands are not more exact. Our choice, no source.
SAME_RATE = 1.15


@dataclass(frozen=True)
class RateCell:
    """What one soak says of one rate: sums over its units of that rate that are known.

    be_pct; with_spawn_pct (spawn in the denominator), spawn_per_dry (kg per kg) and margin (money per kg dry
    substrate): None where not known. held: what went into it, as comparisons take it.
    """

    soak: str
    rate: int
    be_pct: float
    with_spawn_pct: float | None
    spawn_per_dry: float | None
    margin: float | None
    held: Held


@dataclass(frozen=True)
class SpawnRecipe:
    """One recipe and its tested rates: what it is called, its units with a rate, the rate of each (its number), the
    rates (% of wet substrate, mean over batches, rising), and the cells that are known; least_gap: from which gap on an
    amount of a factor counts as different between its units.
    """

    called: Mapping[str, str]
    units: SpawnedUnits
    rate: Whole
    rates: tuple[float, ...]
    cells: tuple[RateCell, ...]
    least_gap: Callable[[str], float]

    def of_rate(self, rate: int) -> SpawnedUnits:
        """Return the units that had this rate."""
        return self.units.where(self.rate == rate)

    def at(self, rate: int) -> list[RateCell]:
        """Return what the soaks say of this rate."""
        return [cell for cell in self.cells if cell.rate == rate]


def same_rates(rates: Sequence[float] | Numbers) -> Whole:
    """Return which rates are meant to be the same. A number per rate, from 0 for the lowest: a new one begins above
    SAME_RATE times the lowest of the one before.
    """
    order = np.argsort(np.asarray(rates, dtype=float), kind="stable")
    found = np.zeros(len(order), dtype=np.int64)
    lowest, number = None, -1
    for at in order:
        if lowest is None or rates[at] > SAME_RATE * lowest:
            lowest, number = rates[at], number + 1
        found[at] = number
    return found


def within(texts: Sequence[str]) -> dict[str, str]:
    """Return the columns and values by which units are chosen. texts like "strain=grey". Raises WrongRequest for one
    that names no column or no value.
    """
    found = {}
    for text in texts:
        name, sign, value = (part.strip() for part in text.partition("="))
        if not sign or not name:
            raise WrongRequest(f"--within {text}: write a column and its value, like --within strain=grey.")
        if name not in groupable():
            hint = did_you_mean(name, groupable())
            raise WrongRequest(f"--within {text}: there is no column {name}.{hint}")
        found[name] = value
    return found


def recipes(
    view: LedgerView,
    chosen: Mapping[str, str],
    prices: Prices,
    dry: Mapping[str, float],
) -> list[SpawnRecipe]:
    """Return which rates were tested on which recipes: one entry per recipe with a rate, also where it is the only one.

    view: grouped by the columns that make a recipe; chosen: those that must have this value; dry: dry mass of spawn
    (% of its mass) by form, as declared.
    """
    table, named = spawned_units(view), view.groups()
    traits = compared_units(view.by(*COMPARED_COLUMNS))
    found = []
    for group, called in named.items():
        if any(called[name] != value for name, value in chosen.items()):
            continue
        own = table.where((table.group_id == group) & ~np.isnan(table.rate_wet_pct))
        if len(own):
            found.append(_recipe(called, own, prices, dry, traits))
    return found


def _recipe(
    called: Mapping[str, str],
    own: SpawnedUnits,
    prices: Prices,
    dry: Mapping[str, float],
    traits: ComparedUnits,
) -> SpawnRecipe:
    rate = same_rates(own.rate_wet_pct)
    _, first = np.unique(own.batch_no, return_index=True)
    count = int(rate.max()) + 1
    of_batches, batch_rate = own.rate_wet_pct[first], rate[first]
    rates = tuple(float(of_batches[batch_rate == number].mean()) for number in range(count))
    # Two rates may have one name.
    order = tuple(dict.fromkeys(rate_name(each) for each in rates))
    named = np.array([order.index(rate_name(each)) for each in rates], dtype=np.int64)
    levels = Levels(SPAWN_RATE, named[rate], order)
    rows = traits.where(np.searchsorted(traits.unit, own.unit))
    held = {(each.soak, each.level): each for each in held_cells(rows, levels, MEASURES["be"])}
    cells = _cells(held, rates, rate, own, prices, dry)
    return SpawnRecipe(called, own, rate, rates, cells, cache(partial(least_gap, rows)))


def rate_name(rate: float) -> str:
    """Return what a rate (% of wet substrate) is called."""
    return f"{rate:.1f} %"


def _cells(
    held: Mapping[tuple[str, str], Held],
    rates: Sequence[float],
    rate: Whole,
    units: SpawnedUnits,
    prices: Prices,
    dry: Mapping[str, float],
) -> tuple[RateCell, ...]:
    """The cells of a recipe, by rate and soak. rate: the number of each unit's rate. None of a soak of which too many
    units still run, or none has a dry mass: a soak counts once most of it is in.
    """
    _, first, cell = np.unique(np.stack([rate, units.soak_no]), axis=1, return_index=True, return_inverse=True)
    cell = cell.reshape(-1)
    weighed = np.flatnonzero(~np.isnan(units.dry_g) & units.known)
    total, gave, spawn = (
        np.bincount(cell[weighed], of[weighed], len(first)).tolist()
        for of in (units.dry_g, units.gave_g, units.spawn_g)
    )
    form = np.full(len(first), "", dtype=object)
    form[cell[weighed[::-1]]] = units.spawn_form[weighed[::-1]]
    found = []
    for at, unit in enumerate(first.tolist()):
        number = int(rate[unit])
        own = held[str(units.soak_key[unit]), rate_name(rates[number])]
        if own.value is not None and total[at]:
            share = dry.get(str(form[at]))
            found.append(_cell(own, number, (gave[at], total[at], spawn[at]), share, prices))
    return tuple(found)


def _cell(held: Held, rate: int, sums: tuple[float, float, float], share: float | None, prices: Prices) -> RateCell:
    """The cell of these sums: picked, dry substrate, spawn, in g. share: dry mass of the spawn, % of its mass."""
    gave, total, spawn = sums
    known = not np.isnan(spawn)
    priced = known and prices.price is not None and prices.spawn is not None
    return RateCell(
        held.soak,
        rate,
        100 * gave / total,
        100 * gave / (total + spawn * share / 100) if share and known else None,
        spawn / total if known else None,
        (prices.price or 0.0) * gave / total - (prices.spawn or 0.0) * spawn / total if priced else None,
        held,
    )


def mean_with_limits(values: Sequence[float | None]) -> tuple[float | None, float | None, float | None]:
    """Return the mean over soaks, with its limits at confidence.LEVEL: t(soaks - 1); from two soaks on."""
    known = np.array([value for value in values if value is not None], dtype=float)
    if not len(known):
        return None, None, None
    mean = float(known.mean())
    spread = float(known.std(ddof=1)) if len(known) > 1 else 0.0
    if not spread:
        return mean, None, None
    half = t_critical(len(known) - 1) * spread / len(known) ** 0.5
    return mean, mean - half, mean + half


def known_numbers(values: Numbers) -> list[float]:
    """Return those of the numbers that are there."""
    return [float(value) for value in values if not np.isnan(value)]
