"""The process that reads workbooks: started at the first one, with limits on memory and time, and begun anew where a
file ended it.

A message on its pipes is its length in eight bytes, then its bytes.
"""

from __future__ import annotations

import atexit
import os
import subprocess
import sys
import threading
from pathlib import Path
from typing import IO

# What a sheet may take to read. Our choice, no source: 20,000 pickings take a second and 200 MB.
SECONDS = 60.0
MEMORY_BYTES = 3_000_000_000
LENGTH_BYTES = 8
# The folder that holds our packages, so that the other process finds the same ones wherever it is started.
PACKAGES = Path(__file__).resolve().parents[2]


class WorkerEnded(Exception):
    """The process ended without an answer. The message says, of the file, why."""


class WorkbookWorker:
    """Holds the process between files. One file at a time: whoever comes second waits."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._owner = 0
        self._turn = threading.Lock()
        self._late = False

    def answer(self, request: bytes, data: bytes) -> bytes:
        """Return what the process answers to this request about these bytes of a workbook. Raises WorkerEnded."""
        with self._turn:
            try:
                process = self._running()
            except OSError as problem:
                raise WorkerEnded(f"cannot be read just now ({problem.strerror})") from problem
            self._late = False
            timer = threading.Timer(SECONDS, self._stop_late, [process])
            timer.daemon = True
            timer.start()
            try:
                return _exchange(process, request, data)
            except OSError as problem:
                # A process that answered nothing is not asked again.
                self.stop()
                limit = (
                    f"within {SECONDS:g} seconds" if self._late else "with the memory and the cells that it asks for"
                )
                raise WorkerEnded(f"cannot be read {limit}, and was not read") from problem
            except BaseException:
                self.stop()
                raise
            finally:
                timer.cancel()

    def stop(self) -> None:
        """End the process, if one runs. The next file starts another."""
        process, self._process = self._process, None
        owner, self._owner = self._owner, 0
        if process is None or owner != os.getpid():
            return
        process.kill()
        process.wait()
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                _close(pipe)

    def _running(self) -> subprocess.Popen[bytes]:
        if self._process is None or self._owner != os.getpid() or self._process.poll() is not None:
            self.stop()
            self._process, self._owner = _started(), os.getpid()
        return self._process

    def _stop_late(self, process: subprocess.Popen[bytes]) -> None:
        self._late = True
        process.kill()


def _started() -> subprocess.Popen[bytes]:
    # -P: not from the folder one stands in, where a farm's files might be called like a module.
    command = [sys.executable, "-P", "-m", "pipeline.files.workbook_child", str(MEMORY_BYTES)]
    paths = [str(PACKAGES), *filter(None, [os.environ.get("PYTHONPATH")])]
    return subprocess.Popen(
        command,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
    )


def _exchange(process: subprocess.Popen[bytes], request: bytes, data: bytes) -> bytes:
    if process.stdin is None or process.stdout is None:
        raise OSError("no pipes")
    send(process.stdin, request)
    send(process.stdin, data)
    answer = receive(process.stdout)
    if answer is None:
        raise OSError("no answer")
    return answer


def _close(pipe: IO[bytes]) -> None:
    try:
        pipe.close()
    except OSError:
        # What could not be sent to a process that ended is of no use to anybody.
        return


def send(pipe: IO[bytes], message: bytes) -> None:
    """Write one message to this pipe. Raises OSError where nobody reads it."""
    pipe.write(len(message).to_bytes(LENGTH_BYTES, "big"))
    pipe.write(message)
    pipe.flush()


def receive(pipe: IO[bytes]) -> bytes | None:
    """Return the next message from this pipe; None where it ended before the message did."""
    length = pipe.read(LENGTH_BYTES)
    size = int.from_bytes(length, "big")
    message: bytes = pipe.read(size) if len(length) == LENGTH_BYTES else b""
    return message if len(length) == LENGTH_BYTES and len(message) == size else None


WORKER = WorkbookWorker()
atexit.register(WORKER.stop)
