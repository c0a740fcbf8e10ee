"""Correcting and removing single rows of the grower's CSV files: whole or not at all, and the old row is preserved."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

from pipeline.farm.folder import Farm
from pipeline.farm.table_names import WORKBOOKS
from pipeline.files.deeds import DEEDS
from pipeline.files.write_csv import unguarded
from pipeline.logbook import append, edit_log, journal
from pipeline.logbook.book import Book
from pipeline.logbook.destination import Destination, texts_of
from pipeline.logbook.edit_log import EditRecord
from pipeline.logbook.entry_ids import new_entry_ids
from pipeline.logbook.file_rows import FileRow, rows_of_file
from pipeline.logbook.find_entry import DAYS, day_of
from pipeline.logbook.gone import rows_naming
from pipeline.logbook.known_rows import Value
from schemas.contract import BATCHES, contract
from schemas.finding import OutOfReach, WrongRequest
from schemas.phrases import counted, did_you_mean, listed


@dataclass(frozen=True)
class EditPlan:
    """A row to be changed: its cells by column of ours, before and after; `removes` it as a whole. `doubts`: sentences
    to be read before it is written.
    """

    found: FileRow
    after: Mapping[str, str]
    removes: bool = False
    doubts: tuple[str, ...] = ()

    @property
    def before(self) -> dict[str, str]:
        """The cells as they are."""
        return {column: self.found.cell(column) for column in self.found.table.at}

    @property
    def changed(self) -> dict[str, tuple[str, str]]:
        """The cells that change, each as it is and as it will be."""
        before = self.before
        return {column: (before[column], text) for column, text in self.after.items() if before[column] != text}


def column_meant(found: FileRow, name: str) -> str:
    """Return the column of ours that is meant by its name, by the file's own heading, or by the option that fills it.

    Raises WrongRequest for a name that is none, and for a column that the file has not.
    """
    table = contract(found.source.table)
    headings = {found.table.header[at].casefold(): column for column, at in found.table.at.items()}
    options = {(each.option or "").removeprefix("--"): each.name for each in table.fields if each.option}
    short = {"weight": "fresh_weight_g", "stage": "cap_stage", "culled": "culled_g", "on": DAYS.get(table.name, "")}
    known = {**{each: each for each in table.names}, **options, **short, **headings}
    column = known.get(name.strip().casefold(), "")
    if column not in table.names or column == "entry":
        hint = did_you_mean(name, [each for each in known if each])
        raise WrongRequest(f"{name}: {found.source.name} has no such column.{hint} It has {', '.join(found.table.at)}.")
    if column not in found.table.at:
        raise WrongRequest(f"{found.source.name} has no column {column}. Add it to the end of its header line first.")
    return column


def plan_change(book: Book, found: FileRow, values: Mapping[str, Value | None]) -> EditPlan:
    """Return what the row becomes with these cells, in the contract's units (None: blank), written as the file writes.

    Where the container or the day changes, the batch follows unless it is given. Raises WrongRequest where the file is
    to be changed by its own program, and for a blank that the table does not allow.
    """
    refuse_foreign(found, values)
    wanted, doubts = _with_batch(book, found, dict(values))
    for column, value in wanted.items():
        if value is None and contract(found.source.table).field(column).required:
            raise WrongRequest(f"{column} cannot be blank. To take the whole entry out: --remove")
    summary = book.summaries[f"{found.source.table}:{found.source.name}"]
    shape = replace(summary.shape, alike=found.cell(DAYS.get(found.source.table, "")) or summary.shape.alike)
    destination = Destination(found.source.table, found.source.name, found.source.path, shape, found.version)
    texts = texts_of(book.farm, destination, {name: value for name, value in wanted.items() if value is not None})
    return EditPlan(
        found,
        {**dict.fromkeys(wanted, ""), **texts},
        doubts=(*doubts, *_flush_stays(found, wanted), *_old_name(book, found, wanted)),
    )


def _old_name(book: Book, found: FileRow, values: Mapping[str, Value | None]) -> list[str]:
    """What is said of rows that name a batch as it was called, where it is renamed."""
    old = unguarded(found.cell("batch"))
    if found.source.table != BATCHES or "batch" not in values or values["batch"] == old:
        return []
    naming = rows_naming(book.farm, old)
    if not naming:
        return []
    which = listed([f"{count} of {table}" for table, count in naming.items()])
    total = naming.total()
    return [
        f"{counted(total, 'row')} of other files {'names' if total == 1 else 'name'} batch {old} ({which}). Renamed "
        "here alone, the batch has none of them, and what rests on them counts for nothing: "
        "write its new name there too."
    ]


def _with_batch(
    book: Book, found: FileRow, values: dict[str, Value | None]
) -> tuple[dict[str, Value | None], list[str]]:
    """Return the values with the batch that the container held on the day, where one of these changes."""
    day_column = DAYS.get(found.source.table, "")
    known = book.scan()
    if "container" not in found.table.at or not day_column or not {"container", day_column} & set(values):
        return values, []
    container = values.get("container") or unguarded(found.cell("container"))
    day = values.get(day_column) or day_of(book.farm, found)
    if not container or not isinstance(day, date):
        return values, []
    held = known.held(str(container), day)
    if held is None:
        return values, [f"Container {container} was not filled before {day}, by fillings.csv."]
    if "batch" in values or not found.cell("batch") or held.batch == unguarded(found.cell("batch")):
        return values, []
    return {**values, "batch": held.batch}, [f"On {day} container {container} held batch {held.batch}."]


def _flush_stays(found: FileRow, values: Mapping[str, Value | None]) -> list[str]:
    """What is said of a flush that is written in the row, where its day or container changes."""
    moved = {"container", "batch", DAYS.get(found.source.table, "")} & set(values)
    flush = found.cell("flush") if "flush" in found.table.at else ""
    if not moved or not flush or "flush" in values:
        return []
    return [
        f"Its flush stays {flush}, as it is written, and is not worked out anew. To change it: --set flush=N; blank "
        "(--set flush=), it follows from the days between pickings."
    ]


def plan_removal(found: FileRow) -> EditPlan:
    """Return the removal of the row. Raises WrongRequest where the file is to be changed by its own program."""
    refuse_foreign(found, {})
    return EditPlan(found, {}, removes=True)


def refuse_foreign(found: FileRow, values: Mapping[str, Value | None]) -> None:
    """Raise WrongRequest where gillbook does not write in this file, with what to open and which cell to change."""
    name, workbook = found.source.name, found.source.path.suffix.lower() in WORKBOOKS
    if not workbook and not found.source.beside:
        return
    sheet = f', sheet "{found.source.sheet}"' if found.source.sheet else ""
    cells = [
        f"{_letters(at)}{found.row} ({found.table.header[at]})"
        for c in values
        if (at := found.table.at.get(c, -1)) >= 0
    ]
    why = "is a workbook, which only a spreadsheet writes" if workbook else "holds several tables in one row"
    where = f"cell {' and '.join(cells)}" if cells else f"row {found.row}"
    raise WrongRequest(f"{name} {why}: open it{sheet}, change {where} there and save it. Nothing was changed.")


def _letters(at: int) -> str:
    """Return the letters of a column of a spreadsheet; `at` counts from 0."""
    found = ""
    at += 1
    while at:
        at, rest = divmod(at - 1, 26)
        found = chr(ord("A") + rest) + found
    return found


def write_edit(farm: Farm, planned: EditPlan, now: datetime) -> EditRecord:
    """Write the row so, or take it out, and note the old one in the log first.

    Raises OutOfReach where the file is not as it was when the row was found, is open in a spreadsheet, or cannot be
    written; it is then as it was.
    """
    found, moment = planned.found, now.isoformat(timespec="seconds")
    source = found.source
    if append.open_elsewhere(source.path):
        raise OutOfReach(f"{source.name} is open in a spreadsheet. Nothing was changed. Close it there and try again.")
    after = b"" if planned.removes else _line(found, planned.after)
    (edit_id,) = new_entry_ids(int(now.timestamp() * 1000))
    record = edit_log.record_of(edit_id, moment, found, after)
    ending = found.data[found.first : found.end][len(found.line) :]
    new = found.data[: found.first] + (after + ending if after else b"") + found.data[found.end :]
    with append.logbook_locked(farm, moment):
        edit_log.note(farm, record)
        going = _not_missed(farm, planned)
        journal.record_undoing(farm, going)
        try:
            append.replace(farm, source.name, _if_still(found.data, new), found.version)
        except append.ChangedMeanwhile as problem:
            edit_log.note_undone(farm, edit_id, moment)
            journal.record_left(farm, going)
            raise OutOfReach(f"{source.name} was changed meanwhile. Nothing was changed. Look again.") from problem
        for each in going:
            journal.record_undone(farm, each.entry, moment)
    _note_step(record, source.path)
    return record


def _note_step(record: EditRecord, path: Path) -> None:
    done = "changed" if record.after else "taken out"
    DEEDS.step(f"{record.file}, row {record.row}: {done} (back: gillbook edit --undo)", path)


def _not_missed(farm: Farm, planned: EditPlan) -> list[journal.JournalEntry]:
    """Return what is not to be missed in the logbook's journal: what is taken out, and a row without an id that is not
    found by its cells any more.
    """
    entry, line = planned.found.cell("entry"), planned.found.line.decode("utf-8")
    same = [
        each
        for each in journal.undoable(farm)
        if (each.entry == entry if entry else each.line.strip() == line.strip() != "")
    ]
    return same if planned.removes or not entry else []


def _if_still(before: bytes, after: bytes) -> Callable[[bytes], bytes]:
    """Return what changes a file from these bytes to those, and raises ChangedMeanwhile where it holds others."""

    def change(data: bytes) -> bytes:
        if data != before:
            raise append.ChangedMeanwhile
        return after

    return change


def _line(found: FileRow, after: Mapping[str, str]) -> bytes:
    """Return the row's line with these cells, by column of ours."""
    texts = list(found.cells) + [""] * (len(found.table.header) - len(found.cells))
    for column, text in after.items():
        texts[found.table.at[column]] = text
    out = io.StringIO()
    csv.writer(out, delimiter=found.table.separator, lineterminator="").writerow(texts)
    return out.getvalue().encode("utf-8")


