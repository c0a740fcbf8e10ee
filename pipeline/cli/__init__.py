"""The command line: one thin file per group of commands. Alone knows both measures and reports, prints, and exits."""

from pipeline.cli.app import run

__all__ = ["run"]
