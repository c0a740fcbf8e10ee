"""One refresh at a time, one entry at a time: a lock file that the operating system frees when its holder ends,
however it ends.

With pipeline/files/replace.py the only module with calls that differ between operating systems.
"""

from __future__ import annotations

import errno
import json
import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from schemas.finding import OutOfReach


class Locked(OutOfReach):
    """Another process holds the lock."""


class ReadOnlyFolder(OutOfReach):
    """The folder cannot be written by this user, or by nobody."""


# What operating systems say of a folder or disk that is not to be written.
NOT_TO_BE_WRITTEN = (errno.EROFS, errno.EACCES, errno.EPERM)


def refuse_read_only(folder: Path) -> None:
    """Raise ReadOnlyFolder where nothing can be written into this folder."""
    if not os.access(folder, os.W_OK):
        raise ReadOnlyFolder("The farm folder cannot be written. Is it read-only?")


def _take(handle: int) -> bool:
    if sys.platform == "win32":
        import msvcrt

        try:
            # One byte far behind the text, so that others can still read who holds the lock.
            os.lseek(handle, 1 << 30, os.SEEK_SET)
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
    import fcntl

    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


@dataclass(frozen=True)
class Holder:
    """Who holds a lock: the number of the process, whether on this computer, and since when; "" and None: not known."""

    process: str = ""
    machine: str = ""
    since: str = ""

    @property
    def here(self) -> bool | None:
        """Whether it is on this computer."""
        return self.machine == _machine() if self.machine else None

    def __str__(self) -> str:
        return f"process {self.process} on {self.machine} since {self.since}" if self.process else "another process"


def _noted(path: Path) -> Holder:
    try:
        noted = json.loads(path.read_text(encoding="utf-8"))
        return Holder(str(noted["process"]), str(noted["machine"]), str(noted["since"]))
    except (OSError, ValueError, RecursionError, KeyError, TypeError):
        return Holder()


def holder(path: Path) -> Holder | None:
    """Return who holds the lock file at `path`; None where nobody does. Raises OSError where it cannot be opened."""
    try:
        handle = os.open(path, os.O_RDONLY)
    except FileNotFoundError:
        return None
    try:
        return None if _take(handle) else _noted(path)
    finally:
        os.close(handle)


def held(handle: int) -> bool:
    """Whether another program holds a lock on this open file, as spreadsheets and editors may. Ours is freed when the
    file is closed. On Windows such a file cannot be opened to begin with.
    """
    if sys.platform == "win32":
        return False
    import fcntl

    if not _take(handle):
        return True
    try:
        fcntl.lockf(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as problem:
        # Some file systems know no such locks.
        return isinstance(problem, (BlockingIOError, PermissionError))
    return False


def _machine() -> str:
    if sys.platform == "win32":
        import socket

        return socket.gethostname()
    return os.uname().nodename  # as the same, without a library that takes long to import


def _wait(handle: int, patience_s: float) -> bool:
    """Takes the lock; tries again until this many seconds have passed."""
    until = time.monotonic() + patience_s
    pause = 0.001
    while not _take(handle):
        if time.monotonic() >= until:
            return False
        time.sleep(pause)
        pause = min(2 * pause, 0.02)
    return True


@contextmanager
def locked(path: Path, since: str, what: str = "The ledger", patience_s: float = 0.0) -> Iterator[None]:
    """Runs its body while holding the lock file at `path`; `since` is the moment shown to others, `what` is locked.

    Raises Locked, naming the holder, when another process has it for longer than `patience_s`; ReadOnlyFolder or
    OutOfReach when the folder cannot be written.
    """
    try:
        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
    except OSError as problem:
        refused = ReadOnlyFolder if problem.errno in NOT_TO_BE_WRITTEN else OutOfReach
        raise refused(f"{path.name} cannot be written ({problem.strerror}). Is the farm folder read-only?") from problem
    try:
        if not _wait(handle, patience_s):
            raise Locked(f"{what} is locked by {_noted(path)}. Try again when it is done.")
        # Who holds it is noted for others' sake; on a full disk it is not.
        with suppress(OSError):
            os.lseek(handle, 0, os.SEEK_SET)
            os.truncate(handle, 0)
            noted = {"process": os.getpid(), "machine": _machine(), "since": since}
            os.write(handle, json.dumps(noted).encode())
        yield
    finally:
        os.close(handle)
