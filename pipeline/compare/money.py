"""Margins, compared: what units brought less what starting them cost, in the farm's money."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import fsum, isnan
from typing import TYPE_CHECKING

from pipeline.compare.measures import Measure
from pipeline.farm.settings import Settings, number
from pipeline.models.compared_units import ComparedUnit, MeasureParts
from schemas.contract import contract
from schemas.finding import WrongRequest
from schemas.phrases import listed

if TYPE_CHECKING:
    from pipeline.farm.prices import Prices


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


def with_margins(units: Sequence[ComparedUnit], measure: Measure, settings: Settings) -> list[ComparedUnit]:
    """Return the units with their margin in place of the g that they gave. Where a mass that costs something is not
    known, there is nothing to divide by.
    """
    from pipeline.farm.prices import prices

    money = prices(settings)
    return [_with_margin(each, measure.name, money) for each in units]


def _with_margin(unit: ComparedUnit, measure: str, money: Prices) -> ComparedUnit:
    gave, cost = unit.parts[measure], _cost(unit, money)
    known = cost is not None and gave.under is not None
    margin = (money.price or 0.0) * gave.over / 1000 - (cost or 0.0)
    parts = MeasureParts(margin if known else 0.0, gave.under if known else None, gave.resolved)
    return replace(unit, parts={**unit.parts, measure: parts})


def _cost(unit: ComparedUnit, money: Prices) -> float | None:
    import numpy as np

    if unit.start is None:
        return None
    masses = (unit.start.containers, unit.start.spawn_g, unit.start.dry_g)
    amounts = (np.array([np.nan if each is None else each]) for each in masses)
    cost = float(money.cost_of_start(*amounts)[0])
    return None if isnan(cost) else cost


def smallest_margin(units: Sequence[ComparedUnit], measure: Measure, settings: Settings) -> float:
    """Return from which difference in margin it is worth acting: what the smallest difference in BE that counts brings,
    at this farm's price and mean dry mass. 0 where no dry mass is known.
    """
    known = [
        (each.start.dry_g, under)
        for each in units
        if each.start and each.start.dry_g and (under := each.parts[measure.name].under)
    ]
    if not known:
        return 0.0
    dry_kg = fsum(dry for dry, _ in known) / 1000 / fsum(under for _, under in known)
    share = number(settings, "worthwhile_be_points") / 100
    return float(f"{measure.scale * number(settings, 'price_per_kg') * share * dry_kg:.2g}")
