"""Does what ships work: the wheel alone, without development tools, from another folder?"""

import io
import json
import os
import subprocess
import sys
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


def run(*words: object, cwd: Path) -> str:
    clean = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "GILLBOOK_FARM")}
    done = subprocess.run(
        [*map(str, words)], cwd=cwd, env=clean, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def pip(python: Path, *words: object, cwd: Path) -> None:
    run(python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", *words, cwd=cwd)


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fresh environment that holds the wheel and what it needs, and nothing else."""
    folder = tmp_path_factory.mktemp("wheel")
    run(sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", folder, ROOT, cwd=folder)
    venv.create(folder / "env", with_pip=True)
    bin_folder = folder / "env" / ("Scripts" if os.name == "nt" else "bin")
    pip(bin_folder / "python", "--require-hashes", "--requirement", ROOT / "requirements.txt", cwd=folder)
    pip(bin_folder / "python", "--no-deps", next(folder.glob("*.whl")), cwd=folder)
    return bin_folder


def test_the_wheel_is_under_a_megabyte_and_packs_what_is_small(installed: Path) -> None:
    (wheel,) = installed.parents[1].glob("*.whl")
    # A megabyte as file managers of Windows count it; 998,511 bytes when this was written.
    assert wheel.stat().st_size < 2**20
    with zipfile.ZipFile(wheel) as packed:
        names = packed.namelist()
        models = zipfile.ZipFile(io.BytesIO(packed.read("pipeline/models/models.zip"))).namelist()
        results = zipfile.ZipFile(io.BytesIO(packed.read("schemas/results.zip"))).namelist()
    # Each stands in its archive, and nowhere else.
    assert sorted(models) == sorted(f"{each.parent.name}/{each.name}" for each in ROOT.glob("pipeline/models/*/*.sql"))
    assert sorted(results) == sorted(each.name for each in ROOT.glob("schemas/results/*.json"))
    assert not [name for name in names if name.endswith(".sql") or name.startswith("schemas/results/")]


def test_wheel_runs_help_and_demo_from_another_folder(installed: Path, tmp_path: Path) -> None:
    assert "yields" in run(installed / "gillbook", "--help", cwd=tmp_path)
    shown = run(installed / "gillbook", "demo", "farm", cwd=tmp_path)
    assert "Biological efficiency by recipe" in shown
    asked = ("yields", "--by", "all", "--as-of", "2026-09-30", "--farm", "farm", "--json")
    rows = json.loads(run(installed / "gillbook", *asked, cwd=tmp_path))
    assert rows[0]["fresh_g"] > 100_000
    listed = run(
        installed / "python", "-m", "pip", "list", "--format=json", "--disable-pip-version-check", cwd=tmp_path
    )
    names = {each["name"].lower() for each in json.loads(listed)}
    assert "gillbook" in names
    assert not names & {"pytest", "mypy", "ruff", "hypothesis", "frictionless"}


def test_each_import_name_belongs_to_gillbook_alone(installed: Path, tmp_path: Path) -> None:
    code = (
        "import importlib.metadata as m; names = m.packages_distributions(); "
        "print([names[n] for n in ('pipeline', 'reports', 'schemas')])"
    )
    told = run(installed / "python", "-c", code, cwd=tmp_path).strip()
    assert set(told.strip("[]").replace("], [", ", ").replace("'", "").split(", ")) == {"gillbook"}


def test_typed_marker_ships_in_each_package(installed: Path, tmp_path: Path) -> None:
    code = (
        "from importlib.resources import files; "
        "print([files(n).joinpath('py.typed').is_file() for n in ('pipeline', 'reports', 'schemas')], "
        "files('reports').joinpath('chart_licences.txt').is_file())"
    )
    assert run(installed / "python", "-c", code, cwd=tmp_path).strip() == "[True, True, True] True"


def test_locked_versions_name_no_address() -> None:
    for name in ("requirements.txt", "requirements-dev.txt"):
        text = (ROOT / name).read_text(encoding="utf-8")
        assert "--hash=sha256:" in text
        assert "://" not in text
