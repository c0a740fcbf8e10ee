"""Which commands there are, and in which module each stands. A module is imported when its command is asked for.

So that a command pays for no other: `weigh` is to be quicker than paper.
"""

from __future__ import annotations

from collections.abc import Iterator, MutableMapping
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperCommand, TyperGroup

from pipeline.cli.as_typed import as_typed
from schemas.finding import WrongRequest

# In the order of the help. A command is the function of its name (with _ for -) in that module of pipeline.cli.
COMMANDS = {
    "init": "init_command",
    "demo": "farm_commands",
    "weigh": "weigh_command",
    "note": "note_command",
    "today": "today_command",
    "batch": "batch_command",
    "fill": "batch_command",
    "mix": "mix_command",
    "refresh": "farm_commands",
    "check": "check_command",
    "yields": "measure_commands",
    "days": "measure_commands",
    "losses": "measure_commands",
    "months": "measure_commands",
    "flushes": "growth_commands",
    "pins": "growth_commands",
    "another-flush": "another_flush_command",
    "spawn": "spawn_command",
    "compare": "compare_command",
    "query": "query_command",
    "history": "history_command",
    "forget": "history_command",
    "report": "report_command",
    "sheet": "sheet_command",
    "trace": "trace_command",
    "outlook": "outlook_command",
    "trial": "trial_command",
}


class Command(TyperCommand):
    """A command that starts quickly, and tells of a number below 0 what is wrong with it."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Reads what stands behind the command. Raises WrongRequest for a number below 0 that no option takes."""
        for before, word in zip(["", *args], args, strict=False):
            if word[:1] == "-" and word[1:2].isdigit() and not before.startswith("-"):
                raise WrongRequest(
                    f"{self.name} {word}: it must be more than 0. Write it anew. "
                    f"(A name that begins with - stands behind --, like gillbook {self.name} -- {word}.)"
                )
        return super().parse_args(ctx, args)

    def get_params(self, ctx: Any) -> Any:
        """Which options and arguments are there, with the library's own?"""
        return as_typed(super().get_params(ctx))


def _load(name: str) -> Any:
    """The command of this name, made from its function."""
    module = import_module(f"pipeline.cli.{COMMANDS[name]}")
    alone = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
    alone.command(name, cls=Command)(getattr(module, name.replace("-", "_")))
    return typer.main.get_command(alone)


class OnDemand(MutableMapping[str, Any]):
    """The commands by name. A name costs nothing; what stands under it is loaded when it is looked at."""

    def __init__(self) -> None:
        self._loaded: dict[str, Any] = {}

    def __getitem__(self, name: str) -> Any:
        if name not in self._loaded:
            if name not in COMMANDS:
                raise KeyError(name)
            self._loaded[name] = _load(name)
        return self._loaded[name]

    def __setitem__(self, name: str, command: Any) -> None:
        self._loaded[name] = command

    def __delitem__(self, name: str) -> None:
        del self._loaded[name]

    def __iter__(self) -> Iterator[str]:
        return iter(dict.fromkeys((*COMMANDS, *self._loaded)))

    def __len__(self) -> int:
        return sum(1 for _ in self)


class CommandsOnDemand(TyperGroup):
    """The program's commands, each loaded when it is asked for (help and completion ask for all)."""

    def __init__(self, **told: Any) -> None:
        super().__init__(**told)
        self.commands = OnDemand()

    def get_params(self, ctx: Any) -> Any:
        """Which options are there, with the library's own?"""
        return as_typed(super().get_params(ctx))

    def list_commands(self, ctx: Any) -> list[str]:  # noqa: ARG002  (the library's own form)
        """Which commands are there, in the order of the help?"""
        return list(self.commands)
