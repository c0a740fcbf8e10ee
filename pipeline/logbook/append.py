"""Writing to the grower's files: whole and on disk before anyone is told, never over what another program wrote."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from pipeline.farm.folder import Farm
from pipeline.farm.links import leads_in_a_circle
from pipeline.files.deeds import DEEDS
from pipeline.files.replace import make_folder, replace_file
from pipeline.ledger.lock import held, locked
from schemas.finding import OutOfReach

LOCK_FILE = "logbook.lock"
# So long an entry waits for others to be written; each takes some hundredths of a second.
PATIENCE_S = 30.0


class ChangedMeanwhile(Exception):
    """The file is not as it was when it was read. Nothing was written; read it again."""


@contextmanager
def logbook_locked(farm: Farm, now: str) -> Iterator[None]:
    """Run the body while no other process writes entries. Raises Locked, OutOfReach."""
    with locked(farm.folder / LOCK_FILE, now, "The logbook", PATIENCE_S):
        yield


def open_elsewhere(path: Path) -> bool:
    """Whether a spreadsheet has this file open, by the file that some leave beside it (as LibreOffice does)."""
    return any((path.parent / name).exists() for name in (f".~lock.{path.name}#", f"~${path.name}"))


def target(farm: Farm, name: str) -> Path:
    """Return the path of a file that is to be written. Raises OutOfReach for a link that is only read through."""
    path = farm.folder / name
    if farm.only_reads(name):
        raise OutOfReach(
            f"{name} is a link that leads out of the farm folder, so gillbook only reads it. Nothing was written. Put "
            f'the file itself into its place; or allow it in farm.toml: write_links_into = ["{path.resolve().parent}"]'
        )
    return path


def refuse_link_to_nothing(path: Path, name: str) -> None:
    """Raise OutOfReach where this is a link to a file that is away, as one on a drive may be."""
    if path.is_symlink() and not path.exists():
        if leads_in_a_circle(path):
            raise OutOfReach(f"{name} is a link that leads in a circle. Nothing was written. Take it away.")
        raise OutOfReach(f"{name} is a link to a file that is not there. Nothing was written. Bring the file back.")


def append(farm: Farm, name: str, text: str, version: tuple[int, int]) -> None:
    """Add this text at the end of the file. Raises ChangedMeanwhile when its size and time are no longer `version`;
    OutOfReach when it is locked or cannot be written. The file is then as it was.
    """
    path = target(farm, name)
    with _as_out_of_reach(name), open(path, "ab", buffering=0) as out:
        if held(out.fileno()):
            raise OutOfReach(f"{name} is locked by another program. Nothing was written. Close it there and try again.")
        now = os.fstat(out.fileno())
        if (now.st_size, now.st_mtime_ns) != version:
            raise ChangedMeanwhile
        data = text.encode("utf-8")
        DEEDS.wrote(path)
        try:
            if out.write(data) != len(data):
                raise OSError("no room for all of it")
            os.fsync(out.fileno())
        except OSError:
            with suppress(OSError):
                out.truncate(now.st_size)
                DEEDS.left(path)
                os.fsync(out.fileno())
            raise


def make(farm: Farm, name: str, text: str) -> None:
    """Make a file with this content, in one rename. Raises ChangedMeanwhile when another program made one since;
    OutOfReach when it cannot be written.
    """
    path = target(farm, name)
    refuse_link_to_nothing(path, name)
    with _as_out_of_reach(name):
        if path.is_file():
            raise ChangedMeanwhile
        make_folder(path.parent)
        _swap_in(path, text.encode("utf-8"))


def replace(farm: Farm, name: str, change: Callable[[bytes], bytes], version: tuple[int, int]) -> None:
    """Write the file anew, changed so, in one rename. Raises ChangedMeanwhile and OutOfReach as append does."""
    path = target(farm, name)
    with _as_out_of_reach(name):
        with open(path, "rb") as there:
            now = os.fstat(there.fileno())
            if (now.st_size, now.st_mtime_ns) != version:
                raise ChangedMeanwhile
            data = change(there.read())
        _swap_in(path, data, now.st_mode)


def cut(farm: Farm, name: str, spans: Sequence[tuple[int, int]], version: tuple[int, int]) -> None:
    """Take the bytes of these spans, each from its first to before its end, out of the file: all or none. Side by side
    at its end that is one step; elsewhere the file is written anew. Raises ChangedMeanwhile and OutOfReach as append
    does.
    """
    spans = sorted(spans)
    first, end = spans[0][0], spans[-1][1]
    if end < version[0] or sum(b - a for a, b in spans) < end - first:
        replace(farm, name, lambda data: _without(data, spans), version)
        return
    path = target(farm, name)
    with _as_out_of_reach(name), open(path, "r+b", buffering=0) as there:
        if held(there.fileno()):
            raise OutOfReach(f"{name} is locked by another program. Nothing was removed. Close it there and try again.")
        now = os.fstat(there.fileno())
        if (now.st_size, now.st_mtime_ns) != version:
            raise ChangedMeanwhile
        DEEDS.wrote(path)
        there.truncate(first)
        os.fsync(there.fileno())


def _without(data: bytes, spans: Sequence[tuple[int, int]]) -> bytes:
    for first, end in reversed(spans):
        data = data[:first] + data[end:]
    return data


def _swap_in(path: Path, data: bytes, mode: int | None = None) -> None:
    # Of a link, the file behind it is the record, and the link stays.
    path = path.resolve()
    # A name that begins with a dot is never read as a table.
    draft = path.with_name(f".{path.name}.new")
    replace_file(path, data, draft=draft, mode=mode)


@contextmanager
def _as_out_of_reach(name: str) -> Iterator[None]:
    try:
        yield
    except OSError as problem:
        reason = problem.strerror or str(problem)
        raise OutOfReach(
            f"{name} could not be written ({reason}). Nothing was written, and the file is as it was. "
            "Make room, close other programs or mend its rights, then enter it again."
        ) from problem
