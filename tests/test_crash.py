"""A refresh that is killed at any moment loses nothing: the next one gives the tables of one that was left in peace.

Twenty kills in `make test`; GILLBOOK_KILLS says another number, as `make crash` does.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import duckdb
import pytest
from ledgers import child, refreshed

from pipeline.demo import write_bench
from pipeline.farm.folder import open_farm
from pipeline.ledger.history import last_states, read_history

KILLS = int(os.environ.get("GILLBOOK_KILLS", "20"))
PICKINGS = 20_000
# Says when it is ready, waits for a word, says when it begins to write and when it is done.
REFRESHES = """
import sys, time
from pathlib import Path
import duckdb, pipeline.ledger.stage, pipeline.files.validate
from pipeline.farm.folder import open_farm
from pipeline.ledger.refresh import refresh
print("ready", flush=True)
sys.stdin.readline()
started = time.perf_counter()
refresh(open_farm(Path(sys.argv[1])), "2026-06-01T08:00:00+00:00", lambda step: print(step, flush=True))
print("done", time.perf_counter() - started, flush=True)
"""
Files = dict[str, bytes]
Digests = dict[str, tuple[int, int]]


@dataclass(frozen=True)
class State:
    """The farm's files at one time, and the tables and copies that an undisturbed refresh leads to."""

    files: Files
    tables: Digests
    copies: Files


def files_of(folder: Path) -> Files:
    """The files of the tables."""
    found = [*folder.glob("*.csv"), *folder.glob("harvests/*.csv")]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in found}


def make_hold(folder: Path, files: Files) -> None:
    for name in files_of(folder).keys() - files.keys():
        (folder / name).unlink()
    for name, content in files.items():
        if not (folder / name).exists() or (folder / name).read_bytes() != content:
            (folder / name).write_bytes(content)


def copies_of(folder: Path) -> Files:
    kept = folder / "kept/files"
    return {path.relative_to(kept).as_posix(): path.read_bytes() for path in kept.rglob("*") if path.is_file()}


def digests(folder: Path) -> Digests:
    """Of every table: how many rows, and a number that any other row would change."""
    with duckdb.connect(str(folder / "ledger.duckdb"), read_only=True) as con:
        names = [name for (name,) in con.execute("show tables").fetchall()]
        query = "select count(*), coalesce(sum(hash(t)::hugeint), 0) from {} as t"
        return {name: con.execute(query.format(name)).fetchall()[0] for name in names}


def edited(first: Files) -> Files:
    """The files after a day of edits: rows taken out, put in and changed, a month renamed, another split."""
    files = dict(first)
    months = sorted(name for name in files if name.startswith("harvests/"))
    header, *rows = files["batches.csv"].splitlines(keepends=True)
    files["batches.csv"] = header + b"".join(rows[7:])
    header, *rows = files[months[3]].splitlines(keepends=True)
    files[months[3]] = header + b"".join(rows[40:]) + rows[50].replace(b",", b",9", 1)
    files["harvests/renamed.csv"] = files.pop(months[5])
    header, *rows = files[months[6]].splitlines(keepends=True)
    files[months[6]], files["harvests/split.csv"] = header + b"".join(rows[:100]), header + b"".join(rows[100:])
    return files


