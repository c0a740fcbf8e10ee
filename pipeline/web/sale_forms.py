"""What the forms of sales and promises send becomes the same row as that of `sell` and `promise`, and is written so."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from functools import partial
from typing import TYPE_CHECKING

from pipeline.web.desk import Done
from pipeline.web.forms import Form, Moment, ask, day_of_form
from schemas.contract import PROMISES, SALES, contract
from schemas.finding import WrongRequest

if TYPE_CHECKING:
    from pipeline.farm.folder import Farm

# The columns of each table that a form sends as they are typed; days are read by themselves.
TYPED = {
    SALES: ("weight_g", "buyer", "strain", "price_per_kg", "amount", "kind", "batch", "note"),
    PROMISES: ("weight_g", "buyer", "strain", "repeats", "note"),
}


def sell(farm: Farm, form: Form, when: Moment) -> Done:
    """Log what left, as `gillbook sell` does."""
    days = {"sold_on": day_of_form(farm, _text(form, "sold_on"), when.today)}
    if _text(form, "picked_on"):
        days["picked_on"] = day_of_form(farm, _text(form, "picked_on"), when.today)
    return _log(farm, SALES, days, form, when)


def promise(farm: Farm, form: Form, when: Moment) -> Done:
    """Log what is promised, as `gillbook promise` does. Raises WrongRequest without a day."""
    if not _text(form, "due_on"):
        raise WrongRequest("Due on: the day is missing. Nothing was written.")
    days = {name: _day_ahead(farm, form, name, when.today) for name in ("due_on", "until_on") if _text(form, name)}
    return _log(farm, PROMISES, days, form, when)


def _day_ahead(farm: Farm, form: Form, name: str, today: date) -> date:
    from pipeline.logbook.typed_days import typed_day

    title = contract(PROMISES).field(name).title
    return typed_day(title, _text(form, name), today, lambda: farm.conventions.cell_format.date_order, ahead=True)


def _log(farm: Farm, table: str, days: Mapping[str, date], form: Form, when: Moment) -> Done:
    from pipeline.logbook.book import Book, enter
    from pipeline.logbook.row_words import shown_row
    from pipeline.logbook.sell import COMMANDS, parse_row, plan_row, write_row

    book, fields = Book(farm), contract(table)
    if not _text(form, "weight_g"):
        raise WrongRequest("Weight: it is missing. Nothing was written.")
    typed = {name: (fields.field(name).title, _text(form, name) or None) for name in TYPED[table]}
    row = parse_row(book, table, days, typed)
    plan, write = partial(plan_row, book, row), partial(write_row, book)
    made = enter(book, plan, write, bool(form.get("insist")), ask, lambda: when.now)
    said = f"Logged: {shown_row(made.row.cells, farm.conventions.cell_format)}."
    where = f"Written to {made.destination.name}, row {made.destination.next_row} (entry {made.entry})."
    return Done((said, where, *made.messages), COMMANDS[table], made.entry)


def _text(form: Form, name: str) -> str:
    return form.get(name, "").strip()
