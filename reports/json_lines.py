"""Rows as lines of JSON, worked out column by column: of a long table most cells say what others said before."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date
from operator import itemgetter

from schemas.result_rows import Rows

NUMBERS = frozenset({int, float, bool})


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
    if not names:
        return ["{}"] * len(rows)
    line = f"{{{', '.join(in_json(name).replace('%', '%%') + ': %s' for name in names)}}}"
    columns = [_texts([*map(itemgetter(name), rows)]) for name in names]
    return [line % cells for cells in zip(*columns, strict=True)]


def _texts(values: list[object]) -> Sequence[str]:
    """Return the cells of a column in JSON. Numbers in one go: no text of theirs holds a comma."""
    kinds = {*map(type, values)} - {type(None)}
    if kinds <= NUMBERS:
        return in_json(values)[1:-1].split(", ")
    if kinds in ({str}, {date}):
        texts = {value: in_json(value) for value in {*values}}
        return [*map(texts.__getitem__, values)]
    return [*map(in_json, values)]


def _day(value: object) -> str:
    if isinstance(value, date):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} is nothing that report.json holds")


ENCODER = json.JSONEncoder(ensure_ascii=False, allow_nan=False, default=_day)
