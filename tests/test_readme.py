"""Does the README hold: its commands run, its table of commands is whole, and a newcomer reads a command early?"""

import re
import shlex
import shutil
from pathlib import Path

import pytest
from conftest import gillbook
from ledgers import here

from pipeline.cli.commands import COMMANDS

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def commands() -> list[list[str]]:
    """Every gillbook command line in the README's shell blocks, without its folder of programs."""
    blocks = re.findall(r"```sh\n(.*?)```", README, flags=re.DOTALL)
    lines = [line.split("#")[0].strip() for block in blocks for line in block.splitlines()]
    return [shlex.split(line)[1:] for line in lines if line.startswith(".venv/bin/gillbook ")]


def answers() -> list[tuple[list[str], str]]:
    """Each command of the README's answers, and what it says there."""
    block = README.split("```text\n$ ", 1)[1].split("```", 1)[0]
    return [
        (shlex.split(line)[1:], " ".join(said.split()))
        for line, said in (one.split("\n", 1) for one in block.split("\n$ "))
    ]


def test_each_kind_of_answer_is_what_the_command_says(tmp_path: Path) -> None:
    farm = shutil.copytree(ROOT / "demo_data", tmp_path / "farm")
    assert len(answers()) == 6
    for words, sentence in answers():
        said = here(*words, "--farm", farm, "--as-of", "2026-09-30")
        assert sentence in " ".join(said.out.split()), words


def test_a_runnable_line_stands_within_the_first_25() -> None:
    lines = README.splitlines()
    first = next(at for at, line in enumerate(lines, start=1) if line.startswith("make "))
    assert first <= 25


def test_commands_of_the_readme_run(tmp_path: Path) -> None:
    assert len(commands()) >= 4
    for words in commands():
        said = gillbook(*words, cwd=tmp_path)
        assert said.code == 0, f"gillbook {' '.join(words)}: {said.err}"


def test_every_command_is_in_the_readme() -> None:
    missing = {name for name in COMMANDS if f"gillbook {name}" not in README}
    assert missing == set()


@pytest.mark.parametrize(
    "target", ["demo", "test", "check", "bench", "crash", "fuzz", "calibrate", "picture", "lock", "sbom", "oldest"]
)
def test_make_targets_named_in_the_texts_exist(target: str) -> None:
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    assert re.search(rf"^{target}:", makefile, flags=re.MULTILINE)


def test_no_text_names_an_address_of_a_registry_or_a_path_of_a_machine() -> None:
    for path in [*ROOT.glob("*.md"), *ROOT.glob("*.txt"), ROOT / "pyproject.toml", ROOT / "Makefile"]:
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"https?://|/(home|root|work)/", text), path.name
