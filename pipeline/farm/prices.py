"""What things cost on this farm, as far as farm.toml says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from pipeline.farm.folder import Farm, table_files
from pipeline.farm.settings import Settings, number_or_none, text
from pipeline.farm.units import UNITS
from schemas.contract import PRICES, SALES

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Numbers = NDArray[np.float64]

# What farm.toml says of prices and hours, under the names of the items of prices.csv.
SETTING_OF = {
    "fresh": "price_per_kg",
    "spawn": "spawn_cost_per_kg",
    "substrate": "substrate_cost_per_kg",
    "start": "start_cost_per_container",
    "hours_per_container": "work_hours_per_container",
    "hours_per_kg": "work_hours_per_kg",
}


@dataclass(frozen=True)
class Prices:
    """Money as farm.toml declares it; None: not declared. price and spawn per kg as weighed, substrate per kg dry."""

    price: float | None
    spawn: float | None
    substrate: float | None
    start: float | None
    currency: str

    @property
    def missing(self) -> tuple[str, ...]:
        """The keys that farm.toml must declare before a margin can be given."""
        needed = {"price_per_kg": self.price, "spawn_cost_per_kg": self.spawn}
        return tuple(key for key, value in needed.items() if value is None)

    def cost_of_start(self, containers: Numbers, spawn_g: Numbers, dry_g: Numbers) -> Numbers:
        """The cost of starting each container or batch, one number per unit; nan where a mass that costs something is
        unknown. What farm.toml does not declare counts as nothing.
        """
        spawn = spawn_g / 1000 * self.spawn if self.spawn else 0.0
        substrate = dry_g / 1000 * self.substrate if self.substrate else 0.0
        return containers * (self.start or 0.0) + spawn + substrate


def prices(settings: Settings) -> Prices:
    """Return the prices that farm.toml declares. settings: one value per key of the farm contract."""
    return Prices(
        number_or_none(settings, "price_per_kg"),
        number_or_none(settings, "spawn_cost_per_kg"),
        number_or_none(settings, "substrate_cost_per_kg"),
        number_or_none(settings, "start_cost_per_container"),
        text(settings, "currency") or f"in {currency_of(settings)}",
    )


def currency_of(settings: Settings) -> str:
    """Return what the farm's money is called in a sentence."""
    return text(settings, "currency") or "the farm's currency"


def sells(farm: Farm) -> bool:
    """Whether the farm keeps sales or prices: a table of them, or a price per kg in farm.toml."""
    tables = {each.table for each in table_files(farm.folder, farm.conventions.files)}
    return bool(tables & {SALES, PRICES}) or number_or_none(farm.settings, "price_per_kg") is not None


def exact_or_none(settings: Settings, key: str) -> Decimal | None:
    """Return a setting that is a number exactly as farm.toml writes it, None where the farm does not have it."""
    value = number_or_none(settings, key)
    return None if value is None else Decimal(repr(value))


def per_kg(settings: Settings) -> Mapping[str, Decimal]:
    """Return how many of each unit a kilogram has, to twelve decimals. A pint only where farm.toml tells its weight."""
    masses = {unit: Decimal(1000 * each.denominator) / each.numerator for unit, each in UNITS["mass"].items()}
    pint_g = exact_or_none(settings, "pint_g")
    if pint_g is not None:
        masses["pint"] = 1000 / pint_g
    return {unit: round(each, 12) for unit, each in masses.items()}


def farm_prices(settings: Settings) -> dict[str, list[str]]:
    """Return what farm.toml says, as DuckDB takes a map of texts: amounts are exact there."""
    found = {name: exact_or_none(settings, key) for name, key in SETTING_OF.items()}
    known = {"": "0", **{name: f"{value:f}" for name, value in found.items() if value is not None}}
    return {"key": [*known], "value": [*known.values()]}
