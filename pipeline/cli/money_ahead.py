"""What is to come in money: what the weeks ahead bring at the price of the day, and what a trial costs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from schemas.phrases import listed
from schemas.result_rows import number_if_known, number_of, text_of, whole_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from pipeline.farm.settings import Settings
    from pipeline.models.view import LedgerView
    from schemas.result_rows import Row


def worth_of_weeks(view: LedgerView, weeks: Sequence[Row]) -> str:
    """Return what all of these weeks of an outlook would bring at the price of the view's day; "" without a price."""
    from pipeline.farm.prices import currency_of, prices

    price = prices(view.settings).price
    if price is None or not weeks:
        return ""
    low, middle, high = (number_of(weeks[-1], f"sum_{name}_kg") * price for name in ("low80", "median", "high80"))
    return (
        f"At {price:.2f} a kg, the price of the day, all of it would bring about {middle:.2f} (80 %: {low:.2f} to "
        f"{high:.2f}), in {currency_of(view.settings)}, before costs."
    )


def cost_of_containers(view: LedgerView, containers: int) -> str:
    """Return what so many containers would cost by what those up to the view's day did; "" where no cost is known."""
    from pipeline.farm.prices import currency_of
    from pipeline.models.money import money

    rows = [row for row in money(view.by()) if row["units"]]
    counted = sum(number_if_known(row, "containers") or 0 for row in rows)
    cost = sum(number_of(row, "cost") for row in rows)
    if not counted or not cost:
        return ""
    lacks = listed([each for row in rows for each in text_of(row, "lacks").split(", ") if each])
    short = f" That lacks {lacks}, so it is too low." if lacks else ""
    return (
        f"A container has cost {cost / counted:.2f} here, so {containers} of them cost about "
        f"{cost / counted * containers:.2f}, in {currency_of(view.settings)}.{short}"
    )


def prices_of_day(settings: Settings) -> str:
    """Return at which prices mushrooms and spawn are reckoned, and in which currency; "" where one has none."""
    from pipeline.farm.prices import currency_of, prices

    found = prices(settings)
    if found.price is None or found.spawn is None:
        return ""
    return (
        f"At {found.price:.2f} a kg of mushrooms and {found.spawn:.2f} a kg of spawn, the prices of the day, in "
        f"{currency_of(settings)}."
    )


def would_tell(day: date) -> str:
    """Return what would tell the prices of mushrooms and spawn on this day."""
    return (
        "price_per_kg and spawn_cost_per_kg in farm.toml would tell, or rows of prices.csv like "
        f"{day},fresh,,,PRICE,kg and {day},spawn,,,PRICE,kg."
    )


def containers_of(designs: Sequence[Row], split: bool, soaks: int) -> int:
    """Return how many containers the design of a trial takes that is split so and has so many soaks."""
    kind = "split" if split else "between"
    return next(whole_of(row, "containers") for row in designs if (row["design"], row["soaks"]) == (kind, soaks))
