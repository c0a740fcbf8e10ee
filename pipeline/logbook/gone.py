"""Files that are gone while their rows still count, and rows that name what is called otherwise now."""

from __future__ import annotations

from collections import Counter

from pipeline.farm.folder import Farm
from pipeline.ledger.backups import copy_path
from pipeline.ledger.manifest import load_manifest
from pipeline.logbook.summaries import Summaries
from schemas.answers import FileStatus
from schemas.contract import BATCHES, INPUTS


def gone_files(farm: Farm, summaries: Summaries) -> dict[str, str]:
    """Return the files that the last refresh read and that are in the folder no more, each with the path of its copy
    within the farm, by which its rows count. One that stands there under another name is not gone.
    """
    manifest = load_manifest(farm.ledger)
    there = {each.stamp.digest for each in summaries.values()}
    found: dict[str, str] = {}
    for (table, name), mark in (manifest.files if manifest else {}).items():
        copy = copy_path(farm, (table, name))
        absent = f"{table}:{name}" not in summaries and not (farm.folder / name).exists()
        if absent and mark.status != FileStatus.GIVEN_UP and mark.content_hash not in there and copy.is_file():
            found[name] = copy.relative_to(farm.home).as_posix()
    return found


def gone_message(farm: Farm, summaries: Summaries) -> list[str]:
    """Return what is said, where files are gone, of sums that are worked out from the files alone."""
    names = list(gone_files(farm, summaries))
    if not names:
        return []
    which = names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} more"
    are = "is" if len(names) == 1 else "are"
    return [f"{which} {are} gone. The rows still count, by gillbook's copy, but what is said here is without them."]


def rows_naming(farm: Farm, batch: str) -> Counter[str]:
    """Return how many rows of each other table name this batch."""
    from pipeline.logbook.known_rows import rows_of

    tables = [table for table in INPUTS if table != BATCHES]
    return Counter(table for table in tables for row in rows_of(farm, table) if row.get("batch") == batch)
