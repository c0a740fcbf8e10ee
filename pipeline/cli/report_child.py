"""What the process beside a report does: it answers once, and ends. What reads a command line is not loaded here."""

from __future__ import annotations

import os
import pickle
import signal
import sys
from pathlib import Path

from pipeline.cli.one_answer import end_process, prepare_for_one_answer


def taken(task: Path) -> bool:
    """Take the task, if nobody has: the file can be removed by one process alone. Return whether it is ours now."""
    try:
        task.unlink()
    except OSError:
        return False
    return True


def main() -> None:
    """Answer the one question that comes on standard input, on standard output: what is compared, and the spawn rates
    where nobody has begun with them.
    """
    # The process that asks says what Ctrl-C ended.
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    prepare_for_one_answer()
    from pipeline.cli.report_tables import of_comparisons, of_spawn, ready_to_compare
    from pipeline.models.measures import ledger_id
    from pipeline.models.view import opened

    ready_to_compare()
    try:
        path, settings, wanted, as_of, task = pickle.load(sys.stdin.buffer)
    except EOFError:
        return
    with answers, opened(path, settings) as ledger:
        if ledger_id(ledger) != wanted:
            return
        found = of_comparisons(ledger, as_of)
        if task is None or taken(task):
            found |= of_spawn(ledger, as_of)
        pickle.dump(found, answers)
        # Before the ledger is closed, which nobody need wait for.
        answers.flush()


if __name__ == "__main__":
    main()
    end_process(0)
