"""Which sheets hold what is sold, promised or priced. Never by one sign: a buyer beside pickings makes no sale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.adopt.fitting import is_any_day
from pipeline.adopt.headings import Candidate
from schemas.contract import GROWING, HARVESTS, PRICES, PROMISES, SALES

# So many headings must speak for a sale, or a promise: our choice, no source.
LEAST_SIGNS = 2
Found = Sequence[Sequence[Candidate]]


@dataclass(frozen=True)
class Books:
    """The `tables` of the books that a sheet holds, and whether it holds nothing else (`alone`)."""

    tables: frozenset[str] = frozenset()
    alone: bool = False

    @property
    def read(self) -> tuple[str, ...]:
        """The tables whose columns its headings may stand for."""
        return (*self.tables,) if self.alone else (*GROWING, *self.tables)


def books_of(found: Found) -> Books:
    """Return what a sheet holds of the books. `found`: of each heading the columns that it may stand for."""
    if is_sales(found):
        if not of_pickings(found):
            return Books(frozenset((SALES,)), alone=True)
        return Books(frozenset((SALES,)) if sold_beside(found) and clear_days(found) else frozenset())
    if _is_promises(found):
        return Books(frozenset((PROMISES,)), alone=True)
    return Books(frozenset((PRICES,)), alone=True) if _is_prices(found) else Books()


def places(found: Found, column: str, *tables: str) -> set[int]:
    """Return the places of the headings that may stand for this column of these tables (none: of any)."""
    return {
        at
        for at, column_found in enumerate(found)
        if any(each.column == column and each.table in (tables or (each.table,)) for each in column_found)
    }


def is_sales(found: Found) -> bool:
    """Whether a sheet tells of sales: a day, a weight, and two signs, of them one of who bought it, or that it was
    sold: days, weights and prices alone may be of what was bought.
    """
    money = places(found, "price_per_kg", SALES) | places(found, "amount", SALES)
    sold = clear_days(found) | sold_weights(found) | places(found, "kind", SALES)
    said = sold | places(found, "buyer", SALES)
    days, weights = places(found, "sold_on", SALES), places(found, "weight_g", SALES)
    return bool(days and weights - money and said and money | sold) and len(said | money) >= LEAST_SIGNS


def clear_days(found: Found) -> set[int]:
    """Return the places of headings that say of a day that it is a sale's."""
    every = enumerate(found)
    return {at for at, one in every if any(each.column == "sold_on" and not is_any_day(each) for each in one)}


def sold_weights(found: Found) -> set[int]:
    """Return the places of headings that say of a weight that it was sold: of no picking."""
    return places(found, "weight_g", SALES) - places(found, "fresh_weight_g", HARVESTS) - picked_days(found)


def picked_days(found: Found) -> set[int]:
    """Return the places of headings that may be days of pickings."""
    return places(found, "picked_on", HARVESTS)


def sold_beside(found: Found) -> bool:
    """Whether both what was picked and what was sold of it have a weight of their own."""
    return bool(sold_weights(found) and places(found, "fresh_weight_g", HARVESTS) - sold_weights(found))


def of_pickings(found: Found) -> bool:
    """Whether rows that tell of sales are pickings first: they name a container; or a batch, and do not say that their
    day or their only weight is a sale's.
    """
    if places(found, "container", *GROWING):
        return True
    if not places(found, "batch", *GROWING) or not picked_days(found):
        return False
    return sold_beside(found) or not (clear_days(found) or sold_weights(found))


def _is_promises(found: Found) -> bool:
    """Whether a sheet tells of promises: a weight, a day that is said to be due, and for whom or how often."""
    due = {at for at, one in enumerate(found) if any(each.column == "due_on" and not is_any_day(each) for each in one)}
    others = set().union(*(places(found, name, PROMISES) for name in ("buyer", "repeats", "until_on")))
    grown = places(found, "container", *GROWING) | places(found, "batch", *GROWING)
    return bool(due and places(found, "weight_g", PROMISES) and others - due) and not grown


def _is_prices(found: Found) -> bool:
    """Whether a sheet tells of prices: what each is of, and the price."""
    priced, items = places(found, "price", PRICES), places(found, "item", PRICES)
    containers = places(found, "container", *GROWING) - items - places(found, "per", PRICES)
    return bool(priced and items - priced) and not containers
