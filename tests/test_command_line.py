"""The program as its user meets it: help, the right farm, new farms, tables that fit, JSON, and mistakes of its own."""

from __future__ import annotations

import csv
import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import typer
from conftest import gillbook, write_table
from ledgers import THREE_TABLES, here, refreshed, rows

from pipeline.cli.app import app
from pipeline.demo.write import LAST_DAY, write_demo
from schemas.contract import BOOKS, GROWING, INPUTS, contract

Farm = Callable[..., Path]


def commands_of(program: typer.Typer) -> dict[str, Any]:
    """The commands of a program, by name."""
    group: Any = typer.main.get_command(program)
    return {name: group.get_command(None, name) for name in group.list_commands(None)}


COMMANDS = commands_of(app)
# Those that tell a table unasked: not check and report, which tell other things, nor those that want to know of what.
ASKED = ("check", "plan", "report", "trace", "trial")
TELLING = [
    name for name, each in COMMANDS.items() if name not in ASKED and "json" in {part.name for part in each.params}
]
RUN = "from pipeline.cli import run; run()"


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "farm"
    write_demo(folder)
    refreshed(folder)
    return folder


def run(code: str, *words: object, **env: str) -> subprocess.CompletedProcess[str]:
    given = [sys.executable, "-c", code, *map(str, words)]
    return subprocess.run(given, env={**os.environ, **env}, capture_output=True, text=True, check=False)


def without_help(program: typer.Typer) -> list[str]:
    """Which commands and options of a program have no text that tells what they are for?"""
    group = typer.main.get_command(program)
    silent = []
    for name, command in {"": group, **commands_of(program)}.items():
        silent += [] if command.help else [name]
        silent += [f"{name} {each.name}".strip() for each in command.params if not getattr(each, "help", None)]
    return silent


def test_every_command_and_every_option_has_help() -> None:
    planted = typer.Typer(help="A program.")

    @planted.command()
    def silent(size: int = 1) -> None:
        pass

    @planted.command()
    def other(size: int = typer.Option(1, help="How large.")) -> None:
        """Tell."""

    assert without_help(planted) == ["silent", "silent size"]
    assert without_help(app) == []
    assert {"init", "demo", "refresh", "check", "yields", "flushes", "query"} <= set(COMMANDS)


@pytest.mark.parametrize("words", [["--help"], ["--version"], *([command, "--help"] for command in COMMANDS)])
def test_help_and_version_import_no_heavy_library(words: list[str]) -> None:
    told = (
        "import atexit, sys; atexit.register(lambda: print(*{'polars', 'duckdb', 'numpy', 'rich'} & set(sys.modules)))"
    )
    done = run(f"{told}; {RUN}", *words)
    assert (done.returncode, done.stderr) == (0, "")
    *text, heavy = done.stdout.splitlines()
    assert heavy == ""
    assert text[0].startswith(
        "gillbook 0." if words == ["--version"] else f"Usage: gillbook {' '.join(words[:-1])}".strip()
    )
    assert max(map(len, text)) <= 80


def test_the_farm_is_the_one_named_or_in_the_environment_or_around_you(farm: Farm, tmp_path: Path) -> None:
    folder = farm(**THREE_TABLES)
    (folder / "harvests").mkdir()
    elsewhere = tmp_path.parent
    asked = ("yields", "--by", "all", "--json")
    assert gillbook(*asked, "--farm", folder, cwd=elsewhere).json[0]["fresh_g"] == 500
    assert gillbook(*asked, cwd=elsewhere, env={"GILLBOOK_FARM": str(folder)}).json[0]["fresh_g"] == 500
    assert gillbook(*asked, cwd=folder / "harvests").json[0]["fresh_g"] == 500
    assert gillbook(*asked, "--farm", folder, env={"GILLBOOK_FARM": "nowhere"}).json[0]["fresh_g"] == 500
    said = gillbook(*asked, cwd=folder, env={"GILLBOOK_FARM": "nowhere"})
    assert (said.code, said.out) == (2, "")
    assert said.err.startswith("GILLBOOK_FARM: nowhere: there is no such folder. Name a farm folder, or make one")


