"""The options that fill columns of a table, made from its contract: a column that gains an option there has it here."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from inspect import Parameter
from typing import Annotated, TypeVar

import typer

from schemas.contract import Field, contract

Command = TypeVar("Command", bound=Callable[..., None])

METAVARS = {"kg": "WEIGHT", "L": "VOLUME", "%": "PCT"}


def with_column_options(table: str) -> Callable[[Command], Command]:
    """Decorate a command that takes `**columns`: it gets one option for each column of the table that names one, and
    the texts by column (None where not given).
    """

    def decorate(command: Command) -> Command:
        signature = inspect.signature(command, eval_str=True)
        own = [each for each in signature.parameters.values() if each.kind is not Parameter.VAR_KEYWORD]
        options = [_parameter(each) for each in contract(table).fields if each.option]
        made = signature.replace(parameters=[each.replace(kind=Parameter.KEYWORD_ONLY) for each in (*own, *options)])
        command.__signature__ = made  # type: ignore[attr-defined]
        command.__annotations__ = {name: each.annotation for name, each in made.parameters.items()}
        return command

    return decorate


def option_of(table: str, column: str) -> str:
    """Return how a column is given on the command line: its own option, or --set."""
    return contract(table).field(column).option or f"--set {column}"


def _parameter(each: Field) -> Parameter:
    assert each.option is not None
    option = typer.Option(each.option, metavar=_metavar(each), help=_help(each))
    return Parameter(each.name, Parameter.KEYWORD_ONLY, default=None, annotation=Annotated[str | None, option])


def _metavar(each: Field) -> str:
    if each.words:
        return "WORD"
    return METAVARS.get(each.unit or "", "N" if each.is_number else "TEXT")


def _help(each: Field) -> str:
    words = f" {', '.join(each.words)}." if each.words else ""
    return f"{each.description}{words}"
