"""Commands are loaded when they are asked for, and texts stay as typed: so that an entry is quick."""

from __future__ import annotations

import ast
import inspect
import os
import subprocess
import sys
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Annotated

import pytest
import typer
from conftest import gillbook, write_table
from ledgers import here

from pipeline.cli.app import app
from pipeline.cli.commands import COMMANDS, function_name
from pipeline.cli.options import spread

RUN = "from pipeline.cli import run; run()"


def modules_after(*words: str) -> set[str]:
    """Which modules are there when the program has ended?"""
    told = "import atexit, sys; atexit.register(lambda: print(*sys.modules))"
    done = subprocess.run([sys.executable, "-c", f"{told}; {RUN}", *words], capture_output=True, text=True, check=False)
    return set(done.stdout.splitlines()[-1].split())


def test_every_command_is_the_function_of_its_name() -> None:
    group = typer.main.get_command(app)
    assert group.list_commands(None) == list(COMMANDS)  # type: ignore[attr-defined]
    for name, module in COMMANDS.items():
        function = getattr(import_module(f"pipeline.cli.{module}"), function_name(name))
        made = group.get_command(None, name)  # type: ignore[attr-defined]
        assert made.help.split() == function.__doc__.split()
        assert made.name == name
    assert group.get_command(None, "yeilds") is None  # type: ignore[attr-defined]


MOST_LINES, MOST_PARAMETERS = 40, 10


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_is_short_and_spells_out_few_parameters(name: str) -> None:
    """Lines of the body without its docstring; a bundle of options counts as one parameter."""
    module = import_module(f"pipeline.cli.{COMMANDS[name]}")
    path = Path(inspect.getfile(module))
    (function,) = [
        each
        for each in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(each, ast.FunctionDef) and each.name == function_name(name)
    ]
    body = function.body[1:]
    assert body[-1].end_lineno is not None
    assert body[-1].end_lineno - body[0].lineno < MOST_LINES
    given = function.args
    parameters = [*given.posonlyargs, *given.args, *given.kwonlyargs, *filter(None, [given.vararg, given.kwarg])]
    assert len(parameters) <= MOST_PARAMETERS


@dataclass(frozen=True)
class Tub:
    weight: Annotated[str, typer.Option("--weight")]
    tare: Annotated[int | None, typer.Option("--tare")] = None


def test_a_bundle_is_one_object_to_the_command_and_single_options_to_the_line() -> None:
    calls = []

    @spread
    def command(name: str = "B1", *, tub: Tub, last: bool = False) -> None:
        calls.append((name, tub, last))

    found = inspect.signature(command).parameters
    assert list(found) == ["name", "weight", "tare", "last"]
    assert (found["weight"].default, found["tare"].default) == (inspect.Parameter.empty, None)
    command(weight="412", last=True)
    command(name="B2", weight="9", tare=3)
    assert calls == [("B1", Tub("412"), True), ("B2", Tub("9", 3), False)]
    with pytest.raises(TypeError):
        command(weight="412", tara=3)


def test_a_command_is_loaded_without_the_others() -> None:
    loaded = modules_after("mix", "dry", "--sample-wet", "400", "--sample-dry", "100")
    of_commands = {f"pipeline.cli.{module}" for module in COMMANDS.values()}
    assert loaded & of_commands == {"pipeline.cli.mix_command"}
    assert "pydantic" not in loaded


def test_the_ledger_is_opened_without_the_reader_of_files() -> None:
    code = "import sys, pipeline.ledger.read_only; print('polars' in sys.modules)"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "False"


def test_help_lists_all_commands_and_a_slip_is_answered_with_the_nearest(tmp_path: Path) -> None:
    said = gillbook("--help")
    assert [line[2:].split("  ")[0] for line in said.out.split("Commands:\n")[1].splitlines()] == list(COMMANDS)
    said = gillbook("weihg", cwd=tmp_path)
    assert (said.code, "No such command 'weihg'. Did you mean 'weigh'?" in said.err) == (2, True)


