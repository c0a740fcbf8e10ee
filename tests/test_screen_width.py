"""What is printed follows the terminal's width, from 40 to 200 columns; in a file or pipe it has 80. It has no colours,
whatever the environment says.
"""

from __future__ import annotations

import contextlib
import io
import os
import subprocess
import sys
from pathlib import Path

import pytest
from ledgers import THREE_TABLES, here

from pipeline.cli import show
from pipeline.cli.app import run_commands
from pipeline.cli.cut_texts import cut_apart
from pipeline.cli.interrupts import Interrupts

# What a grower may type on a terminal: tables, sentences, findings, messages.
COMMANDS = [
    ("yields",),
    ("check",),
    ("today",),
    ("mix", "lime", "--water", "20", "--dose", "1"),
    ("yields", "--by", "colour"),
]


class Terminal(io.StringIO):
    """A terminal of so many columns."""

    def __init__(self, columns: int) -> None:
        super().__init__()
        self.columns = columns

    def isatty(self) -> bool:
        return True

    def fileno(self) -> int:
        return self.columns


@pytest.fixture(autouse=True)
def width_of_the_terminal_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("COLUMNS", raising=False)
    monkeypatch.setattr(os, "get_terminal_size", lambda columns=80: os.terminal_size((columns, 24)))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("narrow")
    for table, text in THREE_TABLES.items():
        (home / f"{table}.csv").write_text(text + "\n")
    batches = THREE_TABLES["batches"].split("\n")
    texts = (",strain,substrate", ",grey oyster of the north,wheat straw with chaff of the year before", "", "")
    (home / "batches.csv").write_text("\n".join(a + b for a, b in zip(batches, texts, strict=False)) + "\n")
    (home / "harvests.csv").write_text(THREE_TABLES["harvests"] + "\n2026-02-02,4000,1\nin the month of May,3,2\n")
    return home


def shown_on(monkeypatch: pytest.MonkeyPatch, columns: int, *words: object) -> str:
    """All that the program shows on a terminal of so many columns."""
    screen = Terminal(columns)
    monkeypatch.setattr(sys, "argv", ["gillbook", *map(str, words)])
    with contextlib.redirect_stdout(screen), contextlib.redirect_stderr(screen), pytest.raises(SystemExit):
        run_commands(Interrupts())
    return screen.getvalue()


@pytest.mark.parametrize("columns", [40, 132])
def test_no_line_is_wider_than_the_terminal(columns: int, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)
    widest = 0
    for words in COMMANDS:
        lines = shown_on(monkeypatch, columns, *words).splitlines()
        assert [line for line in lines if len(line) > columns] == [], words
        widest = max(widest, *map(len, lines))
    assert widest > 0.8 * columns


def test_beyond_200_and_below_40_columns_it_stays_so() -> None:
    widths = {columns: show.screen_width(Terminal(columns)) for columns in (1, 39, 40, 41, 199, 200, 201, 500, 0)}
    assert widths == {1: 40, 39: 40, 40: 40, 41: 41, 199: 199, 200: 200, 201: 200, 500: 200, 0: 80}
    assert show.screen_width(io.StringIO()) == 80


def test_no_figure_is_cut_on_a_narrow_terminal(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)
    figures = {word for word in here("yields").out.split() if word.replace(".", "").isdigit()}
    assert len(figures) >= 3
    narrow = shown_on(monkeypatch, 40, "yields").split()
    assert figures <= set(narrow)
    assert "containers" in narrow


def test_what_goes_into_a_pipe_is_the_same_on_every_terminal(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)
    for words in COMMANDS[:2]:
        monkeypatch.setenv("COLUMNS", "40")
        narrow = here(*words)
        monkeypatch.setenv("COLUMNS", "200")
        assert here(*words) == narrow, words


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals there")
def test_on_a_real_terminal_help_and_sentences_fit_without_colours() -> None:
    import fcntl
    import pty
    import struct
    import termios

    shown = ""
    environment = {key: value for key, value in os.environ.items() if key not in ("COLUMNS", "NO_COLOR")}
    for words, more in (
        (("weigh", "--help"), {"FORCE_COLOR": "1"}),
        (("mix", "lime", "--water", "9"), {"NO_COLOR": "1"}),
    ):
        ours, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 44, 0, 0))
        program = [sys.executable, "-c", "from pipeline.cli import run; run()", *words]
        with subprocess.Popen(program, stdout=theirs, stderr=theirs, stdin=theirs, env=environment | more):
            os.close(theirs)
            with contextlib.suppress(OSError):
                while part := os.read(ours, 65536):
                    shown += part.decode()
        os.close(ours)
    assert "Hydrated lime" in shown
    assert "\x1b" not in shown
    assert max(map(len, shown.replace("\r", "").split("\n"))) <= 44


LONG_NAMES = (
    "wheat straw, hot_lime",
    "wheat straw, hot_water",
    "wheat straw, hot_water, bran",
    "rye",
    "wheat straw, h~",
)


@pytest.mark.parametrize("size", [4, 5, 8, 15, 22, 40])
def test_two_names_that_differ_are_never_cut_alike(size: int) -> None:
    names = [*LONG_NAMES, *(f"{'x' * 50}{number}" for number in range(120))] if size > 5 else LONG_NAMES
    shown = cut_apart(names, size)
    assert [*shown] == [*names]
    assert len({*shown.values()}) == len(names)
    assert all(len(text) <= size for text in shown.values())
    assert all(shown[name] == name for name in names if len(name) <= size)


def test_what_tells_two_recipes_apart_is_what_is_shown_of_them(tmp_path: Path) -> None:
    rows = ["batch,inoculated_on,strain,substrate,treatment,spawn_form,substrate_dry_kg"]
    for number, (treatment, form) in enumerate(
        (("hot_lime", "grain"), ("hot_water", "grain"), ("hot_water", "sawdust"))
    ):
        rows.append(f"B{number},2026-01-01,grey oyster of the north,chopped wheat straw,{treatment},{form},5")
    rows.append("B9,2026-01-01,pink,straw,none,grain,5")
    (tmp_path / "batches.csv").write_text("\n".join(rows) + "\n")
    (tmp_path / "harvests.csv").write_text("picked_on,fresh_weight_g,batch\n2026-02-01,300,B0\n")
    said = here("money", "--farm", tmp_path, "--as-of", "2026-03-01")
    assert said.code == 0, said.err
    _, _, _, *lines = said.out.splitlines()
    assert all(len(line) <= 80 for line in said.out.splitlines())
    names = [line.split("  ")[0] for line in lines]
    assert len(names) == 4
    assert len({*names}) == 4
