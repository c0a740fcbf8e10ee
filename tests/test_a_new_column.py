"""A field added to the contract of batches loads, groups, compares, is logged, proposed and planned by that alone."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parent.parent
CHOICE: dict[str, Any] = {
    "name": "nutrient",
    "type": "string",
    "title": "Nutrient",
    "description": "What was dissolved in the soaking water.",
    "role": "choice",
    "varies": "batch",
    "recipe": True,
    "option": "--nutrient",
    "headings": ["soaking additive"],
}
AMOUNT: dict[str, Any] = {
    "name": "nutrient_g",
    "type": "number",
    "title": "Nutrient added",
    "description": "Mass of the nutrient.",
    "unit": "g",
    "role": "amount",
    "varies": "batch",
    "belongsTo": "nutrient",
    "option": "--nutrient-g",
    "constraints": {"minimum": 0},
    "headings": ["weight of additive"],
}
BATCHES = "batch,inoculated_on,strain,substrate,soak,substrate_dry_kg,nutrient,nutrient_g\n"


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the program whose contract of batches has two more fields, and nothing else."""
    copy = tmp_path_factory.mktemp("program")
    for name in ("pipeline", "reports", "schemas"):
        shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__"))
    path = copy / "schemas/inputs/batches.json"
    contract = json.loads(path.read_text(encoding="utf-8"))
    contract["fields"][-1:-1] = [CHOICE, AMOUNT]
    path.write_text(json.dumps(contract), encoding="utf-8")
    return copy


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Six soaks, three with each nutrient."""
    rows = [f"B{at},2026-01-0{at},grey,straw,S{at},2,{'urea' if at % 2 else 'bran'},{at}5.0" for at in range(1, 7)]
    tables = {
        "farm.toml": "",
        "batches.csv": BATCHES + "\n".join(rows) + "\n",
        "fillings.csv": "batch,container\n" + "".join(f"B{at},{at}\n" for at in range(1, 7)),
        "observations.csv": "seen_on,container,event\n" + "".join(f"2026-03-01,{at},emptied\n" for at in range(1, 7)),
        "harvests.csv": "picked_on,fresh_weight_g,container\n"
        + "".join(f"2026-02-0{at},{1000 + 300 * (at % 2) + at},{at}\n" for at in range(1, 7)),
    }
    for name, text in tables.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


def run(package: Path, *words: object) -> str:
    """What the program prints on standard output; it must end well."""
    start = "from pipeline.cli import run; run()"
    done = subprocess.run(
        [sys.executable, "-c", start, *map(str, words)],
        env={**os.environ, "PYTHONPATH": str(package), "GILLBOOK_FARM": ""},
        cwd=package,
        capture_output=True,
        text=True,
        check=False,
        stdin=subprocess.DEVNULL,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_refresh_loads_it_and_yields_groups_by_it(package: Path, folder: Path) -> None:
    by_word = json.loads(run(package, "yields", "--by", "nutrient", "--json", "--farm", folder))
    assert {each["nutrient"]: each["units"] for each in by_word} == {"bran": 3, "urea": 3}
    by_number = json.loads(run(package, "yields", "--by", "nutrient_g", "--json", "--farm", folder))
    assert [each["nutrient_g"] for each in by_number] == ["15.0", "25.0", "35.0", "45.0", "55.0", "65.0"]


def test_compare_holds_its_levels_against_each_other(package: Path, folder: Path) -> None:
    found = json.loads(run(package, "compare", "nutrient", "--json", "--farm", folder))
    assert [(each["level"], each["against"], each["direction"]) for each in found] == [("urea", "bran", "more")]


def test_batch_logs_it_by_its_option_and_proposes_it_for_the_next_one(package: Path, folder: Path) -> None:
    first = ("--on", "2026-03-01", "--strain", "grey", "--substrate", "straw")
    run(package, "batch", "B7", *first, "--nutrient", "urea", "--nutrient-g", "1 oz", "--farm", folder)
    run(package, "batch", "B8", "--on", "2026-03-02", "--like", "B7", "--farm", folder)
    logged = (folder / "batches.csv").read_text(encoding="utf-8").splitlines()[-2:]
    assert logged == ["B7,2026-03-01,grey,straw,,,urea,28.35", "B8,2026-03-02,grey,straw,,,urea,"]
    assert "Mass of the nutrient." in run(package, "batch", "--help")


def test_init_from_proposes_it_by_its_heading(package: Path, tmp_path: Path) -> None:
    own = tmp_path / "own.csv"
    own.write_text(
        "batch,inoculated_on,strain,substrate,Soaking additive\nB1,2026-01-01,grey,straw,urea\n",
        encoding="utf-8",
    )
    out = run(package, "init", tmp_path / "new", "--from", own, "--yes")
    settings = (tmp_path / "new/farm.toml").read_text(encoding="utf-8")
    assert '"Soaking additive" = "nutrient"' in settings, out


def test_a_trial_of_it_is_planned(package: Path, folder: Path) -> None:
    with (folder / "fillings.csv").open("a", encoding="utf-8") as rows:
        rows.write("".join(f"B{at},{at}b\n" for at in range(1, 7)))
    with (folder / "observations.csv").open("a", encoding="utf-8") as rows:
        rows.write("".join(f"2026-03-01,{at}b,emptied\n" for at in range(1, 7)))
    with (folder / "harvests.csv").open("a", encoding="utf-8") as rows:
        rows.write("".join(f"2026-02-0{at},{1100 + 20 * at},{at}b\n" for at in range(1, 7)))
    planned = ("trial", "--factor", "nutrient", "--levels", "urea,bran", "--soaks", "3", "--farm", folder)
    assert "urea" in run(package, *planned, "--list", "portions")
    assert json.loads(run(package, *planned, "--json"))[0]["soaks_per_level"] == 3
