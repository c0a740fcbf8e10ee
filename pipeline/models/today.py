"""What is there to do today? From the ledger, by what was noted and by the farm's own waits."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING, Any

from pipeline.farm.ready_command import typed
from pipeline.farm.shelf_order import in_order_of_shelves
from pipeline.models.measures import Query, prepare
from pipeline.models.statements import records, statement
from schemas.contract import contract

if TYPE_CHECKING:
    import duckdb

# Pins are ready to pick after so many days: 2.80 d from pins to maturity in print (Hindawi Int. J. Agronomy 2021,
# 9962285).
PINS_READY_DAYS = 3
# Where the farm's own history tells no wait: two weeks of colonising (common practice, no source), and a week from
# opening to pins (our choice, no source).
COLONISING_DAYS, OPENED_DAYS = 14, 7
ACTIONS = ("pick", "open", "look", "end", "fill")


def today(con: duckdb.DuckDBPyConnection, settings: Mapping[str, Any], as_of: date) -> list[dict[str, Any]]:
    """What is to be done at this date? One record per action, reason and unit (or free container), with the columns of
    the `today` contract: by action, in the order of the shelves.
    """
    prepare(con, settings, Query(as_of))
    con.execute(statement("unit_waits"))
    for name, value in (
        ("pins_ready_days", PINS_READY_DAYS),
        ("colonising_days", COLONISING_DAYS),
        ("opened_days", OPENED_DAYS),
    ):
        con.execute(f"set variable {name} = {value}")
    rows = in_order_of_shelves(records(con, statement("today")))
    told = [{**row, "command": _command(row)} for row in rows]
    told.sort(key=lambda row: ACTIONS.index(row["action"]))
    return [{key: row[key] for key in contract("today").names} for row in told]


def _command(row: Mapping[str, Any]) -> str | None:
    """Which line, ready to be typed, ends what fell silent? None for all else, and for a name that no shell takes."""
    if row["action"] != "end":
        return None
    names = [name for name in (row["container"], row["batch"]) if name]
    if any(name.startswith("-") for name in names):
        return None
    return typed(["gillbook", "note", *names[:-1], "emptied", "--batch", names[-1], "--on", row["since"].isoformat()])
