"""Options and arguments whose values are converted only where there is something to convert.

The library that converts values takes longer to load than all the rest of an entry, and does nothing to a text or to
what was not given, nor to a default or a word of a list as the list has it. Numbers, other words and paths that are
looked after (they must exist, say) are left to it.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import Any

from typer.core import TyperArgument, TyperOption

from schemas.finding import WrongRequest


class _Lazy:
    """What a parameter does with its value; mixed into both kinds of parameter."""

    def process_value(self: Any, ctx: Any, value: Any) -> Any:
        """Return the value as the command takes it: a text or path as typed, None or () for nothing given."""
        path = self.type_descriptor.annotation in (Path, list[Path])
        if path and self.param_type_name == "argument" and "" in _each(value):
            # It would be the folder that one is in.
            raise WrongRequest(f"{self.metavar}: a blank is no name. Name it; the folder you are in is called .")
        if value is None:
            found: Any = () if self.multiple or self.nargs == -1 else None
        elif isinstance(value, str) and _is_text(self, value):
            found = self.type_descriptor.annotation(value)
        elif type(value) is self.type_descriptor.annotation:
            found = value
        elif _is_text(self, value):
            found = list(value)
        else:
            return super().process_value(ctx, _with_point(value))  # type: ignore[misc]
        if self.required and self.value_is_missing(found):
            return super().process_value(ctx, value)  # type: ignore[misc]
        return found if self.callback is None else self.callback(ctx, self, found)


def _with_point(value: object) -> object:
    """Return a number typed with a decimal comma as programs write it, where that is its only reading: 5,5 but not
    1,234.
    """
    plain = isinstance(value, str) and re.fullmatch(r"0,\d+|\d+,(\d{1,2}|\d{4,})", value, re.ASCII)
    return value.replace(",", ".") if plain and isinstance(value, str) else value


class LazyOption(_Lazy, TyperOption):
    """An option that is converted only where it has to be."""


class LazyArgument(_Lazy, TyperArgument):
    """An argument that is converted only where it has to be."""


def lazy(params: Sequence[Any]) -> list[Any]:
    """Return a command's parameters as LazyOption and LazyArgument; others (the help option) as they are."""
    return [_as(KINDS[type(each)], each) if type(each) in KINDS else each for each in params]


KINDS: dict[type, type] = {TyperOption: LazyOption, TyperArgument: LazyArgument}


def _as(kind: type, param: Any) -> Any:
    made: Any = object.__new__(kind)
    made.__dict__.update(param.__dict__)
    return made


def _each(value: object) -> Sequence[object]:
    return value if isinstance(value, list | tuple) else (value,)


def _is_text(param: Any, value: object) -> bool:
    """Whether nothing is asked of the value but that it is a text, texts, or a path of any kind; or whether it is, to
    the letter, one of the words that may be given.
    """
    annotation, info = param.type_descriptor.annotation, param.type_descriptor.parameter_info
    if annotation is Path:
        return not (info.exists or info.resolve_path or info.writable or info.path_type or info.parser)
    if isinstance(annotation, type) and issubclass(annotation, StrEnum):
        return value in list(annotation)
    return annotation in (str, list[str]) and info.parser is None
