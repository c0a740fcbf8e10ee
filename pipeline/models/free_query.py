"""A query of the grower's own: one SELECT, of which nothing is known before. It reads the ledger and nothing else."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.models.view import open_ledger
from schemas.finding import OutOfReach, WrongRequest

if TYPE_CHECKING:
    import duckdb

# So often, in seconds, the thread that waits for a query wakes to hear of Ctrl-C, and says again to one that is to end
# that it is: DuckDB hears it between two of its steps only.
WAKE_EVERY = 0.05
# What a query may take. Our choice, no source: a farm of a million pickings is summed up in a tenth of it.
MEMORY = "1GB"
ROWS_AT_MOST, LETTERS_AT_MOST, PORTION = 1_000_000, 200_000_000, 1_000


@dataclass(frozen=True)
class FreeRows:
    """The rows of a free query, as records, and the names of its columns: each once."""

    names: tuple[str, ...]
    records: list[dict[str, object]]


def free_query(ledger: Path, sql: str, seconds: float | None = None) -> FreeRows:
    """Run one SELECT over the ledger at this path, for so many seconds at most.

    Raises WrongRequest for anything else, and for what DuckDB finds wrong with it; OutOfReach where it takes too much
    time or memory, and as open_ledger does.
    """
    import duckdb

    with open_ledger(ledger, scratch=False) as con:
        try:
            statements = con.extract_statements(sql)
            if len(statements) != 1 or statements[0].type != duckdb.StatementType.SELECT:
                raise WrongRequest("query: one SELECT is allowed, and nothing else.")
            con.execute(f"set memory_limit = '{MEMORY}'; set lock_configuration = true")
            return _within(con, seconds, lambda: _rows(con, sql))
        except duckdb.PermissionException as problem:
            raise WrongRequest("query: only the ledger can be read, no other file or setting.") from problem
        except duckdb.OutOfMemoryException as problem:
            raise OutOfReach(f"query: takes more than {MEMORY[:-2]} GB of memory. Ask for less.") from problem
        except TimeoutError as problem:
            raise OutOfReach(f"query: was not done in {seconds:g} seconds. Ask for less, or allow more.") from problem
        except duckdb.Error as problem:
            raise WrongRequest(f"query: {problem}") from problem


def _within(con: duckdb.DuckDBPyConnection, seconds: float | None, query: Callable[[], FreeRows]) -> FreeRows:
    """Run the query in a thread of its own: while DuckDB waits for its own threads, the one that called it hears no
    Ctrl-C. Raises TimeoutError after so many seconds (None: never), and KeyboardInterrupt; the query has ended then.
    """
    with ThreadPoolExecutor(1) as thread:
        running = thread.submit(query)
        until = math.inf if seconds is None else time.monotonic() + seconds
        try:
            # Ctrl-C may reach one of DuckDB's threads: this one hears of it when it is awake.
            while not wait([running], WAKE_EVERY).done and time.monotonic() < until:
                pass
            return running.result(0)
        finally:
            _stop(con, running)


def _stop(con: duckdb.DuckDBPyConnection, running: Future[FreeRows]) -> None:
    """End what the connection is at, if it is at anything."""
    while not running.done():
        con.interrupt()
        wait([running], WAKE_EVERY)


def _rows(con: duckdb.DuckDBPyConnection, sql: str) -> FreeRows:
    cursor = con.execute(sql)
    names = _distinct([column[0] for column in cursor.description or ()])
    return FreeRows(names, [dict(zip(names, row, strict=True)) for row in _bounded(cursor)])


def _bounded(cursor: duckdb.DuckDBPyConnection) -> Iterator[tuple[object, ...]]:
    """The rows, as long as they are not more than memory holds. Raises OutOfReach."""
    rows = letters = 0
    while portion := cursor.fetchmany(PORTION):
        rows += len(portion)
        letters += sum(len(cell) for row in portion for cell in row if isinstance(cell, str | bytes))
        if rows > ROWS_AT_MOST or letters > LETTERS_AT_MOST:
            limits = f"{ROWS_AT_MOST:,} rows, or {LETTERS_AT_MOST:,} letters"
            raise OutOfReach(f"query: gives more than {limits}. Sum them up, or add LIMIT.")
        yield from portion


def _distinct(names: Sequence[str]) -> tuple[str, ...]:
    """Return the names of columns, each once: a second `a` is `a_2`, unless another column is called so."""
    found: list[str] = []
    for each in names:
        calls = (each, *(f"{each}_{number}" for number in range(2, len(names) + 2)))
        found.append(next(name for name in calls if name not in found))
    return tuple(found)
