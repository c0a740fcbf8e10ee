"""Is gillbook fast enough? `make bench` measures ratios in one run, never seconds against a limit.

The yardstick is DuckDB's own typed load of the same files into a file of its own, with no checks, lineage or decisions.
Each measurement is a process of its own; the two take turns, and the best of each counts. Peak memory is the process's.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import platform
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from importlib.metadata import version
from pathlib import Path
from typing import Any

RATIO_LIMIT = 3.0
RATIO_AIM = 2.4
MEMORY_LIMIT_MB = 2000


def load_unchecked(folder: Path) -> dict[str, Any]:
    """How long does DuckDB take to load the four tables' files, typed and unchecked? Faulty rows are skipped."""
    import duckdb

    from pipeline.farm.folder import table_files
    from pipeline.models.columns import sql_type
    from schemas.contract import GROWING, contract

    ledger = folder / "unchecked.duckdb"
    ledger.unlink(missing_ok=True)
    started = time.perf_counter()
    with duckdb.connect(str(ledger)) as con:
        for name in GROWING:
            files = [str(source.path) for source in table_files(folder) if source.table == name]
            with open(files[0], encoding="utf-8", newline="") as lines:
                header = next(csv.reader(lines))
            columns = {column: sql_type(contract(name).field(column)) for column in header}
            con.execute(
                f"create table {name} as select * from "
                f"read_csv({files!r}, header = true, columns = {columns!r}, ignore_errors = true)"
            )
    taken = time.perf_counter() - started
    size = ledger.stat().st_size
    ledger.unlink()
    return {"seconds": taken, "ledger_mb": size / 1e6}


def refresh_first(folder: Path) -> dict[str, Any]:
    """How long does a first refresh take: every rule, lineage, the stage and the decisions?"""
    # As DuckDB for the unchecked load, what refresh imports is there before the clock starts.
    import duckdb  # noqa: F401

    import pipeline.files.validate
    import pipeline.ledger.stage
    import pipeline.stats.gaps  # noqa: F401
    from pipeline.farm.folder import open_farm
    from pipeline.ledger.refresh import refresh

    for old in folder.glob("ledger.*"):
        old.unlink()
    shutil.rmtree(folder / "kept", ignore_errors=True)
    farm = open_farm(folder)
    started = time.perf_counter()
    done = refresh(farm, "bench")
    taken = time.perf_counter() - started
    return {
        "seconds": taken,
        "ledger_mb": farm.ledger.stat().st_size / 1e6,
        "rows": sum(count["rows_in"] for count in done.counts),
        "pickings": sum(count["rows_in"] for count in done.counts if count["table_name"] == "harvests"),
        "findings": done.levels,
    }


def refresh_unchanged(folder: Path) -> dict[str, Any]:
    """How long does a refresh take when nothing changed?"""
    from pipeline.farm.folder import open_farm
    from pipeline.ledger.refresh import refresh

    started = time.perf_counter()
    refresh(open_farm(folder), "bench")
    return {"seconds": time.perf_counter() - started, "opened_duckdb": "duckdb" in sys.modules}


def tell_yields(folder: Path) -> dict[str, Any]:
    """How long does biological efficiency by substrate take, once the ledger is there?"""
    from datetime import date

    from pipeline.farm.folder import open_farm
    from pipeline.models import measures
    from pipeline.models.view import Query, opened

    farm = open_farm(folder)
    started = time.perf_counter()
    query = Query(date(2030, 1, 1), ("substrate",))
    with opened(farm.ledger, farm.settings) as ledger:
        measures.yields(ledger.view(query))
    return {"seconds": time.perf_counter() - started}


STEPS = {each.__name__: each for each in (load_unchecked, refresh_first, refresh_unchanged, tell_yields)}


