"""Running a trace: what is asked is set, the SQL files run, and what is nowhere to be found is said."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from pipeline.models.lost_shares import interval_columns
from pipeline.models.statements import records, statement
from pipeline.models.view import Ledger, Query
from schemas.contract import contract
from schemas.finding import WrongRequest, nearest

if TYPE_CHECKING:
    import duckdb

Rows = list[dict[str, Any]]

TABLES = ("trace_batches", "trace_containers", "trace_pickings", "trace_losses", "trace_aside")
# The rest of the same time: inoculated so many days before or after a traced batch. Our choice, no source.
NEAR_DAYS = 28
# Where the names stand that can be asked for.
PLACES = {
    "spawn_lot": "select distinct spawn_lot from traced_places where spawn_lot is not null",
    "soak": "select distinct soak from traced_places",
    "batch": "select distinct batch from traced_places",
    "container": "select distinct container from traced_places where container is not null",
}
CALLED = {"spawn_lot": "spawn lot", "soak": "soak", "batch": "batch", "container": "container"}


@dataclass(frozen=True)
class Asked:
    """What is traced: each None is not asked; several must all hold."""

    spawn_lot: str | None = None
    soak: str | None = None
    batch: str | None = None
    container: str | None = None
    picked: date | None = None

    @property
    def names(self) -> dict[str, str]:
        """Which names are asked for, by their column?"""
        told = {name: getattr(self, name) for name in PLACES}
        return {name: value for name, value in told.items() if value is not None}


def trace(con: duckdb.DuckDBPyConnection, settings: Mapping[str, Any], as_of: date, asked: Asked) -> dict[str, Rows]:
    """What hangs together with what is asked, at the as-of date? The tables in TABLES, by name, as their contracts say.

    Raises WrongRequest when nothing is asked, and when neither a loaded row nor one set aside fits.
    """
    if not asked.names and asked.picked is None:
        raise WrongRequest("Name what to trace: --spawn-lot, --soak, --batch, --container or --picked.")
    Ledger(con, settings).view(Query(as_of))
    _ask(con, asked)
    con.execute(statement("filling_fates"))
    for name in ("traced_places", "traced_pickings"):
        con.execute(statement(name))
    found = {name: records(con, statement(name)) for name in TABLES}
    for record in found["trace_losses"]:
        record.update(interval_columns(record, of_containers=False))
    if not found["trace_containers"] and not found["trace_aside"]:
        raise WrongRequest(_nowhere(con, as_of, asked))
    return {name: [{key: row[key] for key in contract(name).names} for row in rows] for name, rows in found.items()}


def _ask(con: duckdb.DuckDBPyConnection, asked: Asked) -> None:
    for name in PLACES:
        con.execute(f"set variable trace_{name} = ?::varchar", [getattr(asked, name)])
    con.execute("set variable trace_picked = ?::date", [asked.picked])
    con.execute(f"set variable near_days = {NEAR_DAYS}")


def _nowhere(con: duckdb.DuckDBPyConnection, as_of: date, asked: Asked) -> str:
    """Which of the names is in no row, and what may have been meant?"""
    for name, value in asked.names.items():
        known = tuple(sorted(row[0] for row in con.execute(PLACES[name]).fetchall()))
        if value in known:
            continue
        # Names are looked up as the grower wrote them, whatever their case.
        meant = {each.lower().replace(" ", "_"): each for each in known}
        close = nearest(value, tuple(meant))
        hint = f" Did you mean {meant[close]}?" if close else ""
        option = f"--{name.replace('_', '-')}"
        return f"{option} {value}: no {CALLED[name]} is called so as of {as_of}.{hint}"
    if asked.picked is not None and not asked.names:
        return f"--picked {asked.picked}: nothing was picked on that day, and no row set aside is of it."
    return f"No container fits all of what was asked as of {as_of}. Ask for less at once."
