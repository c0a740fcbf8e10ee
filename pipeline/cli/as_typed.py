"""Texts and paths of the command line as they were typed, without the library that converts values.

It takes longer to load than all the rest of an entry, and does nothing to a text. What needs it (a number, a word of a
list) has it, once it is given.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

# What a path may ask of the library to look after; with any of these it is left to it.
OF_PATHS = ("exists", "resolve_path", "writable", "allow_dash", "path_type", "parser")


class _AsTyped:
    """Stands where the library keeps a parameter's conversion, and has it made only when it is needed."""

    def __init__(self, text: type | None) -> None:
        self._text = text

    def coerce(self, value: Any, param: Any, ctx: Any) -> Any:
        several = param.multiple or param.nargs == -1
        if value is None:
            return () if several else None
        if self._text is not None and not several and isinstance(value, str):
            return self._text(value)
        if self._text is not None and several and all(isinstance(each, str) for each in value):
            return [self._text(each) for each in value]
        param._runtime_param = None
        return param.get_runtime_param().coerce(value, param=param, ctx=ctx)


def as_typed(params: list[Any]) -> list[Any]:
    """The same parameters, which keep what is typed. Of a library that is made in another way, none is touched."""
    for each in params:
        if getattr(each, "_runtime_param", each) is None and hasattr(each, "type_descriptor"):
            each._runtime_param = _AsTyped(_text_of(each.type_descriptor))
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
