"""Taking back: the last entry that a command wrote, found by its id, unless its row was changed since."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass

from pipeline.farm.folder import Farm, table_files
from pipeline.files.deeds import DEEDS
from pipeline.logbook import append, journal
from pipeline.logbook.file_rows import FileRow, rows_of_file
from pipeline.logbook.journal import JournalEntry
from schemas.finding import OutOfReach, WrongRequest

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
    """Remove what this command wrote last at once (or the entry with the id `only`), all rows or none; the last row
    comes first.

    Raises WrongRequest where there is none, OutOfReach where it is not as it was written or the file cannot be written.
    """
    entries = [each for each in journal.undoable(farm) if each.command == command and only in (None, each.entry)]
    if not entries:
        raise WrongRequest(f"There is no entry that gillbook {command} wrote and could take back.")
    last = [each for each in entries if each.call == entries[-1].call]
    for _ in range(TRIES):
        with append.logbook_locked(farm, now), suppress(append.ChangedMeanwhile):
            found = _find_entries(farm, last)
            spans = [(each.first, each.end) for each in found]
            # Noted first, so that nothing looks lost where the command is ended in between.
            journal.record_undoing(farm, last)
            try:
                append.cut(farm, found[0].source.name, spans, found[0].version)
            except (append.ChangedMeanwhile, OutOfReach):
                journal.record_left(farm, last)
                raise
            _note_step(found)
            for entry in last:
                journal.record_undone(farm, entry.entry, now)
            return [
                TakenBack(each.source.name, each.row, entry.cells, entry.at, each.table.units)
                for entry, each in zip(reversed(last), reversed(found), strict=True)
            ]
    raise OutOfReach(f"{last[-1].file} is being changed by another program again and again: nothing was removed.")


def _note_step(found: Sequence[FileRow]) -> None:
    source = found[0].source
    ids = " ".join(filter(None, (each.cell("entry") for each in found)))
    DEEDS.step(f"{source.name}: taken back (entry {ids})", source.path)


def _find_entries(farm: Farm, entries: Sequence[JournalEntry]) -> list[FileRow]:
    """Return where these entries of one file stand, each as it was written."""
    name = entries[0].file
    sources = table_files(farm.folder, farm.conventions.files)
    source = next((each for each in sources if each.name == name and not each.beside), None)
    if source is None:
        raise _gone(farm, entries, f"{name} is not there any more")
    by_id = {each.cell("entry"): each for each in rows_of_file(farm, source)}
    gone = [each for each in entries if each.entry not in by_id]
    if gone:
        # Where all are gone, they were taken back together, or the machine stopped before they were written.
        raise _gone(farm, gone, f"{name} has no such entry any more ({gone[0].entry})")
    for each in entries:
        _refuse_changed(each, by_id[each.entry])
    if append.open_elsewhere(source.path):
        raise OutOfReach(f"{name} is open in a spreadsheet. Nothing was removed. Close it there and try again.")
    return [by_id[each.entry] for each in entries]


def _refuse_changed(entry: JournalEntry, found: FileRow) -> None:
    """Raise OutOfReach where the row was changed since it was written."""
    named = {column: cell for column in found.table.at if (cell := found.cell(column))}
    columns = {**named, **entry.cells}
    changed = [column for column in columns if named.get(column, "") != entry.cells.get(column, "")]
    if changed:
        column = changed[0]
        raise OutOfReach(
            f"{entry.file}, row {found.row}: the entry was changed since it was written ({column} was "
            f'"{entry.cells.get(column, "")}", now "{named.get(column, "")}"). Nothing was removed. '
            f"If it is wrong: gillbook edit {entry.entry} --remove"
        )


def _gone(farm: Farm, entries: Sequence[JournalEntry], why: str) -> OutOfReach:
    """Return the error for entries that are not found. They leave the journal, so that the one before can be taken back
    next.
    """
    for each in entries:
        journal.record_undone(farm, each.entry)
    cells = entries[0].cells
    shown = ("container", "batch", "event", "fresh_weight_g", "weight_g", "buyer")
    what = " ".join(cells[name] for name in shown if cells.get(name))
    more = f" and {len(entries) - 1} more" if len(entries) > 1 else ""
    return OutOfReach(
        f"{why}: nothing was removed. It was {what} of {entries[0].at}{more}. The next --undo takes back the entry "
        "before it."
    )
