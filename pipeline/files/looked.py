"""Whether a file is as it was when it was read: by size and time, else by the hash of its bytes."""

from __future__ import annotations

import os
import time
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

# A file changed within this time of its reading may have changed again within one tick of its time stamp.
FRESH_NS = 2_000_000_000


@dataclass(frozen=True)
class Stamp:
    """A file as it was when it was read: size in bytes, its time and the time of reading (ns), hash of its bytes."""

    size: int = 0
    mtime_ns: int = 0
    read_ns: int = 0
    digest: str = ""

    @property
    def settled(self) -> bool:
        """Whether a later change would show in size or time."""
        return self.mtime_ns < self.read_ns - FRESH_NS


@dataclass(frozen=True)
class Look:
    """What a look at a file found: `data`, all its bytes, None where it is as known and was not read; `added`: what
    stands behind the bytes that were known, None where these are not what it begins with.
    """

    stamp: Stamp
    data: bytes | None = None
    added: bytes | None = None


def look(path: Path, known: Stamp | None) -> Look:
    """Return what the file is now, beside what is known of it. Raises OSError."""
    now = os.stat(path)
    if known and (known.size, known.mtime_ns) == (now.st_size, now.st_mtime_ns) and known.settled:
        return Look(known)
    read_ns = time.time_ns()
    data = path.read_bytes()
    added = data[known.size :] if known else b""
    hashed = sha256(data[: len(data) - len(added)])
    as_known = known is not None and hashed.hexdigest() == known.digest
    hashed.update(added)
    stamp = Stamp(len(data), now.st_mtime_ns, read_ns, hashed.hexdigest())
    return Look(stamp, data, added if as_known else None)
