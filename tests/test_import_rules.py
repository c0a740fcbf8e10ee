"""The hourglass: schemas knows nobody, reports only schemas, and pipeline/cli alone both measures and reports."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import grimp
import pytest

HOUSE = Path(__file__).parent.parent
PACKAGES = ("pipeline", "reports", "schemas")


@pytest.fixture
def imports() -> grimp.ImportGraph:
    return grimp.build_graph(*PACKAGES, cache_dir=None)


def broken(imports: grimp.ImportGraph) -> list[str]:
    """Which imports break the rules of the house?"""
    edges = [
        (importer, imported)
        for importer in imports.modules
        for imported in imports.find_modules_directly_imported_by(importer)
    ]
    floor = {package: {module for module in imports.modules if module.split(".")[0] == package} for package in PACKAGES}
    found = [(a, b) for a, b in edges if a in floor["schemas"] and b in floor["pipeline"] | floor["reports"]]
    found += [(a, b) for a, b in edges if a in floor["reports"] and b in floor["pipeline"]]
    found += [
        (a, b)
        for a, b in edges
        if b in floor["reports"] and a in floor["pipeline"] and not a.startswith(("pipeline.cli", "pipeline.web"))
    ]
    # The edge of the browser is begun by the command line alone, and knows nothing of it.
    edges_of_web = [(a, b) for a, b in edges if b.startswith("pipeline.web") and not a.startswith("pipeline.web")]
    found += [(a, b) for a, b in edges_of_web if not a.startswith("pipeline.cli")]
    # What the command line prints and ends, nothing below it may know.
    found += [(a, b) for a, b in edges if b.startswith("pipeline.cli") and not a.startswith("pipeline.cli")]
    return sorted(f"{importer} imports {imported}" for importer, imported in found)


def test_every_module_keeps_the_rules(imports: grimp.ImportGraph) -> None:
    assert {"schemas.check", "pipeline.cli.app", "pipeline.models.measures", "reports"} <= imports.modules
    assert broken(imports) == []


@pytest.mark.parametrize(
    ("importer", "imported"),
    [
        ("schemas.check", "pipeline.farm.folder"),
        ("schemas.check", "reports"),
        ("reports", "pipeline.models.measures"),
        ("pipeline.models.measures", "reports"),
        ("pipeline.ledger.refresh", "pipeline.cli.options"),
        ("pipeline.web.pages", "pipeline.cli.options"),
        ("pipeline.logbook.weigh", "pipeline.web.desk"),
    ],
)
def test_an_import_that_breaks_a_rule_is_found(imports: grimp.ImportGraph, importer: str, imported: str) -> None:
    imports.add_import(importer=importer, imported=imported)
    assert broken(imports) == [f"{importer} imports {imported}"]
    imports.add_import(importer="pipeline.cli.app", imported="reports")
    imports.add_import(importer="pipeline.cli.app", imported="pipeline.models.measures")
    assert broken(imports) == [f"{importer} imports {imported}"]


@pytest.mark.parametrize(
    ("module", "planted", "broken_rule"),
    [
        ("schemas/finding.py", "", None),
        ("schemas/finding.py", "import pipeline.farm.folder", "schemas knows nobody"),
        ("reports/__init__.py", "import duckdb", "reports knows schemas only"),
        ("pipeline/models/measures.py", "import reports", "of the pipeline, only cli and web know reports"),
        ("pipeline/cli/show.py", "import reports", None),
        ("pipeline/web/forms.py", "import reports", None),
    ],
)
def test_what_make_check_runs_finds_a_planted_import(
    tmp_path: Path, module: str, planted: str, broken_rule: str | None
) -> None:
    for package in PACKAGES:
        shutil.copytree(HOUSE / package, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(HOUSE / "pyproject.toml", tmp_path)
    with (tmp_path / module).open("a", encoding="utf-8") as text:
        text.write(f"\n{planted}\n")
    linter = "from importlinter.cli import lint_imports_command; lint_imports_command()"
    done = subprocess.run(
        [sys.executable, "-c", linter, "--no-cache"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == (1 if broken_rule else 0), done.stdout + done.stderr
    # A planted import may break other rules by a longer way, too.
    told = [line.split(" BROKEN")[0] for line in done.stdout.splitlines() if " BROKEN" in line]
    assert broken_rule in told if broken_rule else not told


@pytest.mark.parametrize("library", ["scipy", "altair"])
def test_what_tests_alone_use_no_module_imports(library: str) -> None:
    graph = grimp.build_graph(*PACKAGES, cache_dir=None, include_external_packages=True)
    assert "numpy" in graph.modules
    importers = graph.find_modules_that_directly_import(library) if library in graph.modules else set()
    assert importers == set()
