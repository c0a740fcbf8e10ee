"""Does what ships work: the wheel alone, without development tools, from another folder?"""

import ast
import http.client
import io
import json
import os
import re
import shutil
import subprocess
import sys
import venv
import zipfile
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = ("pipeline", "reports", "schemas")


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
    # A megabyte as standards have it (IEC 80000-13); 919,507 bytes when this was written.
    assert wheel.stat().st_size < 10**6
    with zipfile.ZipFile(wheel) as packed:
        names = packed.namelist()
        models = zipfile.ZipFile(io.BytesIO(packed.read("pipeline/models/models.zip"))).namelist()
        results = zipfile.ZipFile(io.BytesIO(packed.read("schemas/results.zip"))).namelist()
    # Each stands in its archive, and nowhere else.
    assert sorted(models) == sorted(f"{each.parent.name}/{each.name}" for each in ROOT.glob("pipeline/models/*/*.sql"))
    assert sorted(results) == sorted(each.name for each in ROOT.glob("schemas/results/*.json"))
    assert not [name for name in names if name.endswith(".sql") or name.startswith("schemas/results/")]


def test_an_editable_install_reads_the_tree(tmp_path: Path) -> None:
    """What `make` installs in a clone: a file that puts the tree on the path, though the wheel leaves modules out."""
    build = "import sys; from hatchling.build import build_editable; build_editable(sys.argv[1])"
    run(sys.executable, "-c", build, tmp_path, cwd=ROOT)
    (wheel,) = tmp_path.glob("*.whl")
    with zipfile.ZipFile(wheel) as packed:
        paths = [packed.read(name).decode() for name in packed.namelist() if name.endswith(".pth")]
    assert [Path(path.strip()) for path in paths] == [ROOT]


def test_modules_are_those_of_the_tree_line_by_line_but_for_docstrings_and_comments(installed: Path) -> None:
    (wheel,) = installed.parents[1].glob("*.whl")
    with zipfile.ZipFile(wheel) as packed:
        shipped = {name: packed.read(name) for name in packed.namelist() if name.endswith(".py")}
    tree = {each.relative_to(ROOT).as_posix(): each for name in PACKAGES for each in ROOT.glob(f"{name}/**/*.py")}
    assert shipped.keys() == tree.keys()
    for name, found in shipped.items():
        was = tree[name].read_bytes()
        if name.startswith("pipeline/cli/"):
            # Docstrings are what `--help` shows.
            assert ast.dump(ast.parse(found)) == ast.dump(ast.parse(was)), name
        assert plain(found) == plain(was), name
        assert found.count(b"\n") == was.count(b"\n"), name


def plain(module: bytes) -> tuple[str, list[int]]:
    """What a module does, and in which lines, whatever its docstrings say."""
    tree = ast.parse(module)
    for each in ast.walk(tree):
        if isinstance(each, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef) and ast.get_docstring(
            each
        ):
            each.body[0] = ast.Pass()
    return ast.dump(tree), [each.lineno for each in ast.walk(tree) if hasattr(each, "lineno")]


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


def asked(host: str, page: str, cookie: str = "") -> tuple[int, Mapping[str, str], str]:
    with closing(http.client.HTTPConnection(host, timeout=120)) as line:
        line.request("GET", page, headers={"Cookie": cookie})
        answer = line.getresponse()
        return answer.status, answer.headers, answer.read().decode()


def tour(program: Path, folder: Path) -> None:
    """Runs what the README tells first: the demo farm, and its pages."""
    made = subprocess.run([program, "demo", "demo"], cwd=folder, capture_output=True, text=True, check=False)
    assert made.returncode == 0, made.stdout + made.stderr
    opened = subprocess.Popen(
        [program, "open", "--farm", "demo", "--no-browser"], cwd=folder, stdout=subprocess.PIPE, text=True
    )
    try:
        assert opened.stdout is not None
        said = opened.stdout.readline()
        host, key = re.findall(r"http://([\d.:]+)/enter\?key=([\w-]+)", said)[0]
        status, headers, _ = asked(host, f"/enter?key={key}")
        assert status == 303
        cookie = headers["set-cookie"].split(";")[0]
        for page in ("/", "/weigh", "/batches", "/month?month=2026-09"):
            status, _, text = asked(host, page, cookie)
            assert (status, "<h1" in text) == (200, True), (page, text[:2000])
    finally:
        opened.terminate()
        opened.communicate(timeout=60)
    assert opened.returncode == 0


def test_demo_then_open_is_the_tour(installed: Path, tmp_path: Path) -> None:
    tour(installed / "gillbook", tmp_path)


TOOLS = os.pathsep.join((str(ROOT / ".venv" / "tools" / "bin"), os.environ["PATH"]))
UV, PIPX = shutil.which("uv", path=TOOLS), shutil.which("pipx", path=TOOLS)


@pytest.mark.skipif(UV is None, reason="needs uv, which is not there")
def test_uv_installs_the_wheel_as_a_program(installed: Path, tmp_path: Path) -> None:
    (wheel,) = installed.parents[1].glob("*.whl")
    places = {"UV_TOOL_DIR": str(tmp_path / "tools"), "UV_TOOL_BIN_DIR": str(tmp_path / "bin")}
    words = [str(UV), "tool", "install", "--python", sys.executable, str(wheel)]
    done = subprocess.run(words, env={**os.environ, **places}, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    tour(tmp_path / "bin" / "gillbook", tmp_path)


@pytest.mark.skipif(PIPX is None, reason="needs pipx, which is not there")
def test_pipx_installs_the_wheel_as_a_program(installed: Path, tmp_path: Path) -> None:
    (wheel,) = installed.parents[1].glob("*.whl")
    places = {"PIPX_HOME": str(tmp_path / "home"), "PIPX_BIN_DIR": str(tmp_path / "bin")}
    places["PIPX_MAN_DIR"] = str(tmp_path / "man")
    words = [str(PIPX), "install", "--python", sys.executable, str(wheel)]
    done = subprocess.run(words, env={**os.environ, **places}, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "yields" in run(tmp_path / "bin" / "gillbook", "--help", cwd=tmp_path)


def test_the_readme_names_the_wheel_that_is_built_and_three_lines_for_each_system(installed: Path) -> None:
    (wheel,) = installed.parents[1].glob("*.whl")
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert set(re.findall(r"gillbook-[\w.-]+\.whl", text)) == {wheel.name}
    section = text.split("### Start it\n")[1].split("\nWithout make")[0]
    for system in ("Windows", "macOS", "Linux"):
        (block,) = re.findall(rf"^{system}, in .*?```text\n(.*?)```", section, flags=re.DOTALL | re.MULTILINE)
        lines = block.splitlines()
        assert len(lines) == 3, system
        assert "install" in lines[1]
        assert "gillbook demo demo" in lines[2]
        assert "gillbook open --farm demo" in lines[2]
