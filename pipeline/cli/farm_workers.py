"""Processes that answer for farm after farm: begun at the first, and anew where one ended or took much memory."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from queue import LifoQueue

from pipeline.files.workbook_process import receive, send

# The folder that holds our packages, so that the other processes find the same ones wherever they are started.
PACKAGES = Path(__file__).resolve().parents[2]
# One process is begun at a time: on Windows the next would hold the pipes of the one that is being begun, and its end
# would not be heard.
BEGINNING = threading.Lock()


class FarmWorker:
    """A process that runs this module and answers what it is asked, until it ends, or has had enough."""

    def __init__(self, module: str) -> None:
        self._module = module
        self._process: subprocess.Popen[bytes] | None = None

    def ask(self, words: Sequence[str]) -> tuple[object, int]:
        """Return what the process answers to these words, and 0; or None and the exit code of one that ended without an
        answer.

        A process that had answered before is not taken at its word: what ended it may be of an earlier farm, and so a
        new one is asked the same.
        """
        had_answered = self._process is not None
        answer, code = self._exchange(words)
        return self._exchange(words) if had_answered and answer is None else (answer, code)

    def end(self) -> None:
        """Let the process end, if one runs, when it has answered."""
        self._ended()

    def _exchange(self, words: Sequence[str]) -> tuple[object, int]:
        process = self._process = self._process or begun(self._module)
        found = None
        if process.stdin is not None and process.stdout is not None:
            with suppress(OSError):
                send(process.stdin, pickle.dumps(list(words)))
                found = receive(process.stdout)
        if found is None:
            return None, self._ended()
        answer, had_enough = pickle.loads(found)
        if had_enough:
            self._ended()
        return answer, 0

    def _ended(self) -> int:
        """Wait for the end of the process; return its exit code."""
        process, self._process = self._process, None
        if process is None:
            return 0
        for pipe in (process.stdin, process.stdout):
            # What could not be sent to a process that ended is of no use to anybody.
            with suppress(OSError):
                if pipe is not None:
                    pipe.close()
        return process.wait()


class FarmWorkers:
    """So many workers, each of which is asked by whoever comes when it has nothing to do."""

    def __init__(self, module: str, number: int) -> None:
        self.each = [FarmWorker(module) for _ in range(number)]
        # Last in, first out: who has begun is asked before who has not.
        self._idle: LifoQueue[FarmWorker] = LifoQueue()
        for worker in self.each:
            self._idle.put(worker)

    def ask(self, words: Sequence[str]) -> tuple[object, int]:
        """Return what a worker answers: see FarmWorker.ask. Waits while all are at work."""
        worker = self._idle.get()
        try:
            return worker.ask(words)
        finally:
            self._idle.put(worker)


@contextmanager
def farm_workers(module: str, number: int) -> Iterator[FarmWorkers]:
    """Give so many workers that run this module; they end with the body."""
    workers = FarmWorkers(module, number)
    try:
        yield workers
    finally:
        for each in workers.each:
            each.end()


def process_of(module: str) -> tuple[list[str], dict[str, str]]:
    """Return the words that start a process which runs this module of ours, and the environment that it is to have."""
    # -P: not from the folder one stands in, where a farm's files might be called like a module.
    paths = [str(PACKAGES), *filter(None, [os.environ.get("PYTHONPATH")])]
    return [sys.executable, "-P", "-m", module], {**os.environ, "PYTHONPATH": os.pathsep.join(paths)}


def begun(module: str) -> subprocess.Popen[bytes]:
    """Return a process that runs this module of ours, and is spoken to through pipes. Raises OSError where none is."""
    command, env = process_of(module)
    with BEGINNING:
        return subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=env
        )
