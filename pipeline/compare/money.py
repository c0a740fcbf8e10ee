"""Margins, compared: what units brought less what they cost, in the farm's money."""

from __future__ import annotations

from dataclasses import replace
from math import fsum

import numpy as np

from pipeline.compare.measures import Measure
from pipeline.farm.prices import SETTING_OF, prices
from pipeline.farm.settings import Settings, number
from pipeline.models.compared_money import FarmMoney
from pipeline.models.compared_units import ComparedUnits, FarmUnits
from schemas.contract import contract
from schemas.finding import WrongRequest
from schemas.phrases import counted, listed

# Without these there is no margin to speak of; of a whole cycle sales tell what mushrooms bring.
NEEDED = ("fresh", "spawn")


def check_prices(measure: Measure, units: FarmUnits) -> None:
    """Raise WrongRequest, with what to write, where a measure of money lacks prices."""
    if not measure.money:
        return
    rests_on = _money(units)
    missing = [
        item
        for item in NEEDED
        if item in rests_on.unpriced and not (item == "fresh" and rests_on.sells and not measure.by_flush)
    ]
    if missing:
        keys = [SETTING_OF[item] for item in missing]
        fields = [contract("farm").field(key) for key in keys]
        what = [f"{each.name} = {each.example:g} ({_said(each.description)})" for each in fields]
        raise WrongRequest(
            f"--measure {measure.name}: there is no {listed(keys, 'and no')} in farm.toml. Write there, with your "
            f"own numbers: {listed(what)}. Or write {listed(missing)} into prices.csv, each from a day on."
        )


def _money(units: FarmUnits) -> FarmMoney:
    if units.money is None:
        raise ValueError("units without money: farm_units takes with_money")
    return units.money


def _said(description: str) -> str:
    return description[0].lower() + description[1:].removesuffix(".")


def in_currency(measure: Measure, units: FarmUnits, settings: Settings) -> Measure:
    """Return the measure in the farm's currency. Raises WrongRequest without prices."""
    check_prices(measure, units)
    unsold = ", or what they gave may still be sold" if _money(units).sells and not measure.by_flush else ""
    return replace(measure, unit=prices(settings).currency, not_yet=measure.not_yet + unsold)


def money_text(measure: Measure, units: FarmUnits) -> str:
    """Return what is in a margin, and what counts as nothing for want of a price."""
    money = _money(units)
    if not measure.by_flush:
        revenue = "what sales brought" if money.sells else "what was picked, at the price of its day"
        said = f"A margin is {revenue}, less all costs of the whole cycle."
    else:
        until = f"flush {units.through}" if units.to_day is None else f"day {units.to_day}"
        said = f"A margin is what was picked, at the price of its day, less all costs, both up to {until}."
    free = [SETTING_OF[item] if item.startswith("hours_") else item for item in money.unpriced if item != "fresh"]
    if free:
        said += f" Not written anywhere, so counted as nothing: {listed(free)}."
    if left_out := money.left_out[measure.name]:
        are = "is" if left_out == 1 else "are"
        said += (
            f" {counted(left_out, 'container')} of the farm {are} in no margin: a price, a mass or a sale is unknown."
        )
    return said


def smallest_margin(units: ComparedUnits, measure: Measure, farm: FarmUnits, settings: Settings) -> float:
    """Return from which difference in margin it is worth acting: what the smallest difference in BE that counts brings,
    at this farm's price (of the day, else what its kilograms brought) and mean dry mass. 0 where either is not known.
    """
    dry, under = units.starts.dry_g, units.parts[measure.name].under
    known = (dry > 0) & (under > 0) & ~np.isnan(units.starts.containers)
    price = prices(settings).price
    if price is None:
        price = _money(farm).a_kg[measure.name]
    if price is None or not known.any():
        return 0.0
    dry_kg = fsum(dry[known].tolist()) / 1000 / fsum(under[known].tolist())
    share = number(settings, "worthwhile_be_points") / 100
    return float(f"{measure.scale * price * share * dry_kg:.2g}")
