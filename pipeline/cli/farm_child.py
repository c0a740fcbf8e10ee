"""What the process of one farm of many does: it runs a command and gives what that would show, as data."""

from __future__ import annotations

import io
import os
import pickle
import sys
from collections.abc import Callable
from contextlib import redirect_stdout

from pipeline.cli.farm_answers import FarmAnswer
from pipeline.cli.show import GATHERING, Gathered


def main(answer_to: Callable[[], object] | None = None) -> None:
    """Run the command whose words come on standard input, and answer on standard output."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    sys.argv = ["gillbook", *pickle.load(sys.stdin.buffer)]
    with answers:
        pickle.dump((answer_to or answer_of_many)(), answers)


def answer_of_many() -> FarmAnswer:
    """Run the command as one of many farms that are asked the same; return what it would show, and give to all."""
    GATHERING.of_many = True
    return answer()


def answer() -> FarmAnswer:
    """Run the command whose words stand in `sys.argv`; return what it would show."""
    from pipeline.cli.app import run_commands
    from pipeline.cli.interrupts import Interrupts

    GATHERING.into = Gathered()
    said = io.StringIO()
    code = 0
    try:
        with redirect_stdout(said):
            run_commands(Interrupts())
    except SystemExit as ending:
        code = ending.code if isinstance(ending.code, int) else int(ending.code is not None)
    return FarmAnswer(code, GATHERING.into, said.getvalue())


if __name__ == "__main__":
    main()
