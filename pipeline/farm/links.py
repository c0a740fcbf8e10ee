"""Links that lead out of a farm: none of what gillbook itself writes may be one, for it would write elsewhere."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from schemas.finding import WrongRequest

# What gillbook writes beside the grower's tables: these folders with all that is in them, and files that begin so.
OWN_FOLDERS = ("kept", "out")
OWN_FILES = ("ledger.", "logbook.")


def refuse_links_out(folder: Path) -> None:
    """Raise WrongRequest where one of gillbook's own files or folders is a link that leads out of the farm folder, as a
    farm that was unpacked from an archive may hold one. The grower's own tables may be links.
    """
    home = folder.resolve()
    for path in _own_links(folder):
        if not path.resolve().is_relative_to(home):
            name = path.relative_to(folder).as_posix()
            raise WrongRequest(
                f"{name} is a link that leads out of the farm folder, and gillbook would write there. Nothing was "
                "written. Take the link away, and move what it leads to into its place where it is yours."
            )


def _own_links(folder: Path) -> Iterator[Path]:
    try:
        entries = list(os.scandir(folder))
    except OSError:
        return
    for each in entries:
        own_folder = each.name in OWN_FOLDERS
        if each.is_symlink() and (own_folder or each.name.startswith(OWN_FILES)):
            yield Path(each.path)
        elif own_folder:
            yield from _links_within(each.path)


def _links_within(folder: str) -> Iterator[Path]:
    for above, folders, files in os.walk(folder):
        for name in (*folders, *files):
            path = os.path.join(above, name)
            if os.path.islink(path):
                yield Path(path)
