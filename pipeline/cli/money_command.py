"""The command that tells what pays: money."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.group_screen import MOST_NAMED, TOGETHER, read_groups
from pipeline.cli.options import ReadOptions, spread
from pipeline.cli.show import Column, notify, print_json, print_records
from schemas.phrases import counted, listed, no_batch
from schemas.result_rows import Row, number_of, text_of, whole_of

if TYPE_CHECKING:
    from pipeline.models.view import Query

MONTH = "month"
# The column of the screen that says what a row is called.
GROUP = "group"


@spread
def money(
    by: Annotated[
        str,
        typer.Option(
            "--by",
            metavar="WHAT",
            help="recipe, batch, month, kind (of container); or columns of batches or fillings, with commas; or all.",
        ),
    ] = "recipe",
    unsold: Annotated[bool, typer.Option("--unsold", help="What may still lie there, by its age, instead.")] = False,
    *,
    read: ReadOptions,
) -> None:
    """Tell what pays: revenue, cost, cost per kg, margin per container and per container-day, losses carried along."""
    from pipeline.farm.prices import currency_of
    from pipeline.models import money as of_money

    by_month = by.strip() == MONTH
    with read_groups(read, _columns(by), "money") as view:
        rows = of_money.unsold(view) if unsold else of_money.money_months(view) if by_month else of_money.money(view)
        query = view.query
        currency = currency_of(view.settings)
        missing = of_money.missing_prices(view)
    if read.json:
        print_json(rows)
        return
    if unsold:
        _show_unsold(query, rows)
        return
    telling = () if by_month else _telling(query, rows)
    shown = [{**row, GROUP: text_of(row, MONTH) if by_month else _name(telling, row)} for row in rows]
    heading = MONTH if by_month else by.strip().replace(",", ", ")
    if print_records(shown, [Column(GROUP, heading), *_figures()], False, no_batch(query.as_of)):
        _notify(query, shown, currency)
        _notify_missing(missing)


def _show_unsold(query: Query, rows: Sequence[Row]) -> None:
    columns = [
        Column("picked_on", "picked on"),
        Column("age_days", "days\nold", 0),
        Column("picked_g", "picked\nkg", 2, 0.001),
        Column("left_g", "left at\nmost kg", 2, 0.001),
    ]
    shown = [{**row, "picked_on": row["picked_on"] or "before"} for row in rows]
    if print_records(shown, columns, False, "Nothing was picked."):
        exact = all(row["exact"] for row in rows)
        most = (
            ""
            if exact
            else " Packs do not all say their day of picking: of each day this is the most that can be left."
        )
        notify(f"As of {query.as_of}. before: more than shelf_days of farm.toml ago.{most}")


def _columns(by: str) -> str:
    """The columns that are meant by a word of the option."""
    from pipeline.models.money import recipe_names

    return {MONTH: "all", "recipe": ",".join(recipe_names())}.get(by.strip(), by)


def _telling(query: Query, rows: Sequence[Row]) -> Sequence[str]:
    """The columns by whose labels rows are told apart, for there is no room for the others; all where none does."""
    of_batches = [row for row in rows if row["units"]]
    return [name for name in query.by if len({row[name] for row in of_batches}) > 1] or query.by


def _name(columns: Sequence[str], row: Row) -> str:
    """What a row is called: by its labels in these columns."""
    if row["units"] == 0:
        return "(of no batch)"
    names = [text_of(row, name) for name in columns]
    return ", ".join(filter(None, names)) or ("(blank)" if names else "the farm")


def _figures() -> list[Column]:
    return [
        Column("containers", "con-\ntainers", 0),
        Column("picked_g", "picked\nkg", 2, 0.001),
        Column("revenue", "revenue", 2),
        Column("cost_per_kg", "cost\na kg", 2),
        Column("margin", "margin", 2),
        Column("margin_per_container", "a con-\ntainer", 2),
        Column("margin_per_container_day", "of 100\ndays", 2, 100),
    ]


def _notify(query: Query, rows: Sequence[Row], currency: str) -> None:
    """Say what the figures are in and rest on, and what they lack."""
    notify(
        f"As of {query.as_of}, in {currency}. margin: revenue less cost; a container: over all, lost ones too; of 100 "
        f"days: in which a container stood. {TOGETHER}"
    )
    running = sum(whole_of(row, "units_open") for row in rows)
    if running:
        notify(f"{counted(running, 'container')} still running: the costs are in, what they will bring is not.")
    unpaid = sum(whole_of(row, "sales_unpaid") for row in rows)
    if unpaid:
        count = "counts" if unpaid == 1 else "count"
        notify(f"{counted(unpaid, 'sale')} without any price {count} as nothing: gillbook check names the rows.")
    shared = sum(number_of(row, "revenue_shared") for row in rows)
    if shared:
        notify(f"{shared:.2f} came from packs that name no batch: shared over what was picked before, by mass.")
    if not any(number_of(row, "sold_g") for row in rows):
        notify("No sale is logged: revenue is what was picked, at its price. gillbook sell logs what is sold.")
    for lacks in dict.fromkeys(text_of(row, "lacks") for row in rows if row["lacks"]):
        names = [text_of(row, GROUP) for row in rows if row["lacks"] == lacks]
        more = f" and {len(names) - 2} more" if len(names) > 2 else ""
        notify(f"Cost lacks {listed(lacks.split(', '))}, so that it is too low: {'; '.join(names[:2])}{more}.")


def _notify_missing(rows: Sequence[str]) -> None:
    """Say which rows of prices.csv would give a cost what it lacks."""
    more = f"; and {len(rows) - MOST_NAMED} more" if len(rows) > MOST_NAMED else ""
    if rows:
        notify(f"To price what has none, add to prices.csv: {'; '.join(rows[:MOST_NAMED])}{more}.")
