"""Whether anything is saved of the files: the store's library is imported only where there is a store."""

from __future__ import annotations

from contextlib import suppress

from pipeline.farm.folder import Farm, table_files
from pipeline.logbook.summaries import Summaries

STORE = "logbook.sqlite"
# What was in its place until 2026.
BEFORE = "logbook.json"
# Reading so many bytes again costs about as much as writing them: measured with `python -m tests.bench_weigh`.
WORTH_SAVING = 100_000


def load_summaries(farm: Farm) -> Summaries:
    """Return what was saved of the farm's files last time; nothing where no store can be used."""
    path = farm.folder / STORE
    # A link is never followed, for what is behind it is not ours.
    if path.is_symlink() or not path.is_file():
        return {}
    import sqlite3

    from pipeline.logbook.store import load

    sources = {f"{each.table}:{each.name}": each for each in table_files(farm.folder, farm.conventions.files)}
    try:
        return load(farm, sources)
    except (sqlite3.Error, OSError, ValueError, TypeError, RecursionError):
        return {}


def save_summaries(farm: Farm, summaries: Summaries) -> bool:
    """Save them, whole or not at all, and return whether that was possible: else it costs nothing but time."""
    if (farm.folder / STORE).is_symlink():
        return False
    import sqlite3

    from pipeline.logbook.store import save

    try:
        save(farm, summaries)
    except (sqlite3.Error, OSError):
        return False
    with suppress(OSError):
        (farm.folder / BEFORE).unlink(missing_ok=True)
    return True
