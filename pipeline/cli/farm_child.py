"""What the process of a farm of many does: it runs a command and gives what that would show, as data; then the next
farm's. Nothing that one farm leaves in the process reaches the next.
"""

from __future__ import annotations

import gc
import io
import os
import pickle
import re
import sys
from collections.abc import Callable
from contextlib import redirect_stdout, suppress
from pathlib import Path

from pipeline.cli.farm_access import RUN, RunSettings
from pipeline.cli.farm_answers import FarmAnswer
from pipeline.cli.interrupts import INTERRUPTED
from pipeline.cli.show import GATHERING, Gathered
from pipeline.files.deeds import DEEDS
from pipeline.files.workbook_process import WORKER, receive, send

# After so many answers, or when it once held so much, a process has had enough, and another one goes on: what a library
# may have kept is let go with it. A farm of a hundred thousand pickings takes 0.3 GB. Our choice, no source.
MOST_ANSWERS, MOST_BYTES = 100, 1_000_000_000
HELD_AT_MOST = re.compile(r"^VmHWM:\s*(\d+) kB$", re.MULTILINE)


def main(answer_to: Callable[[], object] | None = None) -> None:
    """Run the commands whose words come on standard input, one after the other, and answer each on standard output."""
    from pipeline.cli.one_answer import prepare_for_one_answer

    requests, answers = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    # What a command reads or prints beside its answer is no request and no answer.
    nothing = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, 0)
    os.close(nothing)
    os.dup2(2, 1)
    prepare_for_one_answer()
    given, had_enough = 0, False
    while not had_enough and (request := receive(requests)) is not None:
        sys.argv = ["gillbook", *pickle.loads(request)]
        found = (answer_to or answer_of_many)()
        given += 1
        had_enough = given >= MOST_ANSWERS or most_bytes() >= MOST_BYTES or _interrupted(found)
        with suppress(OSError):
            send(answers, pickle.dumps((found, had_enough)))
        forget()


def _interrupted(found: object) -> bool:
    return isinstance(found, FarmAnswer) and found.code == INTERRUPTED


def most_bytes() -> int:
    """Return how much memory this process held at most, in bytes; 0 where the system does not tell (Windows)."""
    if sys.platform == "win32":
        return 0
    # Linux tells by getrusage also what the process held that started this one.
    status = Path("/proc/self/status")
    found = HELD_AT_MOST.search(status.read_text(encoding="utf-8")) if status.exists() else None
    if found:
        return int(found[1]) * 1024
    import resource

    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most if sys.platform == "darwin" else most * 1024


def forget() -> None:
    """Clear away what the last farm left in this process: all but imported modules, and what they keep by what it is
    worked out from (a contract's text, a number's quantile, a heading's meanings).
    """
    vars(RUN).update(vars(RunSettings()))
    GATHERING.into, GATHERING.of_many = None, False
    DEEDS.clear()
    WORKER.stop()
    # What circles hold, as a connection that an error left, goes now; what stays is not looked at again.
    gc.collect()
    gc.freeze()


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
