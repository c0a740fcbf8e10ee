"""Taking back: the last entry that a command wrote, found by its id, unless its row was changed since."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass

from pipeline.farm.folder import Farm, TableFile, table_files
from pipeline.files.dialect import CSV_FIELD_LIMIT, MARK, dialect_of, plain_text
from pipeline.logbook import append, journal
from pipeline.logbook.journal import JournalEntry
from pipeline.logbook.text_table import read_text_table
from schemas.contract import contract
from schemas.finding import OutOfReach, UnreadableFile, WrongRequest

TRIES = 5


@dataclass(frozen=True)
class TakenBack:
    """An entry that stands in no file any more: its file, the row where it stood, its cells as written, when that was,
    and the units of its columns where they are not the contract's.
    """

    file: str
    row: int
    cells: Mapping[str, str]
    at: str
    units: Mapping[str, str]


def take_back(farm: Farm, command: str, now: str, only: str | None = None) -> list[TakenBack]:
    """Remove what this command wrote last at once (or the entry with the id `only`), the last row first.

    Raises WrongRequest where there is none, OutOfReach where it is not as it was written or the file cannot be written.
    """
    entries = [each for each in journal.undoable(farm) if each.command == command and only in (None, each.entry)]
    if not entries:
        raise WrongRequest(f"There is no entry that gillbook {command} wrote and could take back.")
    last = [each for each in entries if each.call == entries[-1].call]
    done: list[TakenBack] = []
    for _ in range(TRIES):
        with append.logbook_locked(farm, now), suppress(append.ChangedMeanwhile):
            # All of them are found before the first is removed: what was written at once is taken back whole.
            for each in last:
                _find_entry(farm, each)
            while last:
                done.append(_remove(farm, last[-1]))
                journal.record_undone(farm, last.pop().entry, now)
            return done
    raise OutOfReach(f"{last[-1].file} is being changed by another program again and again: not all was removed.")


@dataclass(frozen=True)
class _Row:
    """The row of an entry: as the spreadsheet counts, the bytes from `first` to before `end`, its cells by column of
    ours, and the units of columns where they are not the contract's.
    """

    row: int
    first: int
    end: int
    cells: Mapping[str, str]
    units: Mapping[str, str]


def _remove(farm: Farm, entry: JournalEntry) -> TakenBack:
    source, version, found = _find_entry(farm, entry)
    append.cut(source.path, source.name, found.first, found.end, version)
    return TakenBack(source.name, found.row, entry.cells, entry.at, found.units)


def _find_entry(farm: Farm, entry: JournalEntry) -> tuple[TableFile, tuple[int, int], _Row]:
    """Return where an entry stands as it was written: its file, the file's size and time (ns), and the row."""
    name = entry.file
    sources = table_files(farm.folder, farm.conventions.files)
    source = next((each for each in sources if each.name == name and not each.beside), None)
    if source is None:
        raise _gone(farm, entry, f"{name} is not there any more")
    try:
        now = source.path.stat()
        found = _find(farm, source, source.path.read_bytes(), entry.entry)
    except OSError as problem:
        raise OutOfReach(f"{name} cannot be opened ({problem.strerror or problem}). Nothing was removed.") from problem
    except UnreadableFile as problem:
        raise OutOfReach(f"{problem.findings[0].sentence()} Nothing was removed.") from problem
    if found is None:
        raise _gone(farm, entry, f"{name} has no such entry any more ({entry.entry})")
    _refuse_changed(entry, found)
    if append.open_elsewhere(source.path):
        raise OutOfReach(f"{name} is open in a spreadsheet. Nothing was removed. Close it there and try again.")
    return source, (now.st_size, now.st_mtime_ns), found


def _refuse_changed(entry: JournalEntry, found: _Row) -> None:
    """Raise OutOfReach where the row was changed since it was written."""
    columns = {**found.cells, **entry.cells}
    changed = [column for column in columns if found.cells.get(column, "") != entry.cells.get(column, "")]
    if changed:
        column = changed[0]
        raise OutOfReach(
            f"{entry.file}, row {found.row}: the entry was changed since it was written ({column} was "
            f'"{entry.cells.get(column, "")}", now "{found.cells.get(column, "")}"). Nothing was removed. '
            "Delete the row yourself if it is wrong."
        )


def _gone(farm: Farm, entry: JournalEntry, why: str) -> OutOfReach:
    """Return the error for an entry that is not found. It leaves the journal, so that the one before can be taken back
    next.
    """
    journal.record_undone(farm, entry.entry)
    cells = entry.cells
    what = " ".join(cells[name] for name in ("container", "batch", "event", "fresh_weight_g") if cells.get(name))
    return OutOfReach(
        f"{why}: nothing was removed. It was {what} of {entry.at}. The next --undo takes back the entry before it."
    )


def _find(farm: Farm, source: TableFile, data: bytes, entry: str) -> _Row | None:
    """Return the row of this entry; None where the file has none."""
    if entry.encode() not in data:
        return None
    table = contract(source.table)
    plain = plain_text(table, source.name, data)
    dialect = dialect_of(table, source.name, plain, farm.conventions)
    found = read_text_table(source, data, farm.conventions)
    shift = dialect.body + (len(MARK) if data.startswith(MARK) else 0)
    text = plain[dialect.body :].decode("utf-8")
    body = io.StringIO(text, newline="")
    csv.field_size_limit(CSV_FIELD_LIMIT)
    start = 0
    for row, cells in enumerate(csv.reader(body, strict=True, delimiter=dialect.separator), start=dialect.row + 1):
        length = len(text[start : body.tell()].encode("utf-8"))
        if found.cell(cells, "entry") == entry:
            named = {column: cell for column in found.at if (cell := found.cell(cells, column))}
            return _Row(row, shift, shift + length, named, found.units)
        start, shift = body.tell(), shift + length
    return None
