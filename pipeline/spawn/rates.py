"""Spawn rates: which rates were tested on each recipe, with which units, and what each soak says of each rate."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, partial
from typing import TYPE_CHECKING

import numpy as np

from pipeline.compare.collapse import cells as held_cells
from pipeline.compare.columns import Cells
from pipeline.compare.factors import Levels, least_gap
from pipeline.compare.measures import MEASURES
from pipeline.farm.prices import Prices
from pipeline.models.compared_units import SPAWN_RATE
from pipeline.models.groups import groupable
from pipeline.models.spawned_units import SpawnedFarm, SpawnedUnits
from pipeline.models.unit_arrays import Numbers, Whole
from pipeline.stats.estimate import t_critical
from schemas.finding import WrongRequest
from schemas.phrases import did_you_mean

if TYPE_CHECKING:
    from pipeline.compare.candidates import PairCandidate

# What makes a recipe, the spawn rate aside: rates are compared where all of these are the same.
RECIPE = ("substrate", "supplement", "treatment", "strain", "spawn_form")
# Rates up to this far above the lowest of them are one: scales and hands are not more exact. Our choice, no source.
SAME_RATE = 1.15


@dataclass(frozen=True)
class RateCells:
    """What the soaks say of the rates, one entry per soak and rate with units that are known: sums over these.

    held: what went into each, as comparisons take it; rate: its number; soak_no: its soak's; be_pct; with_spawn_pct
    (spawn in the denominator), spawn_per_dry (kg per kg) and margin (money per kg dry substrate): nan where not known.
    """

    held: Cells
    rate: Whole
    soak_no: Whole
    be_pct: Numbers
    with_spawn_pct: Numbers
    spawn_per_dry: Numbers
    margin: Numbers

    def __len__(self) -> int:
        return len(self.rate)

    def worth(self, values: Numbers) -> Cells:
        """Return them as comparisons take them, with these values; without those that have none."""
        of_table = np.full(len(self.held.table.values), np.nan)
        of_table[self.held.at] = values
        table = replace(self.held.table, values=of_table)
        return Cells.of(table, self.held.at[~np.isnan(values)])


@dataclass(frozen=True)
class SpawnRecipe:
    """One recipe and its tested rates: what it is called, its units with a rate, the rate of each (its number), the
    rates (% of wet substrate, mean over batches, rising), and the cells that are known; least_gap: from which gap on an
    amount of a factor counts as different between its units; judged: its pairs of rates by the column of the cells,
    once they are asked for (confounding.judged_rates).
    """

    called: Mapping[str, str]
    units: SpawnedUnits
    rate: Whole
    rates: tuple[float, ...]
    cells: RateCells
    least_gap: Callable[[str], float]
    judged: dict[str, dict[tuple[int, int], PairCandidate]] = field(default_factory=dict)

    def of_rate(self, rate: int) -> SpawnedUnits:
        """Return the units that had this rate."""
        return self.units.where(self.rate == rate)


def same_rates(rates: Sequence[float] | Numbers) -> Whole:
    """Return which rates are meant to be the same. A number per rate, from 0 for the lowest: a new one begins above
    SAME_RATE times the lowest of the one before.
    """
    different, of_each = np.unique(np.asarray(rates, dtype=float), return_inverse=True)
    numbers: list[int] = []
    lowest = -np.inf
    for rate in different.tolist():
        is_new = not numbers or rate > SAME_RATE * lowest
        numbers.append((numbers[-1] + is_new) if numbers else 0)
        lowest = rate if is_new else lowest
    return np.array(numbers, dtype=np.int64)[of_each]


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
    farm: SpawnedFarm, chosen: Mapping[str, str], prices: Prices, dry: Mapping[str, float]
) -> list[SpawnRecipe]:
    """Return which rates were tested on which recipes: one entry per recipe with a rate, also where it is the only one.

    farm: read by the columns that make a recipe; chosen: those that must have this value; dry: dry mass of spawn (% of
    its mass) by form, as declared.
    """
    found = []
    for group, called in farm.groups.items():
        if any(called[name] != value for name, value in chosen.items()):
            continue
        own = farm.units.where((farm.units.group_id == group) & ~np.isnan(farm.units.rate_wet_pct))
        if len(own):
            found.append(_recipe(called, own, prices, dry, farm))
    return found


def _recipe(
    called: Mapping[str, str], own: SpawnedUnits, prices: Prices, dry: Mapping[str, float], farm: SpawnedFarm
) -> SpawnRecipe:
    rate = same_rates(own.rate_wet_pct)
    _, first = np.unique(own.batch_no, return_index=True)
    of_batches, batch_rate = own.rate_wet_pct[first], rate[first]
    rates = tuple(float(of_batches[batch_rate == number].mean()) for number in range(int(rate.max()) + 1))
    # What went into them is asked for where rates are held against each other.
    rows = farm.compared(own, with_cells=len(rates) > 1)
    held = held_cells(rows, Levels(SPAWN_RATE, rate, rate_names(rates)), MEASURES["be"])
    cells = _cells(held, rate, own, prices, _dry_shares(own, dry, farm))
    return SpawnRecipe(called, own, rate, rates, cells, cache(partial(least_gap, rows)))


def _dry_shares(own: SpawnedUnits, dry: Mapping[str, float], farm: SpawnedFarm) -> Numbers:
    """The dry mass of each unit's spawn, % of its mass; nan where it is not declared for its form."""
    forms = farm.batches.cells["spawn_form"]
    return np.array([dry.get(form, np.nan) for form in forms.texts], dtype=float)[forms.codes[own.batch_no]]


