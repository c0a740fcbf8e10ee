"""Links that lead out of a farm: none of what gillbook itself writes may be one, for it would write elsewhere; the
grower's tables may, and are read, but written to only where farm.toml allows it.
"""

from __future__ import annotations

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
        if not path.resolve().is_relative_to(home):
            raise WrongRequest(
                f"{name} is a link that leads out of the farm folder, and gillbook would write there. Nothing was "
                "written. Take the link away, and move what it leads to into its place where it is yours."
            )


def leads_out(folder: Path, path: Path, allowed: Sequence[str] = ()) -> bool:
    """Whether a link on this path leads out of the farm folder to a place that none of the `allowed` folders holds."""
    target = path.resolve()
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