@pytest.mark.parametrize("full", [False, True])
def test_init_writes_what_the_contracts_say_and_the_empty_farm_works(tmp_path: Path, full: bool) -> None:
    folder = tmp_path / "new" / "farm"
    said = here("init", folder, *(["--full"] if full else []))
    assert (said.code, said.err) == (0, "")
    written = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*") if path.is_file()}
    assert all(name in said.out for name in written)
    tables = {path.parent.name if path.parent != folder else path.stem: path for path in written.values()}
    assert full or not tables.keys() & {*BOOKS}, "a farm that sells nothing sees nothing of it"
    for name in INPUTS if full else GROWING:
        columns = [each.name for each in contract(name).fields if full or each.starred]
        assert tables[name].read_text(encoding="utf-8") == ",".join(columns) + "\n"
    assert "HOW-TO.md" in written
    assert tomllib.loads((folder / "farm.toml").read_text(encoding="utf-8")) == {}
    taken = [line.removeprefix("# ") for line in (folder / "farm.toml").read_text(encoding="utf-8").splitlines()]
    settings = tomllib.loads("\n".join(line for line in taken if " = " in line or line.startswith("[")))
    fields = [each for each in contract("farm").fields if each.type != "object"]
    shown = {each.name: each.example if each.default is None else each.default for each in fields}
    for each in contract("farm").fields:
        if each.type == "object":
            shown |= tomllib.loads("\n".join(each.example))
    assert settings == shown
    flat = [line for line in taken if re.match(r"\w+ = ", line)]
    (folder / "farm.toml").write_text("\n".join(flat[: len(fields)]), encoding="utf-8")
    said = here("yields", "--farm", folder)
    assert (said.code, said.out) == (0, "")
    assert said.err.startswith("No batch is loaded that was started by ")
    said = here("check", "--farm", folder)
    assert (said.code, said.out, said.err) == (0, "Nothing found. Every row is loaded.\n", "")
    assert here("flushes", "--json", "--farm", folder).json == []


def test_check_lists_what_is_set_aside_and_only_that_gives_exit_code_1(farm: Farm) -> None:
    folder = farm(
        **{**THREE_TABLES, "harvests": "picked_on,fresh_weight_g,container\n2026-02-01,x,1\n2026-02-02,90000,2"}
    )
    said = here("check", "--as-of", "2026-02-10", "--farm", folder)
    assert said.code == 1
    assert 'harvests.csv, row 2, fresh_weight_g: "x" is not a number.' in said.out
    with (folder / "out/set_aside.csv").open(encoding="utf-8", newline="") as lines:
        (listed,) = csv.DictReader(lines)
    assert {key: listed[key] for key in ("file", "row", "column", "value", "level")} == {
        "file": "harvests.csv",
        "row": "2",
        "column": "fresh_weight_g",
        "value": "x",
        "level": "set_aside",
    }
    assert listed["expected"]
    assert listed["fix"]
    write_table(folder, "harvests", "picked_on,fresh_weight_g,container\n2026-02-02,90000,2")
    said = here("check", "--as-of", "2026-02-10", "--farm", folder)
    assert said.code == 0
    assert "gave more fresh mass than the mix" in said.out
    assert len((folder / "out/set_aside.csv").read_text(encoding="utf-8").splitlines()) == 1
    assert "after 2026-01-15" in here("check", "--as-of", "2026-01-15", "--farm", folder).out


def test_json_is_one_array_with_null_iso_dates_and_cells_as_they_stand(farm: Farm) -> None:
    folder = farm(
        batches="batch,inoculated_on,substrate_wet_kg\nA,2026-01-01,20.0\nB,2026-01-01,20\nC,2026-01-01,7.50\nD,2026-01-01,",
        harvests="picked_on,fresh_weight_g,batch\n2026-02-01,333.333,A",
    )
    said = here("yields", "--by", "substrate_wet_kg", "--json", "--as-of", "2026-02-02", "--farm", folder)
    told = [(group["substrate_wet_kg"], group["batches"], group["be_flush1_pct"]) for group in said.json]
    # 20 and 20.0 are one group, called by the first of its cells; blank is a group of its own
    assert told == [("7.50", 1, None), ("20", 2, None), ("", 1, None)]
    query = "select picked_on, fresh_weight_g, container, fresh_weight_g / 0 as nothing, true as yes from harvests"
    assert here("query", query, "--json", "--farm", folder).json == [
        {"picked_on": "2026-02-01", "fresh_weight_g": 333.333, "container": None, "nothing": None, "yes": True}
    ]
    for name in {"check", *TELLING} - {"query"}:
        assert isinstance(here(name, "--json", "--farm", folder).json, list)


ALL = dict.fromkeys((*contract("batches").names, *contract("fillings").names))
LONG = "very long name of a batch that somebody thought of " * 4


