"""A view of the ledger as of a day: opened read-only, its unit tables made and its units grouped. Loaders take nothing
else, so that none can be asked before the tables it reads are there.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.models.groups import group_units
from pipeline.models.statements import records, statement
from schemas.contract import contract
from schemas.finding import OutOfReach

if TYPE_CHECKING:
    import duckdb

    from pipeline.models.unit_arrays import Arrays

# In this order: each reads what the ones before it made.
UNIT_TABLES = ("units", "unit_pickings", "unit_flushes", "unit_seen", "unit_pins", "unit_states", "unit_aside")
THRESHOLDS = ("lapse_days", "lapse_unpicked_days", "flush_settled_days", "idle_days", "new_flush_after_days")

Row = dict[str, Any]
Rows = list[Row]


@dataclass(frozen=True)
class Query:
    """What is asked of the ledger: as of which day, by which columns, through which flush (None: not asked)."""

    as_of: date
    by: tuple[str, ...] = ()
    through_flush: int | None = None


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


class Models:
    """The models of an open ledger, by name: their temporary tables are made, their rows read."""

    def __init__(self, con: duckdb.DuckDBPyConnection, settings: Mapping[str, Any]) -> None:
        self._con = con
        self.settings = settings

    def make(self, *names: str) -> None:
        """Make the temporary tables of these models, in this order."""
        for name in names:
            self._con.execute(statement(name))

    def set_variables(self, **values: object) -> None:
        """Set the variables that models read: a date, a number, a text or None each."""
        for name, value in values.items():
            self._con.execute(f"set variable {name} = ?", [value])

    def records(self, name: str) -> Rows:
        """Return the rows of the model of this name: one record per row, by the names of its columns."""
        return records(self._con, statement(name))

    def arrays(self, name: str) -> Arrays:
        """Return the columns of the model of this name as arrays: see pipeline.models.unit_arrays.read."""
        from pipeline.models.unit_arrays import read

        return read(self._con, statement(name))


class Ledger(Models):
    """An open ledger. What depends on a day is asked of a view of it."""

    def view(self, query: Query) -> LedgerView:
        """Return the ledger as of the query's day. Views share their temporary tables: use the latest one only."""
        return LedgerView(self._con, self.settings, query)


class LedgerView(Models):
    """The ledger as of a day, with its unit tables made and its units grouped: what every loader takes.

    Making one makes the tables (temporary ones: the ledger itself is not written). `query` says as of which day, by
    which columns and through which flush.
    """

    def __init__(
        self, con: duckdb.DuckDBPyConnection, settings: Mapping[str, Any], query: Query, made: bool = False
    ) -> None:
        super().__init__(con, settings)
        self.query = query
        if not made:
            self._make_units()
        group_units(con, query.by)

    def _make_units(self) -> None:
        stages = contract("harvests").field("cap_stage").words
        self.set_variables(
            as_of=self.query.as_of,
            through=self.query.through_flush or 1,
            **{name: int(self.settings[name]) for name in THRESHOLDS},
            cap_stages=list(stages),
            late_rank=stages.index(self.settings["late_from"]) + 1,
        )
        self.make(*UNIT_TABLES)

    def regrouped(self, *by: str) -> LedgerView:
        """Return this view with its units grouped by other columns. The groups of the one before are gone."""
        return LedgerView(self._con, self.settings, replace(self.query, by=by), made=True)

    def group_fillings(self) -> None:
        """Group the fillings themselves, also those of batches that are weighed as a whole."""
        group_units(self._con, self.query.by, of_fillings=True)

    def groups(self) -> dict[int, dict[str, str]]:
        """Return what each group is called: by its number, the columns of the query, in the order of the groups."""
        rows = records(self._con, "select * from groups order by group_id")
        return {int(row.pop("group_id")): {name: row[name] for name in self.query.by} for row in rows}


@contextmanager
def opened(path: Path, settings: Mapping[str, Any]) -> Iterator[Ledger]:
    """The ledger at `path`, with the farm's settings. Raises OutOfReach as open_ledger does."""
    with open_ledger(path) as con:
        yield Ledger(con, settings)
