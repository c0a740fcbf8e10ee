"""What there is to do today: from the ledger, by what was noted and by the farm's own waits."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipeline.farm.ready_command import typed
from pipeline.farm.shelf_order import in_order_of_shelves
from pipeline.models.view import LedgerView, Rows
from schemas.contract import contract

# Pins are ready to pick after so many days: 2.80 d from pins to maturity in print (Hindawi Int. J. Agronomy 2021,
# 9962285).
PINS_READY_DAYS = 3
# Where the farm's own history tells no wait: two weeks of colonising (common practice, no source), and a week from
# opening to pins (our choice, no source).
COLONISING_DAYS, OPENED_DAYS = 14, 7
ACTIONS = ("pick", "open", "look", "end", "fill")


def today(view: LedgerView) -> Rows:
    """What is to be done at the view's day, one record per action, reason and unit or free container (contract
    `today`): by action, in the order of the shelves.
    """
    view.set_variables(pins_ready_days=PINS_READY_DAYS, colonising_days=COLONISING_DAYS, opened_days=OPENED_DAYS)
    rows = [{**row, "command": _command(row)} for row in in_order_of_shelves(view.records("today"))]
    rows.sort(key=lambda row: ACTIONS.index(row["action"]))
    return [{key: row[key] for key in contract("today").names} for row in rows]


def _command(row: Mapping[str, Any]) -> str | None:
    """The line, ready to be typed, that ends what fell silent; None for all else, and for a name no shell takes."""
    if row["action"] != "end":
        return None
    names = [name for name in (row["container"], row["batch"]) if name]
    if any(name.startswith("-") for name in names):
        return None
    return typed(["gillbook", "note", *names[:-1], "emptied", "--batch", names[-1], "--on", row["since"].isoformat()])