def peak_mb() -> float:
    """How much memory did this process hold at its highest? (Linux; elsewhere what the system keeps of it.)"""
    status = Path("/proc/self/status")
    if status.exists():
        high = next(line for line in status.read_text(encoding="utf-8").splitlines() if line.startswith("VmHWM"))
        return int(high.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def measured(step: str, folder: Path) -> dict[str, Any]:
    """Runs one step in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench", "--step", step, "--folder", str(folder)],
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    result: dict[str, Any] = json.loads(done.stdout)
    return result


def best(results: list[dict[str, Any]]) -> dict[str, Any]:
    """Which repetition counts? The quickest, with the highest memory of all."""
    quickest = min(results, key=lambda result: result["seconds"])
    return {**quickest, "peak_mb": max(result["peak_mb"] for result in results)}


def bench(pickings: int, repeats: int) -> dict[str, Any]:
    """Makes a farm with 0.5 % faulty rows, and measures each step on it, taking turns."""
    from pipeline.demo import write_bench

    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "farm"
        folder.mkdir()
        write_bench(folder, pickings, 1)
        size = sum(path.stat().st_size for path in folder.rglob("*.csv")) / 1e6
        turns: dict[str, list[dict[str, Any]]] = {step: [] for step in STEPS}
        for _ in range(repeats):
            for step, results in turns.items():
                results.append(measured(step, folder))
    steps = {step: best(results) for step, results in turns.items()}
    base = steps["load_unchecked"]["seconds"]
    return {
        "machine": {"cpus": os.cpu_count(), "architecture": platform.machine(), "system": platform.system()},
        "versions": {
            "python": platform.python_version(),
            **{name: version(name) for name in ("gillbook", "duckdb", "polars")},
        },
        "csv_mb": size,
        "repeats": repeats,
        "steps": {step: {**result, "ratio": result["seconds"] / base} for step, result in steps.items()},
        "limits": {"refresh_ratio": RATIO_LIMIT, "refresh_ratio_aim": RATIO_AIM, "peak_mb": MEMORY_LIMIT_MB},
    }


def show(told: dict[str, Any]) -> None:
    """Prints the table."""
    machine, versions = told["machine"], told["versions"]
    print(f"{machine['cpus']} CPUs, {machine['architecture']}, {machine['system']}; ", end="")
    print(", ".join(f"{name} {number}" for name, number in versions.items()))
    first = told["steps"]["refresh_first"]
    print(
        f"{first['pickings']:,} pickings, {first['rows']:,} rows, {told['csv_mb']:.0f} MB of CSV; "
        f"best of {told['repeats']}"
    )
    print(f"{'step':<20}{'seconds':>9}{'ratio':>8}{'peak MB':>9}{'ledger MB':>11}")
    for step, result in told["steps"].items():
        ledger = f"{result['ledger_mb']:.0f}" if "ledger_mb" in result else ""
        print(f"{step:<20}{result['seconds']:>9.3f}{result['ratio']:>8.2f}{result['peak_mb']:>9.0f}{ledger:>11}")


def main() -> int:
    """Measures, prints, writes bench_out/bench.json; 1 when a limit is passed."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--pickings", type=int, default=1_000_000)
    words.add_argument("--repeats", type=int, default=5)
    words.add_argument("--step", choices=STEPS)
    words.add_argument("--folder", type=Path)
    given = words.parse_args()
    if given.step:
        result = STEPS[given.step](given.folder)
        result["peak_mb"] = peak_mb()
        print(json.dumps(result))
        return 0
    told = bench(given.pickings, given.repeats)
    show(told)
    out = Path("bench_out")
    out.mkdir(exist_ok=True)
    (out / "bench.json").write_text(json.dumps(told, indent=1), encoding="utf-8")
    first = told["steps"]["refresh_first"]
    passed = first["ratio"] < RATIO_LIMIT and first["peak_mb"] < MEMORY_LIMIT_MB
    print(f"limits: ratio {RATIO_LIMIT}, {MEMORY_LIMIT_MB} MB: {'held' if passed else 'PASSED OVER'}")
    return 0 if passed and not told["steps"]["refresh_unchanged"]["opened_duckdb"] else 1


if __name__ == "__main__":
    sys.exit(main())
