"""Texts and paths of the command line as they were typed, without the library that converts values.

It takes longer to load than all the rest of an entry, and does nothing to a text. What needs it (a number, a word of a
list) has it, once it is given.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

# What a path may ask of the library to look after; with any of these it is left to it.
OF_PATHS = ("exists", "resolve_path", "writable", "allow_dash", "path_type", "parser")


class _AsTyped:
    """Stands where the library has a parameter's conversion (`made`), which is made only when it is needed."""

    def __init__(self, text: type | None, made: Callable[[], Any]) -> None:
        self._text = text
        self._made = made

    def coerce(self, value: Any, param: Any, ctx: Any) -> Any:
        several = param.multiple or param.nargs == -1
        if value is None:
            return () if several else None
        if self._text is not None and not several and isinstance(value, str):
            return self._text(value)
        if self._text is not None and several and all(isinstance(each, str) for each in value):
            return [self._text(each) for each in value]
        return self._made().coerce(value, param=param, ctx=ctx)


def _itself(told: _AsTyped) -> _AsTyped:
    return told


def as_typed(params: list[Any]) -> list[Any]:
    """The same parameters, which keep what is typed. Of a library that is made in another way, none is touched."""
    for each in params:
        if hasattr(each, "get_runtime_param") and hasattr(each, "type_descriptor"):
            told = _AsTyped(_text_of(each.type_descriptor), partial(type(each).get_runtime_param, each))
            each.get_runtime_param = partial(_itself, told)
    return params


def _text_of(descriptor: Any) -> type | None:
    """Which kind of text is it, where it is one that nothing more is asked of?"""
    annotation, told = descriptor.annotation, descriptor.parameter_info
    if getattr(told, "parser", None) is not None:
        return None
    if annotation in (str, list[str]):
        return str
    plain = not any(getattr(told, name, None) for name in OF_PATHS)
    free = getattr(told, "file_okay", True) and getattr(told, "dir_okay", True)
    return Path if annotation is Path and plain and free else None
