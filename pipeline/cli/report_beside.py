"""What a report compares, worked out in a process beside its own: of a large farm that is half of the work."""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import IO, TYPE_CHECKING

from pipeline.cli.farm_workers import begun
from pipeline.cli.show import GATHERING

if TYPE_CHECKING:
    from datetime import date

    from pipeline.cli.report_tables import Tables
    from pipeline.models.view import Ledger

# Both processes hold the farm's containers: of a ledger over this size one does the work alone, so that the report of
# ten million pickings (a ledger of half a gigabyte) still ends within 8 GB. Two hold half of that at four million.
ALONE_FROM_BYTES = 250_000_000


class Beside:
    """The process beside this one, which waits to be asked."""

    def __init__(self, process: subprocess.Popen[bytes], into: IO[bytes], out_of: IO[bytes]) -> None:
        self._process = process
        self._into = into
        self._out_of = out_of

    def ask(self, ledger: Ledger, as_of: date) -> bool:
        """Ask what is to be compared in this ledger as of this day; return whether that is worked on."""
        from pipeline.models.measures import ledger_id

        if ledger.path is None or ledger.path.stat().st_size > ALONE_FROM_BYTES:
            return False
        with suppress(OSError):
            pickle.dump((ledger.path, ledger.farm_settings, ledger_id(ledger), as_of), self._into)
            self._into.flush()
            return True
        return False

    def answer(self) -> Tables | None:
        """Return the tables that were asked for; None where the process ended without them, or met another ledger."""
        try:
            found: Tables | None = pickle.load(self._out_of)
        except (EOFError, OSError, pickle.UnpicklingError):
            return None
        return found

    def stop(self) -> None:
        """End the process, whatever it is at."""
        self._process.kill()
        self._process.wait()
        for pipe in (self._into, self._out_of):
            with suppress(OSError):
                pipe.close()


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
        process = begun(__name__)
        if process.stdin and process.stdout:
            return Beside(process, process.stdin, process.stdout)
    return None


def main() -> None:
    """Answer the one question that comes on standard input, on standard output."""
    # The process that asks says what Ctrl-C ended.
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    from pipeline.cli.report_tables import compared, ready_to_compare
    from pipeline.models.measures import ledger_id
    from pipeline.models.view import opened

    ready_to_compare()
    try:
        path, settings, wanted, as_of = pickle.load(sys.stdin.buffer)
    except EOFError:
        return
    with answers, opened(path, settings) as ledger:
        pickle.dump(compared(ledger, as_of) if ledger_id(ledger) == wanted else None, answers)


if __name__ == "__main__":
    main()
