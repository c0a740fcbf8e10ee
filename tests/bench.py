"""How long gillbook's answers take, beside yardsticks of the same run. `make bench` prints one table of ratios.

Each measurement is a process of its own (or several, one after the other). Program and yardstick take turns, and the
median of each counts: of the clock, of CPU seconds, and the highest memory. A goal is a ratio by the clock; one that is
missed is said, and the run ends with 1. Writes bench_out/bench.json.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from tests.yardsticks import BARE

Words = Sequence[str]
GILLBOOK = (sys.executable, "-c", "import sys; from pipeline.cli import run; sys.exit(run())")
BARE_PROGRAM = (sys.executable, "-c", BARE.format(imports="import duckdb"))
BARE_START = (sys.executable, "-c", BARE.format(imports=""))
DAY = "2030-01-01"
READING = (
    "yields",
    "flushes",
    "days",
    "losses",
    "months",
    "today",
    "money",
    "pins",
    "spawn",
    "outlook",
    "another-flush",
)


@dataclass(frozen=True)
class Cost:
    """What processes took: seconds by the clock, CPU seconds, and the highest memory of one of them in MB."""

    seconds: float
    cpu: float
    peak_mb: float


@dataclass(frozen=True)
class Work:
    """Commands that run one after the other, and what is done before, which does not count."""

    commands: Sequence[Words]
    before: Callable[[], None] = field(default=lambda: None)


@dataclass(frozen=True)
class Line:
    """A line of the table: what is measured against what, and the goals."""

    what: str
    yardstick: str
    work: Work
    measure: Work
    goal: float
    peak_goal_mb: float = math.inf


def cost(commands: Sequence[Words]) -> Cost:
    """Run these commands, one after the other. Raises RuntimeError where one fails."""
    started, cpu, peak = time.perf_counter(), 0.0, 0
    for words in commands:
        process = subprocess.Popen(
            words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, cwd=Path(__file__).parent.parent
        )
        with process:
            assert process.stderr is not None
            said = process.stderr.read().decode(errors="replace")
            _, status, used = os.wait4(process.pid, 0)
            process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode:
            raise RuntimeError(f"{words[-4:]} ended with {process.returncode}: {said[-400:]}")
        cpu, peak = cpu + used.ru_utime + used.ru_stime, max(peak, used.ru_maxrss)
    return Cost(time.perf_counter() - started, cpu, peak / 1024)


def median(costs: Sequence[Cost]) -> Cost:
    """Return the median of the seconds, and the highest memory."""
    seconds, cpu = (statistics.median(getattr(each, name) for each in costs) for name in ("seconds", "cpu"))
    return Cost(seconds, cpu, max(each.peak_mb for each in costs))


def measured(line: Line, repeats: int) -> dict[str, Any]:
    """Return the costs of a line's work and of its yardstick, which take turns, and their ratios."""
    turns: dict[str, list[Cost]] = {"work": [], "yardstick": []}
    for _ in range(repeats):
        for name, each in (("work", line.work), ("yardstick", line.measure)):
            each.before()
            turns[name].append(cost(each.commands))
    work, yardstick = median(turns["work"]), median(turns["yardstick"])
    ratio = work.seconds / yardstick.seconds
    return {
        "what": line.what,
        "yardstick": line.yardstick,
        "ratio": ratio,
        "cpu_ratio": work.cpu / yardstick.cpu,
        "goal": line.goal,
        "peak_goal_mb": None if math.isinf(line.peak_goal_mb) else line.peak_goal_mb,
        "held": ratio <= line.goal and work.peak_mb <= line.peak_goal_mb,
        "work": asdict(work),
        "of_yardstick": asdict(yardstick),
    }


def asks(folder: Path, *words: str) -> Words:
    """Return the command line of gillbook with these words, for the farm in this folder."""
    day = () if words[0] in ("refresh", "weigh", "--help") else ("--as-of", DAY)
    return (*GILLBOOK, *words, *day, "--farm", str(folder))


def yardstick(name: str, folder: Path) -> Words:
    """Return the command line of this yardstick."""
    return (sys.executable, "-m", "tests.yardsticks", name, str(folder))


def forget(folder: Path) -> None:
    """Take away all that gillbook made of the files."""
    for old in [*folder.glob("ledger.*"), *folder.glob("ledger-*")]:
        old.unlink()
    for made in ("kept", "out"):
        shutil.rmtree(folder / made, ignore_errors=True)


def write_farm(folder: Path, pickings: int, faulty_share: float) -> None:
    """Write a farm of so many pickings, in a process of its own: a process that is begun counts the memory of the one
    that begins it among its own highest.
    """
    script = "import sys; from pathlib import Path; from pipeline.demo import write_bench; "
    script += "write_bench(Path(sys.argv[1]), int(sys.argv[2]), 1, float(sys.argv[3]))"
    folder.mkdir()
    cost([(sys.executable, "-c", script, str(folder), str(pickings), str(faulty_share))])


def append(folder: Path) -> None:
    """Append a picking to the last file of pickings."""
    last = max((folder / "harvests").glob("*.csv"))
    lines = last.read_text(encoding="utf-8").splitlines()
    cells = lines[-1].split(",")
    cells[1] = str(200 + len(lines) % 300)
    with last.open("a", encoding="utf-8") as file:
        file.write(",".join(cells) + "\n")


