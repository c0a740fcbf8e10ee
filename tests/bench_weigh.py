"""Is `gillbook weigh` quick enough? Its time from start to exit, as a ratio to that of a bare Typer program.

Both are started by turns in one run, and the best of each counts: `python -m tests.bench_weigh`. Ends with 1 above the
limit. The farm has 20,000 pickings; the entry is on disk when the program ends. The very first entry, which reads all
files, is said beside, as CPU time.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

LIMIT = 1.5
# One command with the same two words, which prints them: as small as such a program can be.
BARE = """
import typer

app = typer.Typer()

@app.command()
def weigh(container: str, weight: str) -> None:
    typer.echo(f"{container} {weight}")

app()
"""
# As the installed console script begins.
GILLBOOK = "import sys; from pipeline.cli import run; sys.exit(run())"
DAY = "2026-01-15"


def seconds(given: list[str]) -> float:
    """How long does this program take, from start to exit?"""
    started = time.perf_counter()
    subprocess.run(given, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - started


def first_entry(folder: Path) -> float:
    """CPU seconds of an entry in a folder where nothing is saved of the files yet; it is taken back."""
    words = [sys.executable, "-c", GILLBOOK, "weigh"]
    before = os.times()
    seconds([*words, container_of(folder), "412", "--on", DAY, "--insist", "--farm", str(folder)])
    after = os.times()
    seconds([*words, "--undo", "--farm", str(folder)])
    return after.children_user + after.children_system - before.children_user - before.children_system


def container_of(folder: Path) -> str:
    """The first container that was filled."""
    with (folder / "fillings.csv").open(encoding="utf-8") as rows:
        return rows.readlines()[1].split(",")[1]


def measured(folder: Path, repeats: int) -> tuple[float, float]:
    """The best times of the bare program and of an entry, taking turns."""
    container = container_of(folder)
    bare, weigh = [], []
    for turn in range(repeats):
        words = [container, f"{200 + turn}", "--on", DAY, "--insist", "--farm", str(folder)]
        bare.append(seconds([sys.executable, "-c", BARE, container, "412"]))
        weigh.append(seconds([sys.executable, "-c", GILLBOOK, "weigh", *words]))
    written = (folder / f"harvests/{DAY[:7]}.csv").read_text(encoding="utf-8").splitlines()
    assert len(written) == 1 + repeats, "each run logs its entry"
    return min(bare), min(weigh)


def main() -> int:
    """Measures and prints; 1 when the limit is passed."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--pickings", type=int, default=20_000)
    words.add_argument("--repeats", type=int, default=20)
    given = words.parse_args()
    from pipeline.demo import write_bench

    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "farm"
        folder.mkdir()
        write_bench(folder, given.pickings, 1)
        first = first_entry(folder)
        bare, weigh = measured(folder, given.repeats)
    ratio = weigh / bare
    print(f"bare Typer program {bare * 1000:.0f} ms, gillbook weigh {weigh * 1000:.0f} ms: ratio {ratio:.2f}")
    print(f"the first entry, which reads all files: {first:.2f} s of CPU")
    held = "held" if ratio <= LIMIT else "PASSED OVER"
    print(f"limit {LIMIT}: {held} ({given.pickings:,} pickings, best of {given.repeats})")
    return 0 if ratio <= LIMIT else 1


if __name__ == "__main__":
    sys.exit(main())
