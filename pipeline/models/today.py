"""What there is to do today: from the ledger, by what was noted and by the farm's own waits."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from pipeline.farm.ready_command import ending_command
from pipeline.farm.shelf_order import in_order_of_shelves
from pipeline.models.view import LedgerView, Row, Rows

# Pins are ready to pick after so many days: 2.80 d from pins to maturity in print (Hindawi Int. J. Agronomy 2021,
# 9962285).
PINS_READY_DAYS = 3
# Where the farm's own history tells no wait: two weeks of colonising (common practice, no source), and a week from
# opening to pins (our choice, no source).
COLONISING_DAYS, OPENED_DAYS = 14, 7
ACTIONS = ("pick", "open", "look", "end", "fill")


@dataclass(frozen=True)
class TodayAction:
    """Something to be done, why, and with what: the columns of the contract `today`. container None: the whole batch;
    since, days: the day of what calls for it, and how long ago; usual_days: how long the farm usually waits, None
    where that is not known; command: the line that ends what fell silent, None for all else.
    """

    action: str
    reason: str
    room: str | None
    position: str | None
    container: str | None
    batch: str | None
    flush: int | None
    since: date | None
    days: int | None
    usual_days: float | None
    command: str | None = None


def today(view: LedgerView) -> list[TodayAction]:
    """Return what is to be done at the view's day, one entry per action, reason and unit or free container: by action,
    in the order of the shelves.
    """
    return [TodayAction(**row) for row in today_rows(view)]


def today_rows(view: LedgerView) -> Rows:
    """Return the same as rows of the contract `today`: of a large farm tens of thousands."""
    view.set_variables(pins_ready_days=PINS_READY_DAYS, colonising_days=COLONISING_DAYS, opened_days=OPENED_DAYS)
    rows = in_order_of_shelves(view.records("today"))
    rows.sort(key=lambda row: ACTIONS.index(row["action"]))
    return [{**row, "command": _command(row)} for row in rows]


def _command(row: Row) -> str | None:
    """The line, ready to be typed, that ends what fell silent; None for all else, and for a name no shell takes."""
    if row["action"] != "end" or row["since"] is None or row["batch"] is None:
        return None
    return ending_command(row["container"], row["batch"], row["since"])