def test_completion_knows_commands_and_options() -> None:
    def completed(line: str) -> set[str]:
        words = line.split(" ")
        env = {"_GILLBOOK_COMPLETE": "complete_bash", "COMP_WORDS": line, "COMP_CWORD": str(len(words) - 1)}
        return set(gillbook(env=env).out.split())

    assert completed("gillbook w") == {"weigh"}
    assert completed("gillbook weigh --s") == {"--stage"}


def test_what_needs_the_library_of_values_has_it(tmp_path: Path) -> None:
    """Numbers and words of a list are converted and checked as before; a path becomes one."""
    write_table(tmp_path, "batches", "batch,inoculated_on\nA,2026-01-01")
    said = here("yields", "--through-flush", "two", "--farm", tmp_path)
    assert (said.code, "Invalid value for '--through-flush'" in said.err) == (2, True)
    assert here("yields", "--through-flush", "2", "--json", "--farm", tmp_path).json[0]["be_pct"] is None
    assert here("batch", "--batches", "30", "--like", "A", "--farm", tmp_path).code == 2
    assert here("init", tmp_path / "new").out.startswith(f"{tmp_path / 'new'} is ready")


def test_a_number_below_zero_is_no_unknown_option(tmp_path: Path) -> None:
    write_table(tmp_path, "batches", "batch,inoculated_on\nA,2026-01-01")
    said = here("weigh", "7", "-412", "--farm", tmp_path)
    assert (said.code, said.err.splitlines()) == (
        2,
        [
            "weigh -412: it must be more than 0. Write it anew. "
            "(A name that begins with - stands behind --, like gillbook weigh -- -412.)"
        ],
    )
    said = here("weigh", "7", "412", "-x", "--farm", tmp_path)
    assert (said.code, "No such option: -x" in said.err) == (2, True)


NO_CONVERSION = [("outlook",), ("compare",), ("spawn", "--table", "steps"), ("report", "--format", "html")]


@pytest.mark.parametrize("words", NO_CONVERSION)
def test_defaults_and_words_of_a_list_load_nothing_that_converts(words: tuple[str, ...], tmp_path: Path) -> None:
    write_table(tmp_path, "batches", "batch,inoculated_on\nA,2026-01-01")
    loaded = modules_after(*words, "--farm", str(tmp_path), "--as-of", "2026-03-01")
    assert "duckdb" in loaded
    assert "pydantic" not in loaded


def test_a_word_that_is_not_in_the_list_is_answered_with_the_list(tmp_path: Path) -> None:
    said = here("report", "--format", "pfd", "--farm", tmp_path)
    assert said.code == 2
    assert "html" in said.err
    assert "pdf" in said.err


@pytest.mark.parametrize(("given", "found"), [({}, "1"), ({"OPENBLAS_NUM_THREADS": "3"}, "3")])
def test_a_process_begins_no_threads_of_linear_algebra_unless_told(given: dict[str, str], found: str) -> None:
    others = {name: each for name, each in os.environ.items() if name != "OPENBLAS_NUM_THREADS"}
    ending = "import atexit, os; atexit.register(lambda: print(os.environ['OPENBLAS_NUM_THREADS']))"
    code = f"{ending}; {RUN}"
    done = subprocess.run(
        [sys.executable, "-c", code, "--version"], capture_output=True, text=True, check=True, env={**others, **given}
    )
    assert done.stdout.splitlines()[-1] == found


def test_a_process_looks_for_circles_only_after_many_objects() -> None:
    """So that `report` of an ordinary farm, which makes more than 100,000 objects, does not look once."""
    code = f"import atexit, gc; atexit.register(lambda: print(gc.get_threshold()[0])); {RUN}"
    done = subprocess.run([sys.executable, "-c", code, "--version"], capture_output=True, text=True, check=True)
    assert int(done.stdout.splitlines()[-1]) > 200_000
