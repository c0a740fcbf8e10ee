"""What a long command is at: a room says it here, and whoever shows it, if anybody does, is no business of the room."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol


class Watcher(Protocol):
    """Who is told of steps."""

    def begin(self, words: str) -> None:
        """A step begins, within the one that is under way if there is one."""

    def at(self, words: str) -> None:
        """The step is at this now."""

    def end(self) -> None:
        """The step that began last is over, whether it was done or not."""


class Steps:
    """The steps of this run. Nobody watches them by default, and saying them costs nothing then."""

    def __init__(self) -> None:
        self.watcher: Watcher | None = None

    @contextmanager
    def during(self, words: str) -> Iterator[None]:
        """Say what the body does."""
        watcher = self.watcher
        if watcher is None:
            yield
            return
        watcher.begin(words)
        try:
            yield
        finally:
            watcher.end()

    def at(self, words: str, done: int = 0, of: int = 0) -> None:
        """Say what is being done within a step; `done` of how many, where that is known."""
        if self.watcher is not None:
            self.watcher.at(f"{words}, {done} of {of}" if of else words)


# Of this run.
STEPS = Steps()
