"""Ctrl-C: whatever a command is at, the first one ends it with one plain line and exit code 130."""

from __future__ import annotations

import atexit
import os
import signal
import sys
import threading
from contextlib import suppress
from types import FrameType

# What shells know a program by that Ctrl-C ended: 128 and the signal's number.
INTERRUPTED = 130
SAID = "Aborted!"


class Interrupts:
    """Whether Ctrl-C was pressed. Libraries make errors of their own of it, which are no mistake then."""

    def __init__(self) -> None:
        self.pressed = False
        self._hook_before = sys.unraisablehook
        # What Python clears away when all is answered and written would die of Ctrl-C, and say nothing.
        atexit.register(signal.signal, signal.SIGINT, signal.SIG_IGN)

    def end_at_once(self) -> None:
        """From here on Ctrl-C ends the program where it is: before a command began, and after it ended."""
        _handle(self._end)
        sys.unraisablehook = self._hook_before

    def unwind(self) -> None:
        """From here on the first Ctrl-C ends the command, which cleans up; a second one ends that as well."""
        _handle(self._unwind)
        sys.unraisablehook = self._unraisable

    def _unwind(self, number: int, frame: FrameType | None) -> None:
        if self.pressed:
            self._end(number, frame)
        self.pressed = True
        raise KeyboardInterrupt

    def _unraisable(self, problem: sys.UnraisableHookArgs) -> None:
        # Ctrl-C in a place from where no error gets out, as when an object is cleared away.
        if isinstance(problem.exc_value, KeyboardInterrupt):
            _say_at_once()
            os._exit(INTERRUPTED)
        self._hook_before(problem)

    def _end(self, _number: int, _frame: FrameType | None) -> None:
        if not self.pressed:
            _say_at_once()
        os._exit(INTERRUPTED)


def _say_at_once() -> None:
    with suppress(OSError):
        os.write(2, f"\n{SAID}\n".encode())


def _handle(handler: signal.Handlers | object) -> None:
    # A program that was started to ignore Ctrl-C (nohup, or in the background of a script) goes on ignoring it.
    if signal.getsignal(signal.SIGINT) != signal.SIG_IGN and threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGINT, handler)  # type: ignore[arg-type]


def stop_interrupted(what_stands: str) -> None:
    """End the program as one that Ctrl-C ended, and say what it wrote. Raises SystemExit."""
    with suppress(OSError):
        sys.stderr.write(f"\n{SAID}{what_stands and f' {what_stands}'}\n")
    sys.exit(INTERRUPTED)
