"""What the audit expects, in words and in the terms of the engine that tests it; it names no library."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Expected:
    """One expectation of a frame. `test` and `arguments` say it to the engine (see engine.py): the name of its
    expectation and that one's parameters. `shown` is the column whose value is told of a faulty row, `beside` the one
    that it is held against, where that differs from row to row.
    """

    table: str
    column: str
    rule: str
    severity: str
    words: str
    test: str
    arguments: Mapping[str, object] = field(default_factory=dict)
    shown: str = ""
    beside: str = ""


@dataclass(frozen=True)
class Tested:
    """What the engine says: did it hold, of how many values, and which rows of the frame (by number) break it?

    `observed` is the number found by an expectation of one number (a median, a share); null values are never looked at.
    """

    held: bool
    looked_at: int
    faulty: tuple[int, ...] = ()
    observed: float | None = None