def undo_edit(farm: Farm, now: str) -> EditRecord:
    """Put the row back that the last edit changed or removed. Raises WrongRequest where there is none, OutOfReach where
    it is not as the edit left it.
    """
    with append.logbook_locked(farm, now):
        for record in reversed(edit_log.not_undone(farm)):
            data, version = _content(farm, record)
            if record.digest_before == edit_log.digest(data):
                # The machine stopped before the edit was written.
                edit_log.note_undone(farm, record.edit, now)
                continue
            new = _put_back(farm, record, data)
            try:
                append.replace(farm, record.file, _if_still(data, new), version)
            except append.ChangedMeanwhile as problem:
                raise OutOfReach(
                    f"{record.file} is being changed by another program. Nothing was changed."
                ) from problem
            DEEDS.step(f"{record.file}, row {record.row}: put back as it was", farm.folder / record.file)
            edit_log.note_undone(farm, record.edit, now)
            return record
    raise WrongRequest("There is no correction that gillbook edit wrote and could take back.")


def _content(farm: Farm, record: EditRecord) -> tuple[bytes, tuple[int, int]]:
    path = farm.folder / record.file
    try:
        now = path.stat()
        return path.read_bytes(), (now.st_size, now.st_mtime_ns)
    except OSError as problem:
        raise OutOfReach(f"{record.file} cannot be opened ({problem.strerror}). Nothing was changed.") from problem


def _put_back(farm: Farm, record: EditRecord, data: bytes) -> bytes:
    """Return the file's bytes with the row as it was before this edit."""
    source = edit_log.source_of(farm, record)
    rows = list(rows_of_file(farm, source))
    before, after = record.before.encode(), record.after.encode()
    if after:
        alike = [each for each in rows if each.line == after]
        there = [each for each in alike if each.row == record.row] or alike
        if len(there) != 1:
            raise OutOfReach(
                f"{record.file}: row {record.row} was changed since, so it was not put back. It was: {record.before}"
            )
        return data[: there[0].first] + before + data[there[0].first + len(after) :]
    at = next((each.first for each in rows if each.row == record.row), len(data))
    end = rows[-1].table.line_end.encode() if rows else b"\n"
    start = b"" if not data[:at] or data[:at].endswith((b"\n", b"\r")) else end
    return data[:at] + start + before + end + data[at:]
