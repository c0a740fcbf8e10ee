"""The rows of the input tables as they were read, to be handed on."""

from __future__ import annotations

from datetime import date

from pipeline.models.measures import last_day
from pipeline.models.view import Models, Rows
from schemas.contract import BOOKS, HARVESTS, INPUTS, OBSERVATIONS, SALES

# By which day an entry belongs to a month.
DAY_OF = {OBSERVATIONS: "seen_on", HARVESTS: "picked_on", SALES: "sold_on"}


def input_rows(ledger: Models, month: date | None = None) -> dict[str, Rows]:
    """Return the rows of each input table, with the columns of its contract. `month`: its first day; then the entries
    of that month alone, beside all other rows, for entries are of older batches. Of prices, sales and promises those
    tables that have any row.
    """
    found = {table: ledger.records(f"input_{table}") for table in INPUTS}
    found = {table: rows for table, rows in found.items() if rows or table not in BOOKS}
    if month is not None:
        for table in DAY_OF.keys() & found:
            found[table] = [row for row in found[table] if _within(row[DAY_OF[table]], month)]
    return found


def _within(day: date | None, month: date) -> bool:
    return day is not None and month <= day <= last_day(month)
