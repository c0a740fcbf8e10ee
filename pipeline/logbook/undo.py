"""Taking back: the last entry that a command wrote, found by its id, unless its row was changed since."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from pipeline.farm.folder import Farm, TableFile, table_files
from pipeline.files.dialect import CSV_FIELD_LIMIT, MARK, dialect_of, plain_text
from pipeline.logbook import append, journal
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
    """Removes what this command wrote last at once (or the entry with the id `only`), the last row first.

    Raises WrongRequest where there is none, OutOfReach where it is not as it was written or the file cannot be written.
    """
    noted = [each for each in journal.noted(farm) if each["command"] == command and only in (None, each["entry"])]
    if not noted:
        raise WrongRequest(f"There is no entry that gillbook {command} wrote and could take back.")
    last = [each for each in noted if each["call"] == noted[-1]["call"]]
    done: list[TakenBack] = []
    for _ in range(TRIES):
        with append.logbook_locked(farm, now), suppress(append.ChangedMeanwhile):
            # All of them are looked at before the first is removed: what was noted at once is taken back whole.
            for told in last:
                _found(farm, told)
            while last:
                done.append(_remove(farm, last[-1]))
                journal.note(farm, {"undone": last.pop()["entry"], "at": now})
            return done
    raise OutOfReach(f"{last[-1]['file']} is being changed by another program again and again: not all was removed.")


@dataclass(frozen=True)
class _Found:
    """Where an entry stands as it was written: its file, the row, the bytes from `first` to before `end`, and the
    file's size and time (ns) when that was told.
    """

    source: TableFile
    row: int
    first: int
    end: int
    mark: tuple[int, int]
    units: Mapping[str, str]


def _remove(farm: Farm, told: Mapping[str, Any]) -> TakenBack:
    found = _found(farm, told)
    append.cut(found.source.path, found.source.name, found.first, found.end, found.mark)
    return TakenBack(found.source.name, found.row, told["cells"], str(told["at"]), found.units)


def _found(farm: Farm, told: Mapping[str, Any]) -> _Found:
    name, entry = str(told["file"]), str(told["entry"])
    sources = table_files(farm.folder, farm.conventions.files)
    source = next((each for each in sources if each.name == name and not each.beside), None)
    if source is None:
        raise _gone(farm, told, f"{name} is not there any more")
    try:
        now = source.path.stat()
        data = source.path.read_bytes()
        found = _find(farm, source, data, entry)
    except OSError as problem:
        raise OutOfReach(f"{name} cannot be opened ({problem.strerror or problem}). Nothing was removed.") from problem
    except UnreadableFile as problem:
        raise OutOfReach(f"{problem.findings[0].sentence()} Nothing was removed.") from problem
    if found is None:
        raise _gone(farm, told, f"{name} has no such entry any more ({entry})")
    row, first, end, cells, units = found
    changed = [
        column for column in {**cells, **told["cells"]} if cells.get(column, "") != told["cells"].get(column, "")
    ]
    if changed:
        column = changed[0]
        raise OutOfReach(
            f"{name}, row {row}: the entry was changed since it was written ({column} was "
            f'"{told["cells"].get(column, "")}", now "{cells.get(column, "")}"). Nothing was removed. '
            "Delete the row yourself if it is wrong."
        )
    if append.open_elsewhere(source.path):
        raise OutOfReach(f"{name} is open in a spreadsheet. Nothing was removed. Close it there and try again.")
    return _Found(source, row, first, end, (now.st_size, now.st_mtime_ns), units)


def _gone(farm: Farm, told: Mapping[str, Any], why: str) -> OutOfReach:
    """What is said where the entry is not found? It is forgotten, so that the one before can be taken back next."""
    journal.note(farm, {"undone": told["entry"]})
    cells = told["cells"]
    what = " ".join(cells[name] for name in ("container", "batch", "event", "fresh_weight_g") if cells.get(name))
    return OutOfReach(
        f"{why}: nothing was removed. It was {what} of {told['at']}. The next --undo takes back the entry before it."
    )


def _find(
    farm: Farm, source: TableFile, data: bytes, entry: str
) -> tuple[int, int, int, dict[str, str], Mapping[str, str]] | None:
    """In which row, between which bytes, stands this entry, with which cells, in which units where they are not the
    contract's? None where it does not.
    """
    if entry.encode() not in data:
        return None
    table = contract(source.table)
    plain = plain_text(table, source.name, data)
    dialect = dialect_of(table, source.name, plain, farm.conventions)
    sheet = read_text_table(source, data, farm.conventions)
    shift = dialect.body + (len(MARK) if data.startswith(MARK) else 0)
    text = plain[dialect.body :].decode("utf-8")
    body = io.StringIO(text, newline="")
    csv.field_size_limit(CSV_FIELD_LIMIT)
    start = 0
    for row, cells in enumerate(csv.reader(body, strict=True, delimiter=dialect.separator), start=dialect.row + 1):
        length = len(text[start : body.tell()].encode("utf-8"))
        if sheet.cell(cells, "entry") == entry:
            named = {column: sheet.cell(cells, column) for column in sheet.at}
            return row, shift, shift + length, {column: cell for column, cell in named.items() if cell}, sheet.units
        start, shift = body.tell(), shift + length
    return None
