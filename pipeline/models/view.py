"""The ledger, opened read-only, and views of it as of a day. What a model reads is made when it is read, so that no
loader can be asked before its tables are there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.farm.prices import SETTING_OF, farm_prices
from pipeline.farm.settings import Settings, text, whole
from pipeline.models.columns import grouped
from pipeline.models.lineage import needed, outdated
from pipeline.models.statements import LedgerRow, connect, rows, set_variable, statement, table
from schemas.contract import HARVESTS, contract
from schemas.finding import OutOfReach

if TYPE_CHECKING:
    import duckdb
    import pandas as pd  # type: ignore[import-untyped]

    from pipeline.models.unit_arrays import Arrays

THRESHOLDS = (
    "lapse_days",
    "lapse_unpicked_days",
    "flush_settled_days",
    "idle_days",
    "new_flush_after_days",
    "empty_days",
)

# Of the memory that there is, so much for DuckDB, whose tables go to its folder beyond it; the rest for what is read of
# them. Its own 80 % left too little for the report of a farm of ten million pickings in 8 GB.
MEMORY = "30%"
# A ledger of up to a hundred thousand pickings is one group of rows a table, which DuckDB gives to one thread: others
# only wait, and ask for work meanwhile (a twentieth of a report's CPU time).
ONE_THREAD_BELOW = 10_000_000

# Rows as DuckDB gives them: loaders say what they hold.
Row = dict[str, Any]
Rows = list[Row]


def cap_stages() -> list[str]:
    """Return the words of the cap stages, the youngest first."""
    return list(contract(HARVESTS).field("cap_stage").words)


def late_rank(settings: Settings) -> int:
    """Return the place, from 1, of the cap stage from which on the farm calls a picking late."""
    return cap_stages().index(text(settings, "late_from")) + 1


@dataclass(frozen=True)
class Query:
    """A question to the ledger: as of which day, by which columns, through which flush (None: none)."""

    as_of: date
    by: tuple[str, ...] = ()
    through_flush: int | None = None


@contextmanager
def open_ledger(path: Path, scratch: bool = True) -> Iterator[duckdb.DuckDBPyConnection]:
    """Open the ledger for reading only: no other file is reached through it, and none is written but for what memory
    does not hold (`scratch`), in a folder that DuckDB keeps beside it meanwhile.

    Raises OutOfReach when another program holds it.
    """
    import duckdb

    config = {
        "enable_external_access": "false",
        "autoload_known_extensions": "false",
        "autoinstall_known_extensions": "false",
        "memory_limit": MEMORY,
    }
    if not scratch:
        # A query could write into that folder: with x as (copy ... to 'ledger.duckdb.tmp/...').
        config["temp_directory"] = ""
    if path.exists() and path.stat().st_size < ONE_THREAD_BELOW:
        config["threads"] = "1"
    try:
        con = connect(str(path), read_only=True, config=config)
    except duckdb.Error as problem:
        if not path.exists():
            raise OutOfReach("There is no ledger yet. Run gillbook refresh.") from problem
        raise OutOfReach(f"{path.name} is open in another program. Close it and try again.") from problem
    with con:
        yield con


@dataclass
class Made:
    """What a connection holds at the moment: the temporary tables that were made, in order; the variables that are set;
    the units of which view.
    """

    tables: list[str] = field(default_factory=list)
    variables: dict[str, object] = field(default_factory=dict)
    units: object = None

    def forget(self, changed: Iterable[str]) -> None:
        """Forget the tables that rest on changed tables or variables: they are made anew when they are read."""
        gone = outdated(self.tables, changed)
        self.tables = [name for name in self.tables if name not in gone]


class Models:
    """The models of an open ledger, by name: what a model reads is made first, once."""

    def __init__(self, connection: duckdb.DuckDBPyConnection, settings: Settings, made: Made) -> None:
        self._connection = connection
        self._made = made
        self.settings = settings

    @property
    def connection(self) -> duckdb.DuckDBPyConnection:
        """The connection itself: for loaders whose SQL is generated from contracts, and for tests."""
        self._prepare()
        return self._connection

    def _prepare(self) -> None:
        """Set the variables by which the tables that are to be read are made: for the ledger itself, none."""

    def _text(self, name: str) -> str:
        return statement(name)

    def make(self, *names: str) -> None:
        """Make the temporary tables that these models read, and their own, but for those that are there."""
        self._prepare()
        for name in needed(*names):
            if name not in self._made.tables:
                self._connection.execute(self._text(name))
                self._made.tables.append(name)

    def set_variables(self, **values: object) -> None:
        """Set the variables that models read: a date, a number, a text, a list or None each. What rests on one that
        changes is made anew.
        """
        known = self._made.variables
        changed = {name: value for name, value in values.items() if name not in known or known[name] != value}
        for name, value in changed.items():
            set_variable(self._connection, name, value)
        known.update(changed)
        self._made.forget(changed)

    def table(self, name: str) -> tuple[list[str], list[LedgerRow]]:
        """Return the names of the columns of the model of this name, and its rows: one tuple per row."""
        self.make(name)
        return table(self._connection, name)

    def records(self, name: str) -> Rows:
        """Return the rows of the model of this name: one record per row, by the names of its columns."""
        names, found = self.table(name)
        return [dict(zip(names, row, strict=True)) for row in found]

    def tuples(self, name: str) -> list[LedgerRow]:
        """Return the rows of the model of this name: one tuple per row, in the order of its columns."""
        self.make(name)
        return rows(self._connection, name)

    def frame(self, name: str) -> pd.DataFrame:
        """Return the rows of the model of this name as a pandas frame."""
        self.make(name)
        return self._connection.execute(statement(name)).df()

    def arrays(self, name: str, columns: Sequence[str] = ()) -> Arrays:
        """Return the columns of the model of this name as arrays: see pipeline.models.unit_arrays.read."""
        from pipeline.models.unit_arrays import read

        self.make(name)
        return read(self._connection, self._text(name), columns)


class Ledger(Models):
    """An open ledger: of which file, where it is one. What depends on a day is read from a view of it."""

    def __init__(self, connection: duckdb.DuckDBPyConnection, settings: Settings, path: Path | None = None) -> None:
        super().__init__(connection, settings, Made())
        self.path = path
        # As farm.toml has them, whatever the day.
        self.farm_settings = settings
        # The farm's own, where it is set; else what the refresh fitted.
        ((days,),) = self.tuples("new_flush_after")
        self._own_settings = {**settings, "new_flush_after_days": days}
        self.settings = self._own_settings

    def view(self, query: Query) -> LedgerView:
        """Return the ledger as of the query's day. Views made before it are over. Among the settings, its own and the
        view's, prices are those of prices.csv on that day, and farm.toml's where it has none.
        """
        self.set_variables(
            as_of=query.as_of,
            through=query.through_flush or 1,
            **{name: whole(self.settings, name) for name in THRESHOLDS},
            cap_stages=cap_stages(),
            late_rank=late_rank(self.settings),
            farm_prices=farm_prices(self._own_settings),
            shelf_days=whole(self.settings, "shelf_days"),
        )
        self._made.units = object()
        self.settings = {**self._own_settings, **self._prices()}
        return LedgerView(self._connection, self.settings, self._made, query)

    def _prices(self) -> dict[str, float]:
        return {SETTING_OF[item]: price for item, price in self.tuples("current_prices")}


class LedgerView(Models):
    """The ledger as of a day and its units grouped by some columns: what the loaders of measures take.

    `query` says as of which day, by which columns and through which flush. Views of one day may differ in their groups:
    each finds its own when it is read. One that a newer view of another day has replaced raises RuntimeError.
    """

    def __init__(
        self,
        connection: duckdb.DuckDBPyConnection,
        settings: Settings,
        made: Made,
        query: Query,
        of_fillings: bool = False,
    ) -> None:
        super().__init__(connection, settings, made)
        self.query = query
        self._units = made.units
        self._of_fillings = of_fillings
        self._groups: dict[int, dict[str, str]] | None = None

    def _is_current(self) -> None:
        if self._units is None or self._made.units is not self._units:
            raise RuntimeError("a newer view of the ledger has replaced the unit tables of this one")

    def _prepare(self) -> None:
        self._is_current()
        self.set_variables(group_by=[*self.query.by], of_fillings=self._of_fillings)

    def _text(self, name: str) -> str:
        return grouped(statement(name), self.query.by)

    def by(self, *columns: str) -> LedgerView:
        """Return this view with its units grouped by other columns."""
        # What the groups that are there now rest on stays, for the new ones may be the same.
        self._is_current()
        return LedgerView(self._connection, self.settings, self._made, replace(self.query, by=columns))

    def of_fillings(self) -> LedgerView:
        """Return this view with groups of fillings instead of units: also of batches that are weighed as a whole."""
        self._is_current()
        return LedgerView(self._connection, self.settings, self._made, self.query, of_fillings=True)

    def groups(self) -> dict[int, dict[str, str]]:
        """Return what each group is called: by its number, the columns of the query, in the order of the groups."""
        self._prepare()
        if self._groups is None:
            named = self.tuples("group_names")
            self._groups = {group: dict(zip(self.query.by, names, strict=True)) for group, names in named}
        return self._groups


@contextmanager
def opened(path: Path, settings: Settings) -> Iterator[Ledger]:
    """Open the ledger at `path` with the farm's settings. Raises OutOfReach as open_ledger does."""
    with open_ledger(path) as con:
        yield Ledger(con, settings, path)
