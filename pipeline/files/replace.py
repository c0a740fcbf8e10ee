"""Replacing a file whole: written as a draft first, then renamed, so that no reader ever sees half of it.

Every file that gillbook writes anew goes through here; entries that are added at a file's end do not.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from pipeline.files.deeds import DEEDS


def replace_file(
    path: Path,
    data: bytes,
    *,
    sync: bool = True,
    draft: Path | None = None,
    mode: int | None = None,
    mtime_ns: int | None = None,
) -> None:
    """Write these bytes as the whole of the file: as `replacing` does, which says what the parameters mean."""
    with replacing(path, sync=sync, draft=draft, mode=mode, mtime_ns=mtime_ns) as out:
        out.write(data)


@contextmanager
def replacing(
    path: Path,
    *,
    sync: bool = True,
    draft: Path | None = None,
    mode: int | None = None,
    mtime_ns: int | None = None,
) -> Iterator[BinaryIO]:
    """Open a draft for writing, and rename it to `path` when the body ends. Where anything fails the file is as it was
    and the draft is gone. A symbolic link at `path` is replaced itself: resolve it first where it must stay.

    Parameters
    ----------
    path
        The file; its folder must be there.
    sync
        Wait until the disk has the file and its name, so that it outlasts a power cut. Not needed for what is made
        anew where it is found torn.
    draft
        Where it is written, on the same disk. By default beside the file, under a name of this process's own that no
        reader takes for a table, so that two processes never rename each other's half. Name one where a lock keeps
        others out: then the next write clears what a killed one left.
    mode, mtime_ns
        The rights and the time of change that the file gets. Rights that cannot be set are left.

    Raises
    ------
    OSError
        As the operating system gives it.
    """
    draft = draft or path.with_name(f".{path.name}.{os.getpid()}.new")
    # Never through what stands there, which may be a link to something else.
    draft.unlink(missing_ok=True)
    try:
        with open(draft, "xb") as out:
            yield out
            if sync:
                out.flush()
                os.fsync(out.fileno())
        if mode is not None:
            with suppress(OSError):
                os.chmod(draft, mode)
        if mtime_ns is not None:
            os.utime(draft, ns=(mtime_ns, mtime_ns))
        os.replace(draft, path)
        DEEDS.wrote(path)
    except BaseException:
        with suppress(OSError):
            draft.unlink(missing_ok=True)
        raise
    if sync:
        sync_folder(path.parent)


def make_folder(folder: Path) -> None:
    """Make a folder and those above it that are not there, so that they outlast a power cut."""
    missing = [each for each in (folder, *folder.parents) if not each.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    for each in missing:
        sync_folder(each.parent)


def sync_folder(folder: Path) -> None:
    """Make a rename in this folder last through a power cut, where the operating system offers it."""
    if sys.platform == "win32":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
