"""Running models: their texts on a connection, their rows, and the few statements that name a file or a variable."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.models.lineage import model, order

if TYPE_CHECKING:
    import duckdb

# A row as it comes: whatever DuckDB gives for each cell.
LedgerRow = tuple[Any, ...]
# Blocks smaller than DuckDB's own (262,144 bytes) make the smallest ledgers of 10,000 to a million pickings (a tenth
# smaller at a million), but cost a fifteenth of the time of a first refresh where there is much to write: measured.
SMALL_BLOCK, SMALL_BLOCKS_BELOW = 65_536, 16_000_000
# What a draft may hold in memory, in MB for each thread of DuckDB's (on two cores 900), or as much as the files have
# bytes. Ten million pickings (660 MB of files) take 2.1 GB in all without a limit and 1.3 with it; deciding takes a
# tenth more CPU time. From 3 GB of files on DuckDB's own holds, which is four fifths of the machine's memory.
MEMORY_MB_A_THREAD, OWN_LIMIT_FROM = 450, 3_000_000_000

# The units that DuckDB tells sizes in.
UNITS = {"bytes": 1, "KiB": 2**10, "MiB": 2**20, "GiB": 2**30, "TiB": 2**40}


def connect(path: str, read_only: bool = False, config: Mapping[str, str] | None = None) -> duckdb.DuckDBPyConnection:
    """Return a connection to this database (":memory:": one of its own), which draws no bar of its progress.

    DuckDB would draw one on whatever is written to, from two seconds on; where a command is, cli/progress says.
    """
    import duckdb

    con = duckdb.connect(path, read_only=read_only, config=dict(config or {}))
    run(con, "quiet")
    return con


def memory_bytes() -> int:
    """Return how much memory DuckDB would take at most by itself: four fifths of what this process may have."""
    with connect(":memory:") as con:
        ((said,),) = con.execute("select current_setting('memory_limit')").fetchall()
    number, unit = str(said).split()
    return int(float(number) * UNITS[unit])


def statement(name: str) -> str:
    """Return the text of a model. Raises KeyError where there is none of this name."""
    return model(name).text


def statements_of(group: str) -> list[str]:
    """Return the texts of all models of a group, in their order."""
    return [statement(name) for name in order(group)]


def run(con: duckdb.DuckDBPyConnection, name: str, **values: object) -> duckdb.DuckDBPyConnection:
    """Run a model; `values`: of its parameters, each $NAME in its text."""
    return con.execute(statement(name), values or None)


def rows(con: duckdb.DuckDBPyConnection, name: str, **values: object) -> list[LedgerRow]:
    """Return the rows of a model: one tuple per row, in the order of its columns."""
    return run(con, name, **values).fetchall()


def table(con: duckdb.DuckDBPyConnection, name: str) -> tuple[list[str], list[LedgerRow]]:
    """Return the names of a model's columns, and its rows: one tuple per row, in their order."""
    cursor = run(con, name)
    return [column[0] for column in cursor.description or ()], cursor.fetchall()


def records(con: duckdb.DuckDBPyConnection, name: str) -> list[dict[str, Any]]:
    """Return the rows of a model: one record per row, by the names of its columns."""
    names, found = table(con, name)
    return [dict(zip(names, row, strict=True)) for row in found]


def set_variable(con: duckdb.DuckDBPyConnection, name: str, value: object) -> None:
    """Set a variable of the connection, which models read by getvariable."""
    con.execute(f"set variable {name} = ?", [value])


@contextmanager
def open_draft(path: Path, spill: Path, expected_bytes: int = 0) -> Iterator[duckdb.DuckDBPyConnection]:
    """Open a ledger that is written, or the place of one that comes, of files of so many bytes; what memory does not
    hold goes to `spill`.

    It is thrown away unless it is finished, so it needs no write-ahead log; and it is written out once, when the body
    ends without an exception, not whenever much has changed.
    """
    config = {"temp_directory": str(spill)}
    if expected_bytes < OWN_LIMIT_FROM:
        most = max(MEMORY_MB_A_THREAD * (os.cpu_count() or 1), expected_bytes // 1_000_000)
        config["memory_limit"] = f"{most}MB"
    with connect(":memory:", config=config) as con:
        named = "'" + str(path).replace("'", "''") + "'"
        # A ledger that stands keeps the size of its blocks.
        small = not path.exists() and expected_bytes < SMALL_BLOCKS_BELOW
        options = "recovery_mode no_wal_writes" + (f", block_size {SMALL_BLOCK}" if small else "")
        con.execute(f"attach {named} as draft ({options}); use draft; set checkpoint_threshold = '1TB'")
        yield con
        con.checkpoint()


@contextmanager
def writers(con: duckdb.DuckDBPyConnection, number: int) -> Iterator[list[duckdb.DuckDBPyConnection]]:
    """Open so many other connections to the draft that is open here, for threads that add to it at the same time. What
    they added is there when the body ends without an exception.
    """
    with ExitStack() as stack:
        opened = [stack.enter_context(con.cursor()) for _ in range(number)]
        for each in opened:
            run(each, "quiet")
            _use(each, "draft")
            each.begin()
        yield opened
        for each in opened:
            each.commit()


@contextmanager
def in_memory(con: duckdb.DuckDBPyConnection) -> Iterator[None]:
    """Let tables be read and made in memory, beside the draft that is open: see pipeline/ledger/part.py."""
    _use(con, "memory")
    yield
    _use(con, "draft")


def _use(con: duckdb.DuckDBPyConnection, database: str) -> None:
    con.execute(f"use {database}")


def insert_part(con: duckdb.DuckDBPyConnection, table: str, line: str) -> None:
    """Insert what the table in memory says of the part's lines, by this column of it, into the draft's."""
    of_part = con.table(f"memory.main.{table}").filter(f"{line} in (select line from part_lines)")
    of_part.insert_into(f"draft.main.{table}")