def rate_name(rate: float) -> str:
    """Return what a rate (% of wet substrate) is called."""
    return f"{rate:.1f} %"


def rate_names(rates: Sequence[float]) -> tuple[str, ...]:
    """Return what the rates of a recipe are called: each by a name of its own."""
    names = tuple(rate_name(rate) for rate in rates)
    return names if len(set(names)) == len(names) else tuple(f"{rate!r} %" for rate in rates)


def _cells(held: Cells, rate: Whole, own: SpawnedUnits, prices: Prices, share: Numbers) -> RateCells:
    """The cells of a recipe, by rate and soak. rate: the number of each unit's rate; share: the dry mass of its spawn,
    % of its mass. None of a soak of which too many units still run, or none has a dry mass: a soak counts once most of
    it is in.
    """
    soaks = int(own.soak_no.max()) + 1
    # Cells are by level and soak, as held ones are.
    places, first, cell = np.unique(rate * soaks + own.soak_no, return_index=True, return_inverse=True)
    weighed = np.flatnonzero(~np.isnan(own.dry_g) & own.known)
    total, gave, spawn = (
        np.bincount(cell[weighed], of[weighed], len(places)) for of in (own.dry_g, own.gave_g, own.spawn_g)
    )
    has = np.flatnonzero(~np.isnan(held.values) & (total > 0))
    # As declared for the first unit that counts.
    dry_share = np.full(len(places), np.nan)
    dry_share[cell[weighed[::-1]]] = share[weighed[::-1]]
    total, gave, spawn, dry_share = total[has], gave[has], spawn[has], dry_share[has]
    per_dry, worth = spawn / total, np.full(len(has), np.nan)
    if prices.price is not None and prices.spawn is not None:
        worth = prices.price * gave / total - prices.spawn * per_dry
    return RateCells(
        held.where(has),
        rate[first[has]],
        own.soak_no[first[has]],
        100 * gave / total,
        100 * gave / np.where(dry_share > 0, total + spawn * dry_share / 100, np.nan),
        per_dry,
        worth,
    )


def mean_with_limits(values: Numbers) -> tuple[float | None, float | None, float | None]:
    """Return the mean over soaks, with its limits at confidence.LEVEL: t(soaks - 1); from two soaks on. nan is none."""
    known = known_numbers(values)
    if not len(known):
        return None, None, None
    mean = float(known.mean())
    spread = float(known.std(ddof=1)) if len(known) > 1 else 0.0
    if not spread:
        return mean, None, None
    half = t_critical(len(known) - 1) * spread / len(known) ** 0.5
    return mean, mean - half, mean + half


def known_numbers(values: Numbers) -> Numbers:
    """Return those of the numbers that are there."""
    return values[~np.isnan(values)]
