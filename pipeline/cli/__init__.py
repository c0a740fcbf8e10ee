"""The command line: one thin file per group of commands. Alone knows both measures and reports, prints, and exits."""

import gc
import os

try:
    from pipeline.cli.interrupts import Interrupts
except KeyboardInterrupt:
    # Ctrl-C before there is anything that could handle it.
    os.write(2, b"\nAborted!\n")
    os._exit(130)

__all__ = ["run"]

# A command makes many objects and hardly a circle among them, and ends soon: looking for circles as often as Python
# does of itself took a seventh of the time of tables of 100,000 rows (measured). After so many objects, so many looks.
SELDOM = (100_000, 50, 100)


def run() -> None:
    """Run the program."""
    gc.set_threshold(*SELDOM)
    interrupts = Interrupts()
    interrupts.end_at_once()
    from pipeline.cli.one_answer import prepare_for_one_answer

    prepare_for_one_answer()
    from pipeline.cli.app import run_commands

    run_commands(interrupts)
