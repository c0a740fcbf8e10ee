"""Invented farms as arrays, for simulations of growth: what is true of them is known exactly."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from datetime import date, timedelta
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.compare.columns import Cells
from pipeline.compare.design import DesignCell
from pipeline.compare.factors import CHOICES, CLUSTERS
from pipeline.farm.prices import Prices
from pipeline.growth.another_flush import HeldUnits
from pipeline.growth.decline import Resolved
from pipeline.models.compared_columns import Labels
from pipeline.models.compared_units import COMPARED_COLUMNS, HOLES, MONTH, SPAWN_RATE, FarmUnits
from pipeline.models.spawned_units import SpawnedUnits
from pipeline.spawn.rates import RateCells, SpawnRecipe, rate_names
from pipeline.spawn.summary import Spawn
from pipeline.stats.incidence import EVENT, OTHER_END, WAITING
from tests.simulated_units import Container, Waited, table

Numbers = NDArray[np.float64]

SECOND, THIRD = 0.63, 0.35  # flush 2 and 3 over flush 1, in containers that give them
GIVES_SECOND, GIVES_THIRD = 0.9, 0.8  # of picked containers; of those that gave the second
DECLINE_STARTED = {2: GIVES_SECOND * SECOND, 3: GIVES_SECOND * GIVES_THIRD * THIRD}
DECLINE_GAVE = {2: SECOND, 3: THIRD}
AS_OF = date(2026, 9, 30)
FATES = {WAITING: "waiting", EVENT: "noted", OTHER_END: "lost"}
SETTLED = 10  # days after its last picking a flush is over


@dataclass(frozen=True)
class Flushes:
    """A farm's containers up to an as-of date, one entry per container: soak, age, and by flush what it gave (g), when
    it gave it and when that was told (ages in days, as if followed to the end).
    """

    soak: NDArray[np.int64]
    age: Numbers
    grams: dict[int, Numbers]
    picked: dict[int, Numbers]
    told: dict[int, Numbers]
    end: Numbers

    def resolved(self, flush: int) -> Resolved:
        """How do the containers stand to one flush, as of their age?"""
        seen = {k: np.where(self.picked[k] <= self.age, self.grams[k], 0.0) for k in (1, flush)}
        told_at = np.where(self.told[flush] <= self.age, self.told[flush], np.nan)
        return Resolved(self.soak, self.age, told_at, seen[flush], seen[1])

    def kept(self, start_cost: float) -> HeldUnits:
        """The same containers as `another_flush` takes them, each costing `start_cost` to start."""
        seen = [self.resolved(flush) for flush in (1, 2, 3)]
        held = np.where(self.end <= self.age, self.end, np.nan)
        return HeldUnits(
            self.soak,
            self.age,
            np.ones(len(self.soak)),
            np.full(len(self.soak), start_cost),
            np.zeros(len(self.soak), dtype=bool),
            held,
            np.stack([each.fresh for each in seen], axis=1),
            np.stack([each.resolved_age for each in seen], axis=1),
            np.stack([np.where(self.picked[k] <= self.age, self.picked[k], np.nan) for k in (1, 2, 3)], axis=1),
        )

    def oldest(self, flush: int) -> float:
        """The oldest age at which the flush was ever told, of containers that gave anything."""
        of = self.resolved(flush)
        tells = ~np.isnan(of.resolved_age) & ((of.fresh > 0) | (of.first > 0))
        return float(np.max(of.resolved_age[tells], initial=0.0))


def flushes(rng: np.random.Generator, soaks: int, containers: int, span: float, icc: float = 0.5) -> Flushes:
    """A farm that started a soak at even steps over the last `span` days. Of what varies, the share `icc` is the
    soak's; masses, waits, losses, whether a container goes on: all of them cluster in soaks. span inf: all told.
    """
    soak = np.repeat(np.arange(soaks), containers)
    size = len(soak)

    def noise(sd: float) -> Numbers:
        drawn = rng.normal(0, sd * icc**0.5, soaks)[soak] + rng.normal(0, sd * (1 - icc) ** 0.5, size)
        return np.asarray(drawn)

    begun = np.full(soaks, 1e9) if math.isinf(span) else np.linspace(2, span, soaks)
    age = np.round(begun + rng.uniform(-2, 2, soaks))[soak]
    lost = rng.random(size) < (0.08 * rng.gamma(0.5, 2, soaks))[soak]
    gives_2 = ~lost & (rng.random(size) < rng.beta(9, 1, soaks)[soak])
    gives_3 = gives_2 & (rng.random(size) < rng.beta(8, 2, soaks)[soak])
    first_g = 500 * np.exp(noise(0.35))
    grams = {
        1: np.where(lost, 0, first_g),
        2: np.where(gives_2, SECOND * first_g * np.exp(noise(0.2) - 0.02), 0),
        3: np.where(gives_3, THIRD * first_g * np.exp(noise(0.2) - 0.02), 0),
    }
    first = 28 + noise(3.0)
    second = first + np.maximum(13 + noise(2.0), 8)
    third = second + np.maximum(13 + noise(2.0), 8)
    patience = rng.uniform(12, 22, size)
    end = np.select(
        [lost, gives_3, gives_2], [rng.uniform(12, 35, size), third + patience / 2, second + patience], first + patience
    )
    picked = {1: np.ceil(first), 2: np.ceil(second), 3: np.ceil(third)}
    end = np.ceil(end)
    told = {
        1: np.where(lost, end, np.minimum(picked[1] + SETTLED, np.where(gives_2, picked[2], end))),
        2: np.where(gives_2, np.minimum(picked[2] + SETTLED, np.where(gives_3, picked[3], end)), end),
        3: np.where(gives_3, np.minimum(picked[3] + SETTLED, end), end),
    }
    return Flushes(soak, age, grams, picked, told, end)


def waits(rng: np.random.Generator, soaks: int, containers: int, span: float, icc: float = 0.5) -> tuple[Any, Any, Any]:
    """Days, ends and soaks of containers that wait for pins (some 24 +- 3 days), a tenth of them lost, by soak."""
    return aged_waits(rng, soaks, containers, span, icc)[:3]


def aged_waits(
    rng: np.random.Generator, soaks: int, containers: int, span: float, icc: float = 0.5
) -> tuple[Any, Any, Any, Any]:
    """The same, and the age of each."""
    soak = np.repeat(np.arange(soaks), containers)
    size = len(soak)
    drawn = rng.normal(0, 3 * icc**0.5, soaks)[soak] + rng.normal(0, 3 * (1 - icc) ** 0.5, size)
    pins = np.round(24 + drawn)
    lost = rng.random(size) < rng.beta(0.5, 4.5, soaks)[soak]
    ends_on = np.where(lost, np.round(rng.uniform(8, 20, size)), pins)
    age = np.round(rng.uniform(5, span, soaks))[soak]
    ends = np.where(ends_on > age, WAITING, np.where(lost, OTHER_END, EVENT))
    return np.minimum(ends_on, age), ends, soak, age


def started(rng: np.random.Generator, alone: int, split: int, containers: int, span: float) -> FarmUnits:
    """The containers of `waits` as `compare` takes them, their substrate straw or mulch: so many soaks of each alone,
    so many half of each.
    """
    days, ends, soak, age = aged_waits(rng, 2 * alone + split, containers, span)
    rows = []
    for at, (day, end, number, old) in enumerate(zip(days, ends, soak, age, strict=True)):
        half = at % containers < containers // 2 if number >= 2 * alone else number < alone
        on = AS_OF - timedelta(int(old))
        rows.append(
            Container(
                str(at),
                str(number),
                f"soak {number}",
                on,
                {
                    **dict.fromkeys((*COMPARED_COLUMNS, SPAWN_RATE, HOLES), ""),
                    MONTH: f"{on:%Y-%m}",
                    "substrate": "straw" if half else "mulch",
                },
                waits={"days": Waited(FATES[int(end)], float(day), int(number))},
            )
        )
    return FarmUnits(AS_OF, 2, 25, table(rows), None)


def pinned_by(day: float, losses: float = 0.1) -> float:
    """Which share of the containers of `waits` has pins by this day, in truth?"""
    from scipy.special import ndtr

    return float((1 - losses) * ndtr((day + 0.5 - 24) / 3))


PRICES = Prices(10.0, 4.0, None, None, "EUR")
# BE (%) by spawn rate (% of wet substrate): rising and levelling off, a parabola, with a kink, flat, a straight line.
TRUE_CURVES = {
    "levelling": lambda rate: 95 * (1 - np.exp(-rate / 7)),
    "parabola": lambda rate: 90 - 0.25 * (rate - 14) ** 2,
    "kink": lambda rate: np.minimum(50 + 4 * rate, 90),
    "flat": lambda rate: 80 + 0 * rate,
    "straight": lambda rate: 60 + 1.5 * rate,
}


def margin(be_pct: Any, rate: Any) -> Any:
    """Money per kg dry substrate at this BE and rate, of a substrate that is 30 % dry."""
    return PRICES.price * be_pct / 100 - PRICES.spawn * rate / 30


def bare_cell(soak: str, level: str) -> DesignCell:
    """A cell of which nothing is known but its soak and its rate."""
    shares = {name: {"": Fraction(1)} for name in (*CHOICES, *CLUSTERS)}
    return DesignCell(soak, level, None, 0.0, 1.0, (soak,), 6, 0, 0, None, shares, {})


def spawn_recipe(
    rng: np.random.Generator, design: str, soaks: int, rates: tuple[float, ...], curve: str, icc: float = 0.5
) -> SpawnRecipe:
    """A recipe tried at these rates on so many soaks: "within" (each soak split over all rates), "between" (so many
    soaks per rate, one rate each) or "mixed" (half of them split). BE varies by 15 points, the share `icc` by soak; six
    containers to each soak and rate.
    """
    split = {"within": soaks, "between": 0, "mixed": soaks // 2}[design]
    alone = {"within": 0, "between": soaks, "mixed": soaks - soaks // 2}[design]
    held = [range(len(rates))] * split + [[rate] for rate in range(len(rates)) for _ in range(alone)]
    found: dict[tuple[int, int], tuple[float, float, float]] = {}
    for number, of in enumerate(held):
        together = rng.normal(0, 15 * (icc * 0.75) ** 0.5)
        for rate in of:
            own = rng.normal(0, 15 * (icc * 0.25 + (1 - icc) / 6) ** 0.5)
            be = float(TRUE_CURVES[curve](rates[rate]) + together + own)
            found[number, rate] = be, rates[rate] / 30, margin(be, rates[rate])
    be_pct, spawn, margins = np.array([*found.values()]).T
    soak, rate_of = np.array([*found]).T
    names = rate_names(rates)
    cells = RateCells(
        Cells([bare_cell(f"S{number}", names[rate]) for number, rate in found]),
        rate_of,
        soak,
        be_pct,
        np.full(len(found), np.nan),
        spawn,
        margins,
    )
    nothing = SpawnedUnits(*(np.zeros(0) for _ in fields(SpawnedUnits)))
    return SpawnRecipe({}, nothing, np.zeros(0, dtype=np.int64), rates, cells, lambda _: 0.0)


def tested(recipe: SpawnRecipe) -> Spawn:
    """This recipe as what is asked of spawn rates; its batches have no names."""
    return Spawn([recipe], Labels.of([]), Labels.of([]))
