"""Rows as lines of JSON, worked out column by column: of a long table most cells say what others said before."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date
from json.encoder import encode_basestring
from math import isfinite

from schemas.result_rows import Rows


def in_json(value: object) -> str:
    """Return a value as JSON on one line, days as ISO 8601 has them. Raises ValueError for a number without end."""
    return ENCODER.encode(value)


def json_lines(rows: Rows) -> list[str]:
    """Return each row as an object of JSON on one line, as `in_json` gives it."""
    if not rows:
        return []
    names = tuple(rows[0])
    if any(tuple(row) != names for row in rows):
        return [in_json(dict(row)) for row in rows]
    columns = [_texts([row[name] for row in rows], f"{in_json(name)}: ") for name in names]
    return [f"{{{', '.join(cells)}}}" for cells in zip(*columns, strict=True)] if names else ["{}"] * len(rows)


def _texts(values: Sequence[object], name: str) -> list[str]:
    """Return the cells of a column, each with the column's name before it."""
    kinds, nothing = {*map(type, values)} - {type(None)}, f"{name}null"
    if kinds == {float}:
        return [
            f"{name}{each!r}" if isinstance(each, float) and isfinite(each) else f"{name}{in_json(each)}"
            for each in values
        ]
    if kinds == {int}:
        return [nothing if each is None else f"{name}{each}" for each in values]
    if kinds == {str}:
        texts = {value: f"{name}{encode_basestring(value)}" for value in {*values} if isinstance(value, str)}
        return [texts[value] if isinstance(value, str) else nothing for value in values]
    if kinds == {date}:
        known = {value: f"{name}{in_json(value)}" for value in {*values}}
        return [known[value] for value in values]
    return [f"{name}{in_json(value)}" for value in values]


def _day(value: object) -> str:
    if isinstance(value, date):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} is nothing that report.json holds")


ENCODER = json.JSONEncoder(ensure_ascii=False, allow_nan=False, default=_day)
