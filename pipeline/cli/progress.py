"""Where a long command is, on the screen: one line on stderr, from a second after the start on, gone before any answer.

Only a terminal sees it. What draws it is imported when that second is over, so that no short command waits for it.
"""

from __future__ import annotations

import sys
import threading
import time
from contextlib import suppress
from typing import TYPE_CHECKING, TextIO

from schemas.steps import STEPS

if TYPE_CHECKING:
    from rich.console import Console

# Shorter than this, nobody wonders: our choice, no source.
WAIT_S = 1.0
FRAME_S = 0.1


def show_progress() -> None:
    """From here on show the steps of this run, where there is a terminal to show them on."""
    with suppress(AttributeError, ValueError, OSError):
        STEPS.watcher = Progress() if sys.stderr.isatty() else None


class Progress:
    """The steps that are under way, the line that shows them, and the thread that draws it."""

    def __init__(self) -> None:
        self._started = time.perf_counter()
        self._words: list[str] = []
        self._over = threading.Event()
        self._thread: threading.Thread | None = None
        self._drawing = threading.Lock()

    def begin(self, words: str) -> None:
        """A step begins; with the first one, the line is to be shown."""
        self._words.append(words)
        if self._thread is None:
            self._over = threading.Event()
            self._thread = threading.Thread(target=self._show, args=(self._over,), daemon=True)
            self._thread.start()

    def at(self, words: str) -> None:
        """The step is at this now."""
        if self._words:
            self._words[-1] = words

    def end(self) -> None:
        """The step that began last is over; with the first one, the line goes."""
        self._words.pop()
        if not self._words:
            self.clear()
            self._thread = None

    def clear(self) -> None:
        """Take the line away, until another step begins when none is under way."""
        self._over.set()
        # Who holds this draws one frame more at most, and takes it away.
        with self._drawing:
            pass

    def _show(self, over: threading.Event) -> None:
        # Time goes by from the start of the program on.
        if over.wait(max(0.0, WAIT_S - (time.perf_counter() - self._started))):
            return
        from rich.console import Console
        from rich.spinner import Spinner

        with self._drawing, suppress(OSError, ValueError):
            console = Console(file=sys.stderr, highlight=False, markup=False, emoji=False)
            if over.is_set() or console.is_dumb_terminal:
                return
            streams = sys.stdout, sys.stderr
            sys.stdout, sys.stderr = (_Cleared(each, self) for each in streams)
            frames = Spinner("line").frames
            try:
                self._draw(console, frames, over)
            finally:
                sys.stdout, sys.stderr = streams

    def _draw(self, console: Console, frames: list[str], over: threading.Event) -> None:
        """Draw the line again and again until it is over, and leave nothing of it."""
        from rich.control import Control
        from rich.segment import ControlType

        gone = Control(ControlType.CARRIAGE_RETURN, (ControlType.ERASE_IN_LINE, 2))
        at = 0
        while not over.wait(FRAME_S):
            seconds = time.perf_counter() - self._started
            line = f"{frames[at % len(frames)]} {''.join(self._words[-1:])} ({seconds:.0f} s)"
            console.control(gone)
            console.print(line[: console.width - 1], end="", soft_wrap=True)
            console.file.flush()
            at += 1
        console.control(gone)
        console.file.flush()


class _Cleared:
    """A stream before which the line of progress goes as soon as anything is written to it."""

    def __init__(self, stream: TextIO, progress: Progress) -> None:
        self._stream = stream
        self._progress = progress

    def write(self, text: str) -> int:
        self._progress.clear()
        return self._stream.write(text)

    def __getattr__(self, name: str) -> object:
        return getattr(self._stream, name)
