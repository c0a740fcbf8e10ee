"""What the tests share: a fixed time zone, small farms from literal rows, and the program run as its user runs it."""

import atexit
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

os.environ["TZ"] = "UTC"
# As commands do: threads of linear algebra wait for work by asking for it, and hinder the other tests.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.pop("GILLBOOK_FARM", None)
# What gillbook keeps outside of farms: nothing of who runs the tests.
os.environ["XDG_STATE_HOME"] = tempfile.mkdtemp(prefix="gillbook-state-")
atexit.register(shutil.rmtree, os.environ["XDG_STATE_HOME"], ignore_errors=True)
# Where a slow machine would show where a command is: tests/test_progress.py has terminals of its own.
os.environ["TERM"] = "dumb"
if hasattr(time, "tzset"):
    time.tzset()

REQUIRED = {
    "batches": {"strain": "grey", "substrate": "straw"},
    "fillings": {},
    "observations": {},
    "harvests": {},
    "prices": {},
    "sales": {},
    "promises": {},
}


@dataclass(frozen=True)
class Said:
    """What a run of the program printed, and its exit code."""

    out: str
    err: str
    code: int

    @property
    def json(self) -> list[dict[str, Any]]:
        return json.loads(self.out)


def gillbook(*words: object, cwd: Path | None = None, env: dict[str, str] | None = None) -> Said:
    """Runs the program in a process of its own, with nothing to type at it."""
    done = subprocess.run(
        [sys.executable, "-c", "from pipeline.cli import run; run()", *map(str, words)],
        cwd=cwd,
        env={**os.environ, "PYTHONWARNINGS": "error", **(env or {})},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=300,
        check=False,
    )
    return Said(done.stdout, done.stderr, done.returncode)


def write_table(folder: Path, table: str, text: str, file: str | None = None) -> Path:
    """Writes a table from indented literal rows; required columns that do not matter here are filled in."""
    lines = [line.strip() for line in text.strip().splitlines()]
    filled = {name: cell for name, cell in REQUIRED[table].items() if name not in lines[0].split(",")}
    lines = [
        ",".join([line, *(filled if at == 0 else filled.values())]) if line else "" for at, line in enumerate(lines)
    ]
    path = folder / (file or f"{table}.csv")
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")
    return path


@pytest.fixture
def farm(tmp_path: Path) -> Callable[..., Path]:
    """Makes a farm folder: farm(batches="...", harvests="...") with each table's literal rows."""

    def make(settings: str = "", **tables: str) -> Path:
        (tmp_path / "farm.toml").write_text(settings, encoding="utf-8")
        for table, text in tables.items():
            write_table(tmp_path, table, text)
        return tmp_path

    return make
