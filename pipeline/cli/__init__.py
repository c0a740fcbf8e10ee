"""The command line: one thin file per group of commands. Alone knows both measures and reports, prints, and exits."""

import os

try:
    from pipeline.cli.interrupts import Interrupts
except KeyboardInterrupt:
    # Ctrl-C before there is anything that could handle it.
    os.write(2, b"\nAborted!\n")
    os._exit(130)

__all__ = ["run"]


def run() -> None:
    """Run the program, and end the process."""
    interrupts = Interrupts()
    interrupts.end_at_once()
    from pipeline.cli.one_answer import end_process, prepare_for_one_answer

    prepare_for_one_answer()
    from pipeline.cli.app import run_commands

    try:
        run_commands(interrupts)
    except SystemExit as ending:
        if ending.code is None or isinstance(ending.code, int):
            end_process(ending.code or 0)
        raise