@pytest.mark.parametrize(
    "words",
    [
        *([name] for name in TELLING if name not in ("query", "lost", "doctor")),
        ["yields", "--by", "batch,strain,substrate,treatment", "--through-flush", "3"],
        ["yields", "--by", "container"],
        ["yields", "--by", ",".join(ALL)],
        ["flushes", "--by", "substrate,treatment,strain,soak"],
        ["query", "select * from harvests"],
        ["query", f"select batch as \"{LONG}\", note || '{LONG}' as a, * from batches"],
    ],
)
def test_a_plain_table_fits_80_columns_and_cuts_no_number(demo: Path, farm: Farm, words: list[str]) -> None:
    batches = f"batch,inoculated_on,substrate\n{LONG}1,2026-01-01,{LONG}\n{LONG}2,2026-01-01,straw"
    long = farm(batches=batches, harvests=f"picked_on,fresh_weight_g,batch\n2026-02-01,123456789012.5,{LONG}1")
    for folder in (demo, long):
        until = [] if words[0] in ("refresh", "query", "history") else ["--as-of", LAST_DAY.isoformat()]
        said = here(*words, *until, "--farm", folder)
        assert said.code == 0, said.err
        lines = said.out.splitlines()
        assert len(lines) > 2 or folder == long
        assert [line for line in lines if len(line) > 80] == []
        if words[0] == "yields" and folder == long:
            assert "123456789.01" in said.out


def test_nothing_steers_the_terminal(demo: Path, farm: Farm) -> None:
    for words in (["--help"], ["yields", "--nothing"], ["check", "--farm", demo]):
        said = gillbook(*words, env={"GITHUB_ACTIONS": "true"})  # which makes some libraries colour what is no terminal
        assert said.out + said.err
        assert "\x1b" not in said.out + said.err
    folder = farm('"a\\u001b[31mb" = 1', batches="batch,inoculated_on,\x1b[32mred\nA\x1b[31m\x9b2J,2026-01-01,x")
    write_table(folder, "harvests", "picked_on,fresh_weight_g,batch\n2026-02-01,\x1b]0;x,A\n2026-02-01,5,\x1bc")
    for words in (["yields"], ["refresh"], ["check"], ["query", "select * from batches"]):
        said = gillbook(*words, "--farm", folder)
        assert said.code == (words == ["check"])
        assert {letter for letter in said.out + said.err if not letter.isprintable()} == {"\n"}
    (folder / "harvests.csv").write_text("picked_on,\x1b[31mweight\n", encoding="utf-8")
    assert "\x1b" not in gillbook("yields", "--farm", folder).err


@pytest.mark.parametrize("words", [["query", "select * from harvests, batches"], ["yields"], ["check"], ["--help"]])
@pytest.mark.parametrize("lines", [0, 1])
def test_a_reader_that_goes_away_is_no_error(demo: Path, words: list[str], lines: int) -> None:
    given = [sys.executable, "-c", RUN, *words, *([] if words == ["--help"] else ["--farm", str(demo)])]
    read, write = os.pipe()
    with subprocess.Popen(given, stdout=write, stderr=subprocess.PIPE, text=True) as done:
        os.close(write)
        with os.fdopen(read) as reader:
            assert all(reader.readline() for _ in range(lines))
        assert done.stderr is not None
        told = done.stderr.read()
    # check may have ended before its reader went
    assert done.returncode == 0 or (words == ["check"] and lines and done.returncode == 1)
    assert "Traceback" not in told
    assert "Broken" not in told


def test_a_mistake_of_the_programs_own_is_one_line_and_a_file(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    before = rows(folder, "from harvests")
    planted = f"import pipeline.models.measures as measures; measures.yields = lambda *_: [][0]; {RUN}"
    yields = ("yields", "--as-of", "2026-02-06", "--farm", folder)
    done = run(planted, *yields)
    assert (done.returncode, done.stdout) == (3, "")
    kept = folder / "out" / "crash.txt"
    assert done.stderr == (
        "gillbook made a mistake: IndexError: list index out of range. "
        f"Your files are as they were. The details are in {kept}\n"
    )
    assert "Traceback" in kept.read_text(encoding="utf-8")
    assert rows(folder, "from harvests") == before
    kept.unlink()
    kept.mkdir()
    done = run(planted, *yields)
    assert (done.returncode, done.stderr.count("\n")) == (3, 1)
    assert done.stderr.endswith("The details could not be written.\n")