def lines_of_size(folder: Path, pickings: int) -> list[Line]:
    """The lines that are measured on a farm of so many pickings. Goals: those of a million, and of ten."""
    ten = pickings > 3_000_000
    ready = Work([asks(folder, "yields")])
    ended = [asks(folder, "refresh"), asks(folder, "yields"), asks(folder, "flushes")]
    anew = Work(ended, lambda: forget(folder))
    found = [
        Line(
            "first refresh",
            "unchecked load",
            Work([asks(folder, "refresh")], lambda: forget(folder)),
            Work([yardstick("unchecked", folder)]),
            2.6 if ten else 2.2,
            1500 if ten else 600,
        ),
        Line("refresh, yields, flushes from nothing", "a pandas script", anew, Work([yardstick("pandas", folder)]), 2),
        Line("refresh, yields, flushes from nothing", "a Polars script", anew, Work([yardstick("polars", folder)]), 6),
        Line(
            "a picking appended, yields",
            "yields",
            Work([asks(folder, "yields")], lambda: append(folder)),
            ready,
            2 if ten else 1.5,
        ),
        Line("yields, ready", "a Polars script", ready, Work([yardstick("polars", folder)]), 0.5),
    ]
    for words in (("compare", "substrate"), ("compare",), ("spawn",), ("pins",), ("flushes",), ("outlook",)):
        found.append(Line(" ".join(words), "yields", Work([asks(folder, *words)]), ready, 3, 1000))
    found.append(Line("report", "yields", Work([asks(folder, "report")]), ready, 8, 1000))
    return found  # fmt: skip


def lines_of_demo(folder: Path) -> list[Line]:
    """The lines that are measured on the demo farm."""
    bare, start = Work([BARE_PROGRAM]), Work([BARE_START])
    container = (folder / "fillings.csv").read_text(encoding="utf-8").splitlines()[1].split(",")[1]
    weigh = asks(folder, "weigh", container, "212", "--on", "2026-09-29", "--insist")
    found = [Line(name, "a bare program with duckdb", Work([asks(folder, name)]), bare, 2.5) for name in READING]
    return [
        *found,
        Line("report", "a bare program with duckdb", Work([asks(folder, "report")]), bare, 6),
        Line("refresh, nothing changed", "a bare program", Work([asks(folder, "refresh")]), start, 1.1),
        Line("--help", "a bare program", Work([(*GILLBOOK, "--help")]), start, 1.1),
        Line("weigh", "a bare program", Work([weigh]), start, 1.1),
    ]


def growth(folder: Path, sizes: Sequence[int]) -> list[dict[str, Any]]:
    """The exponents with which CPU seconds grow from one size to the next."""
    took: dict[str, list[float]] = {"refresh": [], "yields": []}
    for pickings in sizes:
        farm = folder / f"of-{pickings}"
        write_farm(farm, pickings, 0.005)
        for name, costs in took.items():
            costs.append(min(cost([asks(farm, name)]).cpu for _ in range(1 if name == "refresh" else 3)))
        shutil.rmtree(farm)
    return [
        {"what": name, "from": one, "to": two, "exponent": math.log(b / a) / math.log(two / one), "goal": 1.05}
        for name, costs in took.items()
        for one, two, a, b in zip(sizes, sizes[1:], costs, costs[1:], strict=False)
    ]


def show(found: Sequence[dict[str, Any]], exponents: Sequence[dict[str, Any]]) -> None:
    """Print the table."""
    print(f"{'what':<39}{'yardstick':<28}{'ratio':>7}{'CPU':>7}{'goal':>6}{'s':>8}{'peak MB':>9}")
    for each in found:
        missed = "" if each["held"] else "  missed"
        print(
            f"{each['what']:<39}{each['yardstick']:<28}{each['ratio']:>7.2f}{each['cpu_ratio']:>7.2f}{each['goal']:>6.1f}"
            f"{each['work']['seconds']:>8.2f}{each['work']['peak_mb']:>9.0f}{missed}"
        )
    for each in exponents:
        print(f"{each['what']}: exponent {each['exponent']:.2f} from {each['from']:,} to {each['to']:,} pickings")


def main() -> int:
    """Measure, print, write the JSON; 1 where a goal is missed."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--pickings", type=int, default=1_000_000)
    words.add_argument("--repeats", type=int, default=5)
    words.add_argument("--sizes", type=int, nargs="*", default=[10_000, 100_000, 1_000_000])
    words.add_argument("--only", nargs="*", default=[""], help="lines whose name begins with one of these")
    given = words.parse_args()
    # As an installed program has them: modules are compiled once, not at every start.
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    from pipeline.demo import write_demo

    with tempfile.TemporaryDirectory() as made:
        large, demo = Path(made) / "large", Path(made) / "demo"
        write_farm(large, given.pickings, 0.0)
        write_demo(demo)
        for folder in (large, demo):
            cost([asks(folder, "refresh")])
        lines = [*lines_of_size(large, given.pickings), *lines_of_demo(demo)]
        found = [measured(each, given.repeats) for each in lines if each.what.startswith(tuple(given.only))]
        exponents = growth(Path(made), given.sizes)
    show(found, exponents)
    out = Path("bench_out")
    out.mkdir(exist_ok=True)
    (out / "bench.json").write_text(json.dumps({"lines": found, "growth": exponents}, indent=1), encoding="utf-8")
    return 0 if all(each["held"] for each in found) else 1


if __name__ == "__main__":
    sys.exit(main())
