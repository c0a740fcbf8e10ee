"""What the tests of the ledger share: refreshing in this process, looking into the ledger, and other processes."""

from __future__ import annotations

import io
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from pathlib import Path

import duckdb
import pytest
from conftest import Said

from pipeline.cli.app import run_commands
from pipeline.cli.interrupts import Interrupts
from pipeline.farm.folder import open_farm
from pipeline.ledger.refresh import Refreshed, refresh

NOW = "2026-06-01T08:00:00+00:00"
BATCHES = "batch,inoculated_on,substrate_wet_kg,moisture_pct\nA,2026-01-01,10,70"
FILLINGS = "batch,container,fill_kg\nA,1,5\nA,2,5"
HARVESTS = "picked_on,fresh_weight_g,container\n2026-02-01,300,1\n2026-02-06,200,1"
Table = list[tuple[object, ...]]
THREE_TABLES = {"batches": BATCHES, "fillings": FILLINGS, "harvests": HARVESTS}


def refreshed(folder: Path, now: str = NOW) -> Refreshed:
    return refresh(open_farm(folder), now)


def rows(folder: Path, sql: str) -> list[tuple[object, ...]]:
    with duckdb.connect(str(folder / "ledger.duckdb"), read_only=True) as con:
        return con.execute(sql).fetchall()


def tables(folder: Path) -> dict[str, Table]:
    """Every table and view of the ledger: its columns' names first, then its rows, sorted by all columns."""
    found = {}
    with duckdb.connect(str(folder / "ledger.duckdb"), read_only=True) as con:
        for (name,) in con.execute("show tables").fetchall():
            cursor = con.execute(f"select * from {name}")
            columns = tuple(column[0] for column in cursor.description or ())
            found[name] = [columns, *sorted(cursor.fetchall(), key=repr)]
    return found


def here(*words: object) -> Said:
    """Runs the program as conftest.gillbook does, but in this process, which is quicker."""
    out, err, argv = io.StringIO(), io.StringIO(), sys.argv
    sys.argv = ["gillbook", *map(str, words)]
    try:
        with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as ending:
            run_commands(Interrupts())
    finally:
        sys.argv = argv
    return Said(out.getvalue(), err.getvalue(), int(ending.value.code or 0))


def change_ledger(folder: Path, sql: str) -> None:
    with duckdb.connect(str(folder / "ledger.duckdb")) as con:
        con.execute(sql)


def child(code: str, *words: object) -> subprocess.Popen[str]:
    given = [sys.executable, "-c", code, *map(str, words)]
    return subprocess.Popen(given, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


@contextmanager
def meanwhile(code: str, *words: object) -> Iterator[int]:
    """Holds what `code` opens, in another process, while the body runs; gives that process's number."""
    other = child(f"import sys\n{code}\n    print('ready', flush=True); sys.stdin.readline()", *words)
    assert other.stdout is not None
    assert other.stdout.readline() == "ready\n", other.communicate()[1]
    try:
        yield other.pid
    finally:
        other.communicate("end\n")
