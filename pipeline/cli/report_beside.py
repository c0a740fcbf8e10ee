"""What a report compares, worked out in a process beside its own: of a large farm that is half of the work.

That process compares; the spawn rates of a large farm are worked out by whichever of the two is done first.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, TYPE_CHECKING

from pipeline.cli.farm_workers import begun
from pipeline.cli.report_child import taken
from pipeline.cli.show import GATHERING

if TYPE_CHECKING:
    from datetime import date

    from pipeline.cli.report_tables import Tables
    from pipeline.models.view import Ledger

# Both processes hold the farm's containers: of a ledger over this size one does the work alone, so that the report of
# ten million pickings (a ledger of half a gigabyte) still ends within 8 GB. Two hold half of that at four million.
ALONE_FROM_BYTES = 250_000_000
# Of a ledger over this size (a few hundred thousand pickings) spawn rates take over half a second. Of smaller ones the
# process beside does all: it has loaded what they need.
SHARED_FROM_BYTES = 20_000_000


class Beside:
    """The process beside this one, which waits to be asked."""

    def __init__(self, process: subprocess.Popen[bytes], into: IO[bytes], out_of: IO[bytes]) -> None:
        self._process = process
        self._into = into
        self._out_of = out_of
        # The spawn rates are of the process that removes it; None: of the one beside.
        self._task: Path | None = None

    def ask(self, ledger: Ledger, as_of: date) -> bool:
        """Ask what is to be compared in this ledger as of this day; return whether that is worked on."""
        from pipeline.models.measures import ledger_id

        size = ledger.path.stat().st_size if ledger.path else 0
        if ledger.path is None or size > ALONE_FROM_BYTES:
            return False
        with suppress(OSError):
            self._task = _new_task() if size > SHARED_FROM_BYTES else None
            pickle.dump((ledger.path, ledger.farm_settings, ledger_id(ledger), as_of, self._task), self._into)
            self._into.flush()
            return True
        return False

    def answer(self, of_spawn: Callable[[], Tables]) -> Tables | None:
        """Return the tables that were asked for; None where the process ended without them, or met another ledger.
        of_spawn: works out the spawn rates here, unless the process has begun with them.
        """
        ours = of_spawn() if self._task and taken(self._task) else {}
        try:
            found: Tables = pickle.load(self._out_of)
        except (EOFError, OSError, pickle.UnpicklingError):
            return None
        return found | ours

    def stop(self) -> None:
        """End the process, whatever it is at."""
        self._process.kill()
        self._process.wait()
        if self._task:
            taken(self._task)
        for pipe in (self._into, self._out_of):
            with suppress(OSError):
                pipe.close()


def _new_task() -> Path:
    """Return an empty file that can be taken once."""
    number, path = tempfile.mkstemp(prefix="gillbook-")
    os.close(number)
    return Path(path)


@contextmanager
def process_beside() -> Iterator[Beside | None]:
    """Give a process that makes ready to be asked; None where there is one processor, or other farms keep them busy."""
    beside = None if (os.cpu_count() or 1) < 2 or GATHERING.of_many else _started()
    try:
        yield beside
    finally:
        if beside:
            beside.stop()


def _started() -> Beside | None:
    with suppress(OSError):
        process = begun("pipeline.cli.report_child")
        if process.stdin and process.stdout:
            return Beside(process, process.stdin, process.stdout)
    return None
