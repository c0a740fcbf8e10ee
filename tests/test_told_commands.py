"""A command that gillbook tells is one command, whatever the names in it: a shell hands over just its words."""

from __future__ import annotations

import shutil
import subprocess

import pytest
from ledgers import here, refreshed

from pipeline.farm.ready_command import typed
from pipeline.ledger.backups import forget_words

SHELLS = [shell for shell in ("sh", "bash", "dash", "zsh", "fish") if shutil.which(shell)]
# What shells take for words, and what they would act on within quotation marks too.
QUOTABLE = (
    "tub 1",
    "a;b",
    "a&b",
    "a|b",
    "a>b",
    "a#b",
    "it's",
    "(x)",
    "a*",
    "~/x",
    "=x",
    "a,b",
    "Kübel",
    "[1]",
    "{a,b}",
)
ACTING = ("$(id)", "`id`", "$HOME", "%PATH%", 'a"b', "a\\", "!!", "a\u201db", "two\nlines", "\x1b[31m")


@pytest.mark.parametrize("shell", SHELLS or [pytest.param("", marks=pytest.mark.skip("no POSIX shell here"))])
def test_a_shell_hands_over_just_the_words(shell: str) -> None:
    line = typed(["echo", *QUOTABLE])
    assert line is not None
    done = subprocess.run([shell, "-c", line], capture_output=True, text=True, encoding="utf-8", check=True)
    assert done.stdout == " ".join(QUOTABLE) + "\n"


@pytest.mark.parametrize("name", ACTING)
def test_a_name_that_a_shell_acts_on_is_in_no_told_command(name: str) -> None:
    assert typed(["gillbook", "note", name, "emptied"]) is None
    assert forget_words(f"harvests/{name}.csv") == "gillbook forget FILE, with the file's name quoted for your shell"


def test_today_tells_no_command_for_a_name_that_a_shell_would_act_on(farm) -> None:  # type: ignore[no-untyped-def]
    names = ("tub 1", "$(id)", "-2", "a;b")
    lines = "\n".join(f"A,{name}" for name in names)
    folder = farm(batches="batch,inoculated_on\nA,2026-01-01", fillings=f"batch,container\n{lines}")
    refreshed(folder)
    told = {
        row["container"]: row["command"]
        for row in here("today", "--as-of", "2026-06-01", "--json", "--farm", folder).json
    }
    assert {name: command and command.partition(" emptied")[0] for name, command in told.items()} == {
        "tub 1": 'gillbook note "tub 1"',
        "$(id)": None,
        "-2": None,
        "a;b": 'gillbook note "a;b"',
    }
