"""What pays: revenue, cost and margin by group and by month, from the ledger and the books."""

from __future__ import annotations

from decimal import Decimal

from pipeline.models.view import LedgerView
from schemas.contract import BATCHES, ColumnRole, contract
from schemas.result_rows import ResultCell, ResultRow, ResultRows, Row, in_columns

# Beside the columns of the query or the month.
FIGURES = tuple(each.name for each in contract("money").fields)
DECIMALS = 6


def money(view: LedgerView) -> ResultRows:
    """What each group brought and cost (contract `money`), and a last row, of blank names, for sales of none."""
    groups = view.groups()
    nameless = dict.fromkeys(view.query.by, "")
    return [{**groups.get(row["group_id"], nameless), **_figures(row)} for row in view.records("money")]


def money_months(view: LedgerView) -> ResultRows:
    """What each month brought and cost (contract `money_months`)."""
    return [{"month": row["month"], **_figures(row)} for row in view.records("money_months")]


def keeps_books(view: LedgerView) -> bool:
    """Whether anything tells what mushrooms bring or what growing costs: prices, sales, or a price in farm.toml."""
    ((rows,),) = view.tuples("books_kept")
    return bool(rows) or view.settings["price_per_kg"] is not None


def missing_prices(view: LedgerView) -> list[str]:
    """Return the rows that prices.csv lacks for what growing took, as they would stand in it: PRICE for the price."""
    found = view.records("missing_prices")
    return [f"{row['from_on']},{row['item']},{row['name']},,PRICE,{row['per']}" for row in found]


def unsold(view: LedgerView) -> ResultRows:
    """What may still lie there, by the age of the pickings (contract `unsold`)."""
    return in_columns("unsold", view.records("unsold"))


def _figures(row: Row) -> ResultRow:
    """The columns of the contract `money`: ratios are worked out from the exact sums, then rounded."""
    exact = {name: Decimal(str(row[name])) for name in ("revenue", "cost", "picked_g")}
    margin, picked_kg = exact["revenue"] - exact["cost"], exact["picked_g"] / 1000
    parts = ("sold_g", "given_g", "discarded_g")
    left = exact["picked_g"] - sum((Decimal(str(row[name])) for name in parts), Decimal(0))
    ratios = {
        "cost_per_kg": _ratio(exact["cost"], picked_kg),
        "margin_per_container": _ratio(margin, row["containers"]),
        "margin_per_kg": _ratio(margin, picked_kg),
        "margin_per_container_day": _ratio(margin, row["container_days"]),
    }
    figures: dict[str, object] = {**row, "left_g": left, "margin": margin, **ratios}
    return {name: _plain(figures[name]) for name in FIGURES}


def _ratio(over: Decimal, under: object) -> Decimal | None:
    return over / Decimal(str(under)) if under else None


def _plain(value: object) -> ResultCell:
    """An amount as a number of a result table: rounded to what the ledger keeps of money."""
    if isinstance(value, Decimal):
        return float(round(value, DECIMALS))
    return value if isinstance(value, str | int) else None


def recipe_names() -> tuple[str, ...]:
    """Return the columns of batches that say which recipe it is: what a grower chooses, in words, and reports."""
    fields = contract(BATCHES).fields
    return tuple(each.name for each in fields if each.recipe and each.reported and each.role is ColumnRole.CHOICE)