def broken(second: Files) -> Files:
    """The files after a bad day: one vanished, one cut off within a row, one without a byte."""
    files = dict(second)
    months = sorted(name for name in files if name.startswith("harvests/2"))
    del files[months[10]]
    files[months[11]] = files[months[11]][: len(files[months[11]]) // 2].rpartition(b",")[0]
    files["observations.csv"] = b""
    return files


def begun(folder: Path) -> subprocess.Popen[str]:
    """A process that is ready to refresh."""
    process = child(REFRESHES, folder)
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n", process.communicate()[1]
    return process


def writing(process: subprocess.Popen[str]) -> float:
    """Lets it refresh; returns at the moment, and with the time, of its first write."""
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write("go\n")
    process.stdin.flush()
    assert process.stdout.readline() == "writing\n"
    return time.perf_counter()


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("crash") / "farm"
    folder.mkdir()
    write_bench(folder, PICKINGS, 1)
    return folder


@pytest.fixture(scope="module")
def states(farm: Path) -> list[State]:
    """Three states of the farm, one after the other, each refreshed undisturbed in another folder."""
    folder = shutil.copytree(farm, farm.with_name("undisturbed"))
    first = files_of(folder)
    second = edited(first)
    found = []
    for files in (first, second, broken(second)):
        make_hold(folder, files)
        refreshed(folder)
        found.append(State(files, digests(folder), copies_of(folder)))
    assert found[2].tables["harvests"] == found[1].tables["harvests"] != found[0].tables["harvests"]
    assert found[2].copies == found[1].copies
    return found


def killed(process: subprocess.Popen[str], seconds: float) -> tuple[str, float | None]:
    """Kills the refresh so long after its first write. The step it was at; if it was done, the seconds that it took."""
    started = writing(process)
    time.sleep(max(0.0, started + seconds - time.perf_counter()))
    process.send_signal(signal.SIGKILL)
    out, err = process.communicate()
    assert err == ""
    assert process.returncode == -signal.SIGKILL or "done" in out
    step = (["writing", *out.splitlines()])[-1].split()[0]
    return step, float(out.split()[-1]) if step == "done" else None


def whole_after_kill(folder: Path, before: Digests | None, states: list[State]) -> None:
    """Is the ledger the old one or the new one, and is every copy and every line of the history whole?"""
    if (folder / "ledger.duckdb").exists():
        assert digests(folder) in ([before] if before else []) + [state.tables for state in states]
    else:
        assert before is None
    for name, content in copies_of(folder).items():
        assert content in [state.copies.get(name) for state in states], name
    assert read_history(open_farm(folder)).torn == []


def steps(states: list[State]) -> Iterator[State]:
    """From each state to the next, round and round."""
    while True:
        yield from [*states[1:], states[0]]


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="the operating system knows no SIGKILL")
def test_after_a_kill_at_any_moment_the_next_refresh_gives_the_tables_of_a_clean_one(
    farm: Path, states: list[State]
) -> None:
    dice = random.Random(20)
    refreshed(farm)
    assert digests(farm) == states[0].tables
    lines = len((farm / "kept/history.jsonl").read_bytes().splitlines())
    hits: Counter[str] = Counter()
    runs = 0
    # How long a refresh takes, from a ledger or without one: learnt as it goes, for the machine may have other work.
    seconds = {True: 0.5, False: 0.5}
    process = begun(farm)
    for state in steps(states):
        if hits.total() == KILLS:
            break
        make_hold(farm, state.files)
        before: Digests | None = digests(farm)
        if dice.random() < 0.2:  # as after the grower deleted it: a first refresh, with kept/ there
            (farm / "ledger.duckdb").unlink()
            before = None
        step, took = killed(process, dice.uniform(0, seconds[before is None]))
        seconds[before is None] = took or 1.1 * seconds[before is None]
        hits, runs = hits + Counter([step] if took is None else []), runs + 1
        assert runs <= 3 * KILLS + 10, f"only {hits.total()} of {runs} refreshes were still at work when killed"
        process = begun(farm)  # takes its time while this one looks
        whole_after_kill(farm, before, states)
        refreshed(farm)
        assert digests(farm) == state.tables
        assert copies_of(farm) == state.copies
        assert not [*farm.glob("ledger.next*"), *farm.glob("kept/drafts"), *farm.glob("*.new")]
        lines += 1  # one line for what changed, whether the killed refresh or the next one wrote it
        assert len((farm / "kept/history.jsonl").read_bytes().splitlines()) == lines
    process.kill()
    process.communicate()
    counts = {key: each["loaded"] for key, each in last_states(read_history(open_farm(farm)).records).items()}
    told = {(each["table_name"], each["file"]): each["loaded"] for each in refreshed(farm).counts}
    assert counts == told
    at = ", ".join(f"{number} {step}" for step, number in sorted(hits.items()))
    print(f"{hits.total()} of {runs} refreshes killed at work ({at}); each next one gave the tables of a clean one")


def test_what_a_killed_refresh_left_is_taken_away(farm: Path, states: list[State]) -> None:
    make_hold(farm, states[0].files)
    refreshed(farm)
    for name in ("ledger.next.duckdb", "ledger.next.duckdb.wal", "ledger.next.duckdb.tmp/spilt.tmp", "kept/drafts/0a"):
        (farm / name).parent.mkdir(parents=True, exist_ok=True)
        (farm / name).write_bytes(b"half")
    make_hold(farm, states[1].files)
    refreshed(farm)
    assert not [*farm.glob("ledger.next*"), *farm.glob("kept/drafts")]
    assert (digests(farm), copies_of(farm)) == (states[1].tables, states[1].copies)
