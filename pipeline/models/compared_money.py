"""What the units of a farm brought and cost, for a comparison of margins."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import fsum

import numpy as np

from pipeline.models.compared_columns import MeasureParts
from pipeline.models.unit_arrays import Flags, Numbers, UnitArrays
from pipeline.models.view import LedgerView
from schemas.answers import ComparedMeasure

FOLLOWED, WHOLE = ComparedMeasure.MARGIN.value, ComparedMeasure.MARGIN_PER_DAY.value


@dataclass(frozen=True)
class UnitMoney(UnitArrays):
    """The columns of compared_money.sql, in money. nan: not known."""

    revenue_followed: Numbers
    cost_followed: Numbers
    revenue: Numbers
    cost: Numbers
    sold_out: Flags
    sells: Flags


@dataclass(frozen=True)
class FarmMoney:
    """What the margins of a farm rest on. unpriced: the items of prices.csv, and the hours of farm.toml, of which
    nothing is written anywhere; sells: whether sales are logged; a_kg: by measure, what a kilogram brought, None for
    nothing; left_out: by measure, how many units are in no margin although their containers and days are known.
    """

    unpriced: tuple[str, ...]
    sells: bool
    a_kg: Mapping[str, float | None]
    left_out: Mapping[str, int]


def with_margins(view: LedgerView, parts: Mapping[str, MeasureParts]) -> tuple[dict[str, MeasureParts], FarmMoney]:
    """Return the parts of each measure, with margins in place of the g that units gave, and what they rest on. parts:
    of all units of the view, in the order of their lines. A unit of which a price, a quantity or a sale is not known
    has nothing to divide by; with sales a cycle is over once what it gave is no longer to be sold.
    """
    found = view.arrays("compared_money")
    money = UnitMoney.of({name: found[name].astype(_kind(name)) for name in UnitMoney.__annotations__})
    whole = parts[WHOLE]
    margins = {
        FOLLOWED: _margin(parts[FOLLOWED], money.revenue_followed, money.cost_followed),
        WHOLE: _margin(
            MeasureParts(whole.over, whole.under, whole.resolved & money.sold_out), money.revenue, money.cost
        ),
    }
    a_kg = {
        FOLLOWED: _a_kg(money.revenue_followed, parts[FOLLOWED].over),
        WHOLE: _a_kg(money.revenue, whole.over),
    }
    left_out = {
        name: int((~np.isnan(parts[name].under) & np.isnan(each.under)).sum()) for name, each in margins.items()
    }
    unpriced = tuple(item for (item,) in view.tuples("unpriced_items"))
    return {**parts, **margins}, FarmMoney(unpriced, bool(money.sells.any()), a_kg, left_out)


def _kind(name: str) -> type:
    return bool if name in ("sold_out", "sells") else float


def _margin(gave: MeasureParts, revenue: Numbers, cost: Numbers) -> MeasureParts:
    known = ~np.isnan(revenue) & ~np.isnan(cost) & ~np.isnan(gave.under)
    return MeasureParts(np.where(known, revenue - cost, 0.0), np.where(known, gave.under, np.nan), gave.resolved)


def _a_kg(revenue: Numbers, gave_g: Numbers) -> float | None:
    known = ~np.isnan(revenue)
    kg = fsum(gave_g[known].tolist()) / 1000
    return fsum(revenue[known].tolist()) / kg if kg else None
