"""Which entries the farm has or had: the ids that stand in its files, and those that were taken out of them since.

What is known is kept between portions that a telephone sends. A file is looked at each time (see files/looked.py): of
one that only grew, which it does with each entry of whatever program, only what was added is read.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace

from pipeline.farm.folder import Farm, TableFile, table_files
from pipeline.files.looked import Look, Stamp, look
from pipeline.logbook import journal
from pipeline.logbook.edit_log import log_path, not_undone
from pipeline.logbook.file_rows import rows_of_file
from schemas.finding import OutOfReach


@dataclass(frozen=True)
class KnownFile:
    """What is known of one file: the ids in it; `at`: the position of the column of ids, -1 where a row may have it
    elsewhere; `separator` of its cells.
    """

    stamp: Stamp = field(default_factory=Stamp)
    ids: set[str] = field(default_factory=set)
    at: int = -1
    separator: str = ","


@dataclass
class KnownIds:
    """The ids of pickings and sales that stand in the files, and of those that were taken out of them since."""

    tables: Sequence[str]
    settings: str = ""
    files: dict[str, KnownFile] = field(default_factory=dict)
    taken_out: KnownFile = field(default_factory=KnownFile)
    taken_back: KnownFile = field(default_factory=KnownFile)

    def __contains__(self, entry: str) -> bool:
        """Whether the farm has or had this entry, as of the last look."""
        known = (*self.files.values(), self.taken_out, self.taken_back)
        return bool(entry) and any(entry in each.ids for each in known)

    def look(self, farm: Farm) -> None:
        """Look at the files again. Raises OutOfReach where one cannot be read."""
        if self.settings != farm.settings_hash:
            # They say which files are tables, and how each is written.
            self.settings, self.files = farm.settings_hash, {}
        sources = [each for each in table_files(farm.folder, farm.conventions.files) if each.table in self.tables]
        known = self.files
        self.files = {}
        for each in sources:
            key = f"{each.table}:{each.name}"
            self.files[key] = _file_now(farm, each, known.get(key))
        self.taken_out = _edits_now(farm, self.taken_out)
        self.taken_back = _journal_now(farm, self.taken_back)


def _file_now(farm: Farm, source: TableFile, known: KnownFile | None) -> KnownFile:
    try:
        found = look(source.path, known.stamp if known else None)
    except OSError as problem:
        reason = problem.strerror or problem
        raise OutOfReach(f"{source.name} cannot be opened ({reason}). Nothing was changed.") from problem
    if known and found.data is None:
        return known
    added = _added(known, found) if known else None
    if known and added is not None:
        known.ids.update(added)
        return replace(known, stamp=found.stamp)
    rows = list(rows_of_file(farm, source))
    ids = {each.cell("entry") for each in rows}
    at = rows[0].table.at.get("entry", -1) if rows and not rows[0].table.workbook else -1
    return KnownFile(found.stamp, ids, at, rows[0].table.separator if rows else ",")


def _added(known: KnownFile, found: Look) -> Iterable[str] | None:
    """Return the ids in what was added to a file; None where its lines may be no rows of their own."""
    if found.added is None or found.data is None or known.at < 0:
        return None
    before = len(found.data) - len(found.added)
    if not found.data[:before].endswith(b"\n"):
        return None
    with suppress(UnicodeDecodeError, csv.Error):
        text = io.StringIO(found.added.decode("utf-8"), newline="")
        rows = list(csv.reader(text, strict=True, delimiter=known.separator))
        return {cells[known.at].strip() for cells in rows if known.at < len(cells)}
    return None


def _edits_now(farm: Farm, known: KnownFile) -> KnownFile:
    """What `edit` or a telephone took out of the files: among the cells of those rows are their ids."""
    try:
        found = look(log_path(farm), known.stamp)
    except OSError:
        return KnownFile()
    if found.data is None:
        return known
    gone = (each.before for each in not_undone(farm) if not each.after)
    return KnownFile(found.stamp, {cell for line in gone for cell in re.split(r'[",;\t]', line)})


def _journal_now(farm: Farm, known: KnownFile) -> KnownFile:
    """What a command took back, as far as the journal reaches: it grows, too, and its first lines are taken off."""
    try:
        found = look(farm.folder / journal.JOURNAL, known.stamp)
    except OSError:
        return KnownFile()
    if found.data is None:
        return known
    if found.added is not None and found.data[: len(found.data) - len(found.added)].endswith(b"\n"):
        known.ids.update(journal.taken_back(found.added))
        return replace(known, stamp=found.stamp)
    return KnownFile(found.stamp, known.ids | journal.taken_back(found.data))
