"""Margins, compared: what units brought less what starting them cost, in the farm's money."""

from __future__ import annotations

from dataclasses import replace
from math import fsum

import numpy as np

from pipeline.compare.measures import Measure
from pipeline.farm.settings import Settings, number
from pipeline.models.compared_columns import MeasureParts
from pipeline.models.compared_units import ComparedUnits
from schemas.contract import contract
from schemas.finding import WrongRequest
from schemas.phrases import listed


def check_prices(measure: Measure, settings: Settings) -> None:
    """Raise WrongRequest, with what to write into farm.toml, where a measure of money lacks prices."""
    from pipeline.farm.prices import prices

    if measure.money and (missing := prices(settings).missing):
        fields = [contract("farm").field(key) for key in missing]
        what = [f"{each.name} = {each.example:g} ({_said(each.description)})" for each in fields]
        raise WrongRequest(
            f"--measure {measure.name}: there is no {listed(missing, 'and no')} in farm.toml. Write there, with your "
            f"own numbers: {listed(what)}."
        )


def _said(description: str) -> str:
    return description[0].lower() + description[1:].removesuffix(".")


def in_currency(measure: Measure, settings: Settings) -> Measure:
    """Return the measure in the farm's currency. Raises WrongRequest without prices."""
    from pipeline.farm.prices import prices

    check_prices(measure, settings)
    return replace(measure, unit=prices(settings).currency)


def with_margins(units: ComparedUnits, measure: Measure, settings: Settings) -> ComparedUnits:
    """Return the units with their margin in place of the g that they gave. Where a mass that costs something is not
    known, there is nothing to divide by.
    """
    from pipeline.farm.prices import prices

    money, starts, gave = prices(settings), units.starts, units.parts[measure.name]
    cost = money.cost_of_start(starts.containers, starts.spawn_g, starts.dry_g)
    known = ~np.isnan(cost) & ~np.isnan(gave.under)
    margin = np.where(known, (money.price or 0.0) * gave.over / 1000 - cost, 0.0)
    return units.with_parts(measure.name, MeasureParts(margin, np.where(known, gave.under, np.nan), gave.resolved))


def smallest_margin(units: ComparedUnits, measure: Measure, settings: Settings) -> float:
    """Return from which difference in margin it is worth acting: what the smallest difference in BE that counts brings,
    at this farm's price and mean dry mass. 0 where no dry mass is known.
    """
    dry, under = units.starts.dry_g, units.parts[measure.name].under
    known = (dry > 0) & (under > 0) & ~np.isnan(units.starts.containers)
    if not known.any():
        return 0.0
    dry_kg = fsum(dry[known].tolist()) / 1000 / fsum(under[known].tolist())
    share = number(settings, "worthwhile_be_points") / 100
    return float(f"{measure.scale * number(settings, 'price_per_kg') * share * dry_kg:.2g}")
