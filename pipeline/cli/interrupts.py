"""Ctrl-C: whatever a command is at, the first one ends it with one plain line and exit code 130."""

from __future__ import annotations

import os
import signal
import sys
import threading
from types import FrameType

# What shells know a program by that Ctrl-C ended: 128 and the signal's number.
INTERRUPTED = 130
SAID = "Aborted!"


class Interrupts:
    """Whether Ctrl-C was pressed. Libraries make errors of their own of it, which are no mistake then."""

    def __init__(self) -> None:
        self.pressed = False

    def end_at_once(self) -> None:
        """From here on Ctrl-C ends the program where it is: before a command began, and after it ended."""
        _handle(self._end)

    def unwind(self) -> None:
        """From here on the first Ctrl-C ends the command, which cleans up; a second one ends that as well."""
        _handle(self._unwind)

    def _unwind(self, number: int, frame: FrameType | None) -> None:
        if self.pressed:
            self._end(number, frame)
        self.pressed = True
        raise KeyboardInterrupt

    def _end(self, _number: int, _frame: FrameType | None) -> None:
        if not self.pressed:
            os.write(2, f"{SAID}\n".encode())
        os._exit(INTERRUPTED)


def _handle(handler: signal.Handlers | object) -> None:
    # A program that was started to ignore Ctrl-C (nohup, or in the background of a script) goes on ignoring it.
    if signal.getsignal(signal.SIGINT) != signal.SIG_IGN and threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGINT, handler)  # type: ignore[arg-type]


def stop_interrupted() -> None:
    """End the program as one that Ctrl-C ended. Raises SystemExit."""
    sys.stderr.write(f"\n{SAID}\n")
    sys.exit(INTERRUPTED)
