"""Running the measures: the ledger is opened read-only, the day and thresholds are set, the SQL files run."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.measures.grouping import group_units, grouping
from pipeline.measures.shares import SHARES, share_interval
from pipeline.shelf_order import in_order_of_shelves
from pipeline.statements import records, sql_of
from schemas.contract import contract
from schemas.finding import OutOfReach

if TYPE_CHECKING:
    import duckdb

# In this order: each reads what the ones before it made.
UNIT_TABLES = ("units", "unit_pickings", "unit_flushes", "unit_seen", "unit_pins", "unit_states", "unit_aside")
THRESHOLDS = ("lapse_days", "lapse_unpicked_days", "flush_settled_days", "idle_days", "new_flush_after_days")

OF_MONTH = ("weeks", "strains", "finished_units", "finished_batches", "finished_recipes", "stages", "soaks")

Rows = list[dict[str, Any]]

__all__ = [
    "Question",
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


@contextmanager
def open_ledger(path: Path, scratch: bool = True) -> Iterator[duckdb.DuckDBPyConnection]:
    """The ledger, for reading only: no other file can be reached through it, and none is written but for what memory
    does not hold (`scratch`), in a folder that DuckDB keeps beside it meanwhile.

    Raises OutOfReach when another program holds it.
    """
    import duckdb

    config: dict[str, Any] = {
        "enable_external_access": "false",
        "autoload_known_extensions": "false",
        "autoinstall_known_extensions": "false",
    }
    if not scratch:
        # A query could write into that folder: with x as (copy ... to 'ledger.duckdb.tmp/...').
        config["temp_directory"] = ""
    try:
        con = duckdb.connect(str(path), read_only=True, config=config)
    except duckdb.Error as problem:
        if not path.exists():
            raise OutOfReach("There is no ledger yet. Run gillbook refresh.") from problem
        raise OutOfReach(f"{path.name} is open in another program. Close it and try again.") from problem
    with con:
        yield con


@dataclass(frozen=True)
class Question:
    """What is asked of the ledger: as of which day, by which columns, through which flush (None: not asked)."""

    as_of: date
    by: tuple[str, ...] = ()
    through_flush: int | None = None


def _statement(name: str) -> str:
    return sql_of("pipeline.measures", name)


def prepare(con: duckdb.DuckDBPyConnection, settings: Mapping[str, Any], question: Question) -> None:
    """Makes the unit tables and the groups that the question asks for, as temporary tables."""
    con.execute(f"set variable as_of = date '{question.as_of.isoformat()}'")
    con.execute(f"set variable through = {int(question.through_flush or 1)}")
    for name in THRESHOLDS:
        con.execute(f"set variable {name} = {int(settings[name])}")
    stages = contract("harvests").field("cap_stage").words
    listed = ", ".join(f"'{stage}'" for stage in stages)
    con.execute(f"set variable cap_stages = [{listed}]")
    con.execute(f"set variable late_rank = {stages.index(settings['late_from']) + 1}")
    for name in UNIT_TABLES:
        con.execute(_statement(name))
    regroup(con, question)


def regroup(con: duckdb.DuckDBPyConnection, question: Question) -> None:
    """Groups the units anew, for a question that differs in its columns only. Call prepare first."""
    group_units(con, question.by)


def yields(con: duckdb.DuckDBPyConnection, question: Question) -> Rows:
    """What did each group give? One record per group, with the columns of the `yields` contract. Call prepare first."""
    wanted = [each.name for each in contract("yields").fields if not each.only_through or question.through_flush]
    return _with_groups(con, question, "yields", wanted)


def flushes(con: duckdb.DuckDBPyConnection, question: Question) -> Rows:
    """How do the flushes follow each other? One record per group and flush, with the columns of the `flushes` contract
    that are sums; pipeline.growth adds the estimates. Call prepare first.
    """
    told = [each.name for each in contract("flushes").fields if not each.estimated]
    return _with_groups(con, question, "flushes", told)


def days(con: duckdb.DuckDBPyConnection, question: Question) -> Rows:
    """How long are the waits? One record per group and wait. Call prepare first."""
    con.execute(_statement("unit_waits"))
    return _with_groups(con, question, "days", list(contract("days").names))


def losses(con: duckdb.DuckDBPyConnection, question: Question) -> Rows:
    """What was closed without a picking? One record per group; by container, over all its fillings. Call prepare first.

    The interval comes from the shares of soaks, from three on: Student's t; where no soak lost any (or all lost all),
    the exact binomial bound for soaks.
    """
    _tell_fates(con, question)
    found = _with_groups(con, question, "losses", [*contract("losses").names, *SHARES])
    for record in found:
        record.update(share_interval(record["soaks"], record, "container" in question.by))
    return [{key: record[key] for key in (*question.by, *contract("losses").names)} for record in found]


def causes(con: duckdb.DuckDBPyConnection, question: Question) -> Rows:
    """Why were units closed without a picking? One record per group and cause. Call prepare first."""
    _tell_fates(con, question)
    return _with_groups(con, question, "causes", list(contract("causes").names))


def _tell_fates(con: duckdb.DuckDBPyConnection, question: Question) -> None:
    if "container" in question.by:
        con.execute(_statement("filling_fates"))
        group_units(con, question.by, of_fillings=True)
    else:
        con.execute(_statement("fates"))


def months(con: duckdb.DuckDBPyConnection, question: Question) -> Rows:
    """What was picked, finished and inoculated in each month? One record per month. Call prepare first."""
    del question  # the as-of date is in the tables already
    return [{key: record[key] for key in contract("months").names} for record in records(con, _statement("months"))]


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
    con.execute(_statement("fates"))
    return {
        name: [{key: record[key] for key in contract(name).names} for record in records(con, _statement(name))]
        for name in OF_MONTH
    }


def _with_groups(con: duckdb.DuckDBPyConnection, question: Question, name: str, wanted: Sequence[str]) -> Rows:
    groups = {group.pop("group_id"): group for group in records(con, "select * from groups order by group_id")}
    found = []
    for record in records(con, _statement(name)):
        group = groups[record["group_id"]]
        found.append({**{key: group[key] for key in question.by}, **{key: record.get(key) for key in wanted}})
    return found


def missing_cells(con: duckdb.DuckDBPyConnection) -> Rows:
    """Which cells would make more numbers possible? One record per number and cell (number, file, row, column_name,
    units: how many would gain it). Call prepare first.
    """
    return records(con, _statement("missing_cells"))


def silent(con: duckdb.DuckDBPyConnection) -> Rows:
    """Of which units has nothing been heard for long? One record per lapsed or idle unit (table_name, file, row, batch,
    container, rule, last_picked, since). Call prepare first.
    """
    return records(con, _statement("silent"))


def running_units(con: duckdb.DuckDBPyConnection) -> Rows:
    """What can still be picked from? One record per running unit, and per filling of a batch weighed together, in the
    order of the shelves, with the columns of the `running_units` contract. Call prepare first.
    """
    found = in_order_of_shelves(records(con, _statement("running_units")))
    return [{key: record[key] for key in contract("running_units").names} for record in found]


def containers(con: duckdb.DuckDBPyConnection) -> list[str]:
    """Which containers does the farm have? Their names in the order of the shelves, wherever they last stood."""
    return [str(row["container"]) for row in in_order_of_shelves(records(con, _statement("containers")))]
