"""Links that lead out of a farm: none of what gillbook itself writes may be one, for it would write elsewhere; the
grower's tables may, and are read, but written to only where farm.toml allows it.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator, Sequence
from pathlib import Path

from schemas.finding import WrongRequest

# What gillbook writes beside the grower's tables: these folders with all that is in them, and files that begin so.
OWN_FOLDERS = ("kept", "out")
OWN_FILES = ("ledger.", "logbook.")


def refuse_links_out(folder: Path) -> None:
    """Raise WrongRequest where one of gillbook's own files or folders is a link that leads out of the farm folder, or a
    pipe or device, as a farm that was unpacked from an archive may hold one. The grower's own tables may be links.
    """
    home = folder.resolve()
    for path in _odd_files(folder):
        name = path.relative_to(folder).as_posix()
        if not path.is_symlink():
            raise WrongRequest(f"{name} is no plain file, and was not opened. Nothing was written. Take it away.")
        if leads_in_a_circle(path):
            raise WrongRequest(f"{name} is a link that leads in a circle. Nothing was written. Take it away.")
        if not path.resolve().is_relative_to(home):
            raise WrongRequest(
                f"{name} is a link that leads out of the farm folder, and gillbook would write there. Nothing was "
                "written. Take the link away, and move what it leads to into its place where it is yours."
            )


def mending(path: Path) -> str:
    """Return what is to be done about a file that cannot be opened, as a sentence."""
    if not path.is_symlink() or path.exists():
        return "Close other programs or mend its rights."
    if leads_in_a_circle(path):
        return "It is a link that leads in a circle. Take it away, or put the file itself into its place."
    return "It is a link to a file that is not there. Bring that file back, or take the link away."


def leads_in_a_circle(path: Path) -> bool:
    """Whether this is a link that leads back to itself, so that there is no file behind it."""
    try:
        path.stat()
    except OSError as problem:
        return problem.errno == errno.ELOOP
    return False


def _behind(path: Path) -> Path:
    """Return the path that links on this one lead to; itself, made absolute, where they lead in a circle."""
    try:
        return path.resolve()
    except (OSError, RuntimeError):
        return path.parent.resolve() / path.name


def leads_out(folder: Path, path: Path, allowed: Sequence[str] = ()) -> bool:
    """Whether a link on this path leads out of the farm folder to a place that none of the `allowed` folders holds."""
    target = _behind(path)
    homes = [folder, *(folder / Path(each).expanduser() for each in allowed)]
    return not any(target.is_relative_to(home.resolve()) for home in homes)


def is_own(name: str) -> bool:
    """Whether gillbook itself writes the file of this name, its path within the farm folder."""
    return name.split("/", 1)[0] in OWN_FOLDERS or name.startswith(OWN_FILES)


def _odd_files(folder: Path, within_own: bool = False) -> Iterator[Path]:
    """The links, pipes and devices among what gillbook writes in this folder; `within_own`: all that is in it."""
    try:
        entries = list(os.scandir(folder))
    except OSError:
        return
    for each in entries:
        own = within_own or each.name in OWN_FOLDERS or each.name.startswith(OWN_FILES)
        if own and each.is_symlink():
            yield Path(each.path)
        elif own and each.is_dir():
            yield from _odd_files(Path(each.path), within_own=True)
        elif own and not each.is_file():
            yield Path(each.path)
