"""Which commands there are, and in which module each stands. A module is imported when its command is asked for.

So that a command pays for no other: `weigh` is to be quicker than paper.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from importlib import import_module
from typing import Any, cast

import typer
from typer.core import TyperCommand, TyperGroup

from pipeline.cli.clock import today
from pipeline.cli.farm_access import RUN
from pipeline.cli.parameters import lazy
from schemas.finding import WrongRequest

# In the order of the help. A command is the function of its name (see function_name) in that module of pipeline.cli.
COMMANDS = {
    "init": "init_command",
    "demo": "farm_commands",
    "weigh": "weigh_command",
    "note": "note_command",
    "today": "today_command",
    "open": "open_command",
    "batch": "batch_command",
    "fill": "batch_command",
    "sell": "sell_command",
    "promise": "promise_command",
    "take-in": "take_in_command",
    "lost": "lost_command",
    "mix": "mix_command",
    "edit": "edit_command",
    "settings": "settings_command",
    "refresh": "farm_commands",
    "many": "many_command",
    "check": "check_command",
    "yields": "measure_commands",
    "days": "measure_commands",
    "losses": "measure_commands",
    "months": "measure_commands",
    "money": "money_command",
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
    "export": "export_command",
    "trace": "trace_command",
    "outlook": "outlook_command",
    "plan": "plan_command",
    "promise check": "promise_check_command",
    "trial": "trial_command",
    "next-soak": "next_soak_command",
    "doctor": "doctor_command",
}


class Command(TyperCommand):
    """A command that starts quickly, and says of a number below 0 what is wrong with it."""

    def get_params(self, ctx: Any) -> Any:
        """Return the options and arguments, with the library's own, each converted only where it has to be."""
        return lazy(super().get_params(ctx))

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Read what stands behind the command; where it reads and names more than one farm, each of them answers.

        Raises WrongRequest for a number below 0 that no option takes.
        """
        if self.name != "many" and sum(word.partition("=")[0] == "--farm" for word in args) > 1:
            from pipeline.cli.many_command import answer_for_each

            answer_for_each(str(self.name), args)
        for before, word in zip(["", *args], args, strict=False):
            if word[:1] == "-" and word[1:2].isdigit() and not before.startswith("-"):
                raise WrongRequest(
                    f"{self.name} {word}: it must be more than 0. Write it anew. "
                    f"(A name that begins with - stands behind --, like gillbook {self.name} -- {word}.)"
                )
        self._refuse_twice(args)
        left = super().parse_args(ctx, args)
        # Which farm is named is noted for what is read before that farm is opened; and whether the day is the clock's.
        RUN.given = ctx.params.get("farm")
        RUN.today = today() if "as_of" in ctx.params and ctx.params["as_of"] is None else None
        return left

    def _refuse_twice(self, args: Sequence[str]) -> None:
        """Raise WrongRequest where an option of one value is given two that differ, of which the last would count."""
        options = [each for each in self.params if not getattr(each, "is_flag", True)]
        once = {
            name for each in options if each.nargs == 1 and not getattr(each, "multiple", False) for name in each.opts
        }
        given: dict[str, str] = {}
        words = iter(args)
        for word in words:
            if word == "--":
                return
            name, mark, value = word.partition("=")
            if name not in once:
                continue
            value = value if mark else next(words, "")
            if given.setdefault(name, value) != value:
                raise WrongRequest(
                    f"{self.name}: {name} is given twice, {given[name]} and {value}. Nothing was done. "
                    "Write the line anew with the one that you mean."
                )


def function_name(name: str) -> str:
    """Return the name of a command's function: with _ for - and for the space of a command of two words."""
    return name.replace("-", "_").replace(" ", "_")


def joined(words: Sequence[str]) -> list[str]:
    """Return what is typed behind the program's name, where a command of two words is one: "promise check"."""
    at = next((at for at, word in enumerate(words) if not word.startswith("-")), 0)
    two = " ".join(words[at : at + 2])
    return [*words[:at], two, *words[at + 2 :]] if len(words) > at + 1 and two in COMMANDS else list(words)


@cache
def command(name: str) -> Any:
    """Return the command of this name, made from its function. Raises KeyError for a name that is none."""
    module = import_module(f"pipeline.cli.{COMMANDS[name]}")
    alone = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
    # What stands behind the folder of many farms is another command, with options of its own.
    settings = {"allow_interspersed_args": False} if name == "many" else {}
    alone.command(name, cls=Command, context_settings=settings)(getattr(module, function_name(name)))
    return typer.main.get_command(alone)


class CommandsOnDemand(TyperGroup):
    """The program's commands, each loaded when it is asked for (help and completion ask for all)."""

    def __init__(self, **more: Any) -> None:
        super().__init__(**more)
        # What a slip is held against: only the names are looked at.
        self.commands = cast("dict[str, Any]", dict.fromkeys(COMMANDS))

    def get_params(self, ctx: Any) -> Any:
        """Return the options, with the library's own, each converted only where it has to be."""
        return lazy(super().get_params(ctx))

    def list_commands(self, ctx: Any) -> list[str]:  # noqa: ARG002  (the library's own form)
        """Return the names of the commands, in the order of the help."""
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:  # noqa: ARG002  (the library's own form)
        """Return the command of this name, None where there is none."""
        return command(cmd_name) if cmd_name in COMMANDS else None
