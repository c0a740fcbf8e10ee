"""Taking in the sales that a telephone logged: parsed, doubted and written as `gillbook sell` does it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property

from pipeline.farm.folder import Farm
from pipeline.logbook.book import Book, Clock, Confirm, Doubt, enter
from pipeline.logbook.known_rows import Value, rows_of
from pipeline.logbook.sell import NewRow, RowPlan, parse_row, plan_row, write_row
from schemas.contract import SALES, contract
from schemas.finding import WrongRequest

DAYS = ("sold_on", "picked_on")
# What two sales have in common that may be one, logged on two telephones.
ALIKE = ("sold_on", "weight_g", "buyer", "strain", "kind")
# Said of what stood in the files before instead: of one telephone's entries, which come together, the page asked.
ASKED_THERE = "same again"


@dataclass(frozen=True)
class SalesBefore:
    """The sales that stood in the farm's files when taking in began."""

    farm: Farm

    @cached_property
    def known(self) -> frozenset[tuple[Value | None, ...]]:
        """What tells a sale from another, of each of them."""
        return frozenset(map(_alike, rows_of(self.farm, SALES)))


def _alike(cells: Mapping[str, Value]) -> tuple[Value | None, ...]:
    return tuple(cells.get(name) if name != "kind" else cells.get(name, "sold") for name in ALIKE)


def log_sale(
    book: Book,
    cells: Mapping[str, str],
    before: SalesBefore,
    confirm: Confirm,
    clock: Clock,
    still_new: Callable[[], None],
    by: str,
) -> None:
    """Log the sale under the id that the telephone gave it. `confirm` is asked what `gillbook sell` asks; `still_new`
    raises where it stands in the files by now, and is called while nobody else writes; `by`: the phone that sends it.

    Raises WrongRequest for a cell that cannot be meant, and what `confirm` raises.
    """
    row = sale_of(book, cells)
    if row.day > clock().date():
        raise WrongRequest(f"sold_on {row.day}: that day lies in the future. Mend it on the phone.")

    def plan(now: datetime) -> RowPlan:
        made = plan_row(book, row, now)
        doubts = [each for each in made.doubts if each.kind != ASKED_THERE] + _twice(made.row, before)
        return RowPlan(made.row, tuple(doubts), made.destination, made.messages)

    def write(made: RowPlan, now: datetime) -> None:
        still_new()
        write_row(book, made, now, cells["entry"], by)

    enter(book, plan, write, False, confirm, clock)


def _twice(row: NewRow, before: SalesBefore) -> list[Doubt]:
    if _alike(row.cells) not in before.known:
        return []
    buyer = f" to {row.cells['buyer']}" if "buyer" in row.cells else ""
    said = f"{row.day}, {row.cells['weight_g']} g{buyer} stands there already, by another entry"
    return [Doubt("same elsewhere", f"{said}; two telephones may have logged one sale")]


def sale_of(book: Book, cells: Mapping[str, str]) -> NewRow:
    """Return the sale of these cells as the page exports them: days as ISO 8601 has them, the weight in grams unless
    farm.toml has its column in another unit. Raises WrongRequest for a cell that cannot be meant.
    """
    sales = contract(SALES)
    try:
        days = {name: date.fromisoformat(cells[name]) for name in DAYS if cells.get(name)}
    except ValueError as problem:
        raise WrongRequest(f"{problem}. Export it again.") from problem
    if "sold_on" not in days:
        raise WrongRequest("sold_on: the day is missing. Export it again.")
    heading = book.farm.conventions.heading(sales, "weight_g")
    units = {"weight_g": heading.unit} if heading and heading.unit else {}
    typed = {name: (name, cells.get(name) or None) for name in sales.names if name not in (*DAYS, "entry")}
    return parse_row(book, SALES, days, {**typed, "weight_g": ("weight_g", cells["weight_g"])}, units)
