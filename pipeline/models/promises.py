"""What is promised to buyers, and the single deliveries that promises come to."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from pipeline.models.view import Models

# After how many days a promise is due again.
DAYS_BETWEEN = {"week": 7, "two_weeks": 14}


@dataclass(frozen=True)
class Promise:
    """A row of promises.csv. weight_g: what is due each time, in g; buyer, strain: blank where the row names none;
    repeats: one of DAYS_BETWEEN, or blank for once; until_on: None until further notice.
    """

    due_on: date
    buyer: str
    weight_g: Decimal
    strain: str
    repeats: str
    until_on: date | None
    file: str
    row: int


@dataclass(frozen=True)
class Delivery:
    """One day on which something is due: weight_g in g; buyer, strain: blank where the promise names none."""

    due_on: date
    buyer: str
    weight_g: Decimal
    strain: str


def promises(ledger: Models) -> list[Promise]:
    """Return what is promised, by the day on which it is (first) due."""
    return [Promise(*row) for row in ledger.tuples("promised")]


def deliveries(promised: Iterable[Promise], first: date, last: date) -> list[Delivery]:
    """Return what is due from one day to another, both included, in the order of days, buyers and strains."""
    found = [
        Delivery(day, each.buyer, each.weight_g, each.strain) for each in promised for day in _days(each, first, last)
    ]
    return sorted(found, key=lambda each: (each.due_on, each.buyer, each.strain, each.weight_g))


def _days(each: Promise, first: date, last: date) -> Iterator[date]:
    """Yield the days on which this promise is due. One that ends before it begins, or that ends and does not repeat,
    is due once.
    """
    step = DAYS_BETWEEN.get(each.repeats, 0)
    if not step or (each.until_on is not None and each.until_on < each.due_on):
        if first <= each.due_on <= last:
            yield each.due_on
        return
    until = last if each.until_on is None else min(last, each.until_on)
    skipped = max(0, -(-(first - each.due_on).days // step))
    for number in range(skipped, (until - each.due_on).days // step + 1):
        yield each.due_on + timedelta(number * step)
