"""The command line: one thin file per group of commands. Alone knows both measures and reports, prints, and exits."""

from pipeline.cli.interrupts import Interrupts

__all__ = ["run"]


def run() -> None:
    """Run the program."""
    interrupts = Interrupts()
    interrupts.end_at_once()
    from pipeline.cli.app import run_commands

    run_commands(interrupts)
