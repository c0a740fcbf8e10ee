"""Running the measures: the ledger is opened read-only, the day and thresholds are set, the SQL files run."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from pipeline.farm.shelf_order import in_order_of_shelves
from pipeline.models.groups import group_units, grouping
from pipeline.models.statements import records, statement
from pipeline.models.view import LedgerView, Query, open_ledger
from pipeline.stats.proportions import SHARES, share_interval
from schemas.contract import contract

if TYPE_CHECKING:
    import duckdb

OF_MONTH = ("weeks", "strains", "finished_units", "finished_batches", "finished_recipes", "stages", "soaks")

Rows = list[dict[str, Any]]

__all__ = [
    "Query",
    "causes",
    "containers",
    "days",
    "flushes",
    "grouping",
    "last_day",
    "losses",
    "missing_cells",
    "months",
    "of_month",
    "open_ledger",
    "prepare",
    "regroup",
    "running_units",
    "silent",
    "yields",
]


def prepare(con: duckdb.DuckDBPyConnection, settings: Mapping[str, Any], query: Query) -> None:
    """Makes the unit tables and the groups that the question asks for, as temporary tables."""
    LedgerView(con, settings, query)


def regroup(con: duckdb.DuckDBPyConnection, query: Query) -> None:
    """Groups the units anew, for a question that differs in its columns only. Call prepare first."""
    group_units(con, query.by)


def yields(con: duckdb.DuckDBPyConnection, query: Query) -> Rows:
    """What did each group give? One record per group, with the columns of the `yields` contract. Call prepare first."""
    wanted = [each.name for each in contract("yields").fields if not each.only_through or query.through_flush]
    return _with_groups(con, query, "yields", wanted)


def flushes(con: duckdb.DuckDBPyConnection, query: Query) -> Rows:
    """How do the flushes follow each other? One record per group and flush, with the columns of the `flushes` contract
    that are sums; pipeline.growth adds the estimates. Call prepare first.
    """
    told = [each.name for each in contract("flushes").fields if not each.estimated]
    return _with_groups(con, query, "flushes", told)


def days(con: duckdb.DuckDBPyConnection, query: Query) -> Rows:
    """How long are the waits? One record per group and wait. Call prepare first."""
    con.execute(statement("unit_waits"))
    return _with_groups(con, query, "days", list(contract("days").names))


def losses(con: duckdb.DuckDBPyConnection, query: Query) -> Rows:
    """What was closed without a picking? One record per group; by container, over all its fillings. Call prepare first.

    The interval comes from the shares of soaks, from three on: Student's t; where no soak lost any (or all lost all),
    the exact binomial bound for soaks.
    """
    _tell_fates(con, query)
    found = _with_groups(con, query, "losses", [*contract("losses").names, *SHARES])
    for record in found:
        record.update(share_interval(record["soaks"], record, "container" in query.by))
    return [{key: record[key] for key in (*query.by, *contract("losses").names)} for record in found]


def causes(con: duckdb.DuckDBPyConnection, query: Query) -> Rows:
    """Why were units closed without a picking? One record per group and cause. Call prepare first."""
    _tell_fates(con, query)
    return _with_groups(con, query, "causes", list(contract("causes").names))


def _tell_fates(con: duckdb.DuckDBPyConnection, query: Query) -> None:
    if "container" in query.by:
        con.execute(statement("filling_fates"))
        group_units(con, query.by, of_fillings=True)
    else:
        con.execute(statement("fates"))


def months(con: duckdb.DuckDBPyConnection, query: Query) -> Rows:
    """What was picked, finished and inoculated in each month? One record per month. Call prepare first."""
    del query  # the as-of date is in the tables already
    return [{key: record[key] for key in contract("months").names} for record in records(con, statement("months"))]


def last_day(first: date) -> date:
    """Which day ends the month that `first` begins?"""
    return (first.replace(day=28) + timedelta(days=4)).replace(day=1) - timedelta(days=1)


def of_month(con: duckdb.DuckDBPyConnection, month: date) -> dict[str, Rows]:
    """What belongs to the month that `month` (its first day) begins? The tables in OF_MONTH, by name. Call prepare
    first.
    """
    last = last_day(month)
    con.execute(f"set variable month_first = date '{month.isoformat()}'")
    con.execute(f"set variable month_last = date '{last.isoformat()}'")
    con.execute(statement("fates"))
    return {
        name: [{key: record[key] for key in contract(name).names} for record in records(con, statement(name))]
        for name in OF_MONTH
    }


def _with_groups(con: duckdb.DuckDBPyConnection, query: Query, name: str, wanted: Sequence[str]) -> Rows:
    groups = {group.pop("group_id"): group for group in records(con, "select * from groups order by group_id")}
    found = []
    for record in records(con, statement(name)):
        group = groups[record["group_id"]]
        found.append({**{key: group[key] for key in query.by}, **{key: record.get(key) for key in wanted}})
    return found


def missing_cells(con: duckdb.DuckDBPyConnection) -> Rows:
    """Which cells would make more numbers possible? One record per number and cell (number, file, row, column_name,
    units: how many would gain it). Call prepare first.
    """
    return records(con, statement("missing_cells"))


def silent(con: duckdb.DuckDBPyConnection) -> Rows:
    """Of which units has nothing been heard for long? One record per lapsed or idle unit (table_name, file, row, batch,
    container, rule, last_picked, since). Call prepare first.
    """
    return records(con, statement("silent"))


def running_units(con: duckdb.DuckDBPyConnection) -> Rows:
    """What can still be picked from? One record per running unit, and per filling of a batch weighed together, in the
    order of the shelves, with the columns of the `running_units` contract. Call prepare first.
    """
    found = in_order_of_shelves(records(con, statement("running_units")))
    return [{key: record[key] for key in contract("running_units").names} for record in found]


def containers(con: duckdb.DuckDBPyConnection) -> list[str]:
    """Which containers does the farm have? Their names in the order of the shelves, wherever they last stood."""
    return [str(row["container"]) for row in in_order_of_shelves(records(con, statement("containers")))]
