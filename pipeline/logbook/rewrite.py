"""Writing files anew in other marks, order of dates or units, with a copy of each as it was in kept/."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256

from pipeline.farm.conventions import Conventions
from pipeline.farm.folder import Farm, TableFile, table_files
from pipeline.farm.settings import SETTINGS_FILE
from pipeline.farm.table_names import TEXTS
from pipeline.farm.written_in import WrittenIn, load_notes
from pipeline.files.replace import replace_file
from pipeline.logbook import append, cells
from pipeline.logbook.amounts import in_ours, in_unit, translated, written
from pipeline.logbook.file_rows import FileRow, rows_of_file
from pipeline.logbook.written_notes import save_notes
from schemas.contract import contract
from schemas.finding import OutOfReach


@dataclass(frozen=True)
class Rewriting:
    """A file to be written anew: what it holds then, and in how many cells it differs. `version`: its size and time
    (ns) when it was read; `example`: a cell before and after.
    """

    source: TableFile
    before: bytes
    after: bytes
    version: tuple[int, int]
    cells: int
    example: tuple[str, str]


def rewritings(farm: Farm, now: Conventions, only: Sequence[str] | None = None) -> tuple[list[Rewriting], list[str]]:
    """Return what becomes of the farm's text files where they are to be written as in `now`, and the names of those
    that only their own program can write. Raises OutOfReach for a file that cannot be read.
    """
    found, foreign = [], []
    for source in table_files(farm.folder, farm.conventions.files):
        if only is not None and source.name not in only:
            continue
        if source.beside or not source.name.lower().endswith(TEXTS):
            foreign.append(source.name)
        elif (each := _rewriting(farm.for_file(source.name), source, now)) is not None:
            found.append(each)
    return found, list(dict.fromkeys(foreign))


def _rewriting(farm: Farm, source: TableFile, now: Conventions) -> Rewriting | None:
    parts: list[bytes] = []
    count, example = 0, ("", "")
    first: FileRow | None = None
    for each in rows_of_file(farm, source):
        first = first or each
        texts = _cells(farm, each, now)
        raw = each.data[each.first : each.end]
        if texts:
            column, text = next(iter(texts.items()))
            example = example if count else (each.cell(column), text)
            count += len(texts)
            raw = _line(each, texts) + raw[len(each.line) :]
        parts.append(raw)
    if first is None or not count:
        return None
    return Rewriting(source, first.data, first.data[: first.first] + b"".join(parts), first.version, count, example)


def _cells(farm: Farm, row: FileRow, now: Conventions) -> dict[str, str]:
    """Return the cells of the row that are written otherwise in `now`, by column."""
    table, found = contract(row.source.table), {}
    for column, at in row.table.at.items():
        text = row.cell(column)
        each = table.field(column)
        if not text or each.type not in ("number", "integer", "date"):
            continue
        if each.type == "date":
            new = _day(text, farm.conventions, now)
        else:
            heading = now.heading(table, row.table.header[at])
            unit = heading.unit if heading else None
            ours = each.unit or ""
            new = _number(text, farm.conventions, now, (row.table.units.get(column, ours), unit or ours, ours))
        if new is not None and new != text:
            found[column] = new
    return found


def _number(text: str, was: Conventions, now: Conventions, units: tuple[str, str, str]) -> str | None:
    value = cells.quantity(text, was.cell_format)
    if value is None:
        return None
    before, after, ours = units
    if before != after:
        return written(in_unit(in_ours(value, before, ours), after, ours), now.cell_format)
    return (translated(text, was.cell_format) or text).replace(".", now.cell_format.decimal_mark)


def _day(text: str, was: Conventions, now: Conventions) -> str | None:
    day = None if cells.ISO.match(text) else cells.day(text, was.cell_format)
    return None if day is None else cells.written_day(day, text, now.cell_format)


def _line(row: FileRow, texts: Mapping[str, str]) -> bytes:
    found = list(row.cells)
    for column, text in texts.items():
        found[row.table.at[column]] = text
    out = io.StringIO()
    csv.writer(out, delimiter=row.table.separator, lineterminator="").writerow(found)
    return out.getvalue().encode("utf-8")


def change_settings(farm: Farm, text: str, found: Sequence[Rewriting], now: datetime) -> None:
    """Write farm.toml so. The files to be rewritten are noted first as what they are, and so read until they are.

    Raises OutOfReach where farm.toml cannot be written; everything is then as it was.
    """
    moment = now.isoformat(timespec="seconds")
    with append.logbook_locked(farm, moment), _out_of_reach():
        notes = load_notes(farm.folder)
        for each in found:
            name = each.source.name
            was = farm.for_file(name).conventions
            header = next(iter(rows_of_file(farm, each.source))).table.header
            own = notes[name].own if name in notes else False
            notes[name] = was.note_of(each.source.table, header, own)
        if found:
            save_notes(farm.folder, notes)
        replace_file(append.target(farm, SETTINGS_FILE).resolve(), text.encode("utf-8"), sync=True)


def rewrite(farm: Farm, found: Sequence[Rewriting], now: datetime) -> str:
    """Write the files so, each with a copy of what it was; return the folder of the copies, within the farm folder.

    Raises OutOfReach where one was changed meanwhile or cannot be written. Whatever is written then, each file is read
    as what it is.
    """
    folder = f"kept/before-settings/{now:%Y%m%d-%H%M%S}"
    with append.logbook_locked(farm, now.isoformat(timespec="seconds")), _out_of_reach():
        notes = load_notes(farm.folder)
        for each in found:
            copy = farm.folder / folder / each.source.name
            copy.parent.mkdir(parents=True, exist_ok=True)
            replace_file(copy, each.before, sync=True)
            hashed = sha256(each.after).hexdigest()
            notes[each.source.name] = replace(notes[each.source.name], rewritten=hashed)
        save_notes(farm.folder, notes)
        for each in found:
            _write(farm, each)
        _renew_notes(farm, notes, found)
    return folder


def _write(farm: Farm, each: Rewriting) -> None:
    def change(data: bytes) -> bytes:
        if data != each.before:
            raise append.ChangedMeanwhile
        return each.after

    try:
        append.replace(farm, each.source.name, change, each.version)
    except append.ChangedMeanwhile as problem:
        raise OutOfReach(
            f"{each.source.name} was changed meanwhile, and is read as it was written. "
            "Once more: gillbook settings --rewrite"
        ) from problem


def _renew_notes(farm: Farm, notes: Mapping[str, WrittenIn], found: Sequence[Rewriting]) -> None:
    """Note of the files that gillbook made that they are written as farm.toml has it; of others nothing."""
    left = load_notes(farm.folder)
    for each in found:
        left.pop(each.source.name, None)
        was = notes[each.source.name]
        header = next(iter(rows_of_file(replace(farm, conventions=replace(farm.conventions, written={})), each.source)))
        if was.own:
            left[each.source.name] = farm.conventions.note_of(each.source.table, header.table.header)
    save_notes(farm.folder, left)


def note_marks(farm: Farm, names: Sequence[str], now: datetime) -> None:
    """Note of these files, in which nothing is written in another way, that they have the marks of farm.toml now."""
    marks = farm.conventions.cell_format
    with append.logbook_locked(farm, now.isoformat(timespec="seconds")), _out_of_reach():
        notes = load_notes(farm.folder)
        for name in names:
            notes[name] = replace(
                notes[name],
                decimal_mark=marks.decimal_mark,
                thousands_mark=marks.thousands_mark,
                date_order=marks.date_order,
            )
        save_notes(farm.folder, notes)


def resaved(farm: Farm, name: str) -> None:
    """Note that this file is written as farm.toml has it already."""
    with _out_of_reach():
        notes = load_notes(farm.folder)
        notes.pop(name, None)
        save_notes(farm.folder, notes)


@contextmanager
def _out_of_reach() -> Iterator[None]:
    try:
        yield
    except OSError as problem:
        reason = problem.strerror or problem
        raise OutOfReach(f"It could not be written ({reason}). Make room or mend its rights.") from problem
