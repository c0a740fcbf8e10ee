"""What a form sends becomes the same plan as a command's, and is written by the same functions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial
from typing import TYPE_CHECKING

from pipeline.web.desk import Done
from schemas.contract import BATCHES, FILLINGS, contract
from schemas.finding import WrongRequest

if TYPE_CHECKING:
    from pipeline.farm.folder import Farm
    from pipeline.logbook.book import Book, Doubt
    from pipeline.logbook.file_rows import FileRow
    from pipeline.logbook.known_rows import Value

Form = Mapping[str, str]
# What the form of a new batch asks for, beside its name and day.
BEGUN_WITH = ("strain", "substrate", "treatment", "substrate_wet_kg", "moisture_pct", "spawn_kg")
# Rows of batches and fillings hold no entry id, and no command takes them back but edit.
COMMANDS = ("weigh", "note", "sell", "promise")


class Doubtful(Exception):
    """Something about the entry is to be confirmed first."""


@dataclass(frozen=True)
class Moment:
    """When a form is written: now, and the day that it is there."""

    now: datetime

    @property
    def today(self) -> date:
        """The present day."""
        return self.now.date()


def ask(doubts: Sequence[Doubt]) -> None:
    """Ask on the page. Raises Doubtful."""
    from pipeline.logbook.book import doubts_text

    text = doubts_text(doubts)
    raise Doubtful(f"{text[0].upper()}{text[1:]}")


def day_of_form(farm: Farm, text: str, today: date) -> date:
    """Return the day of a form, today where it is blank. Raises WrongRequest for one that is none or lies ahead."""
    from pipeline.logbook.cells import EARLIEST
    from pipeline.logbook.typed_days import typed_day

    if not text.strip():
        return today
    day = typed_day("Day", text.strip(), today, lambda: farm.conventions.cell_format.date_order)
    if not EARLIEST <= day <= today:
        raise WrongRequest(f"Day {text}: write today or a day before it, like {today}.")
    return day


def weigh(farm: Farm, form: Form, when: Moment) -> Done:
    """Log what was picked, as `gillbook weigh` does."""
    from pipeline.logbook.book import Book
    from pipeline.logbook.parsing import PickingOptions, parse_picking
    from pipeline.logbook.text import entry_text, so_far
    from pipeline.logbook.weigh import enter

    book = Book(farm)
    options = PickingOptions(
        batch=_given(form, "batch"),
        flush=_given(form, "flush"),
        stage=_given(form, "stage"),
        culled=_given(form, "culled"),
        picker=_given(form, "picker"),
        note=_given(form, "note"),
    )
    words = [each for each in (_text(form, "container"), _text(form, "weight")) if each]
    picking = parse_picking(book, words, day_of_form(farm, _text(form, "on"), when.today), options)
    logged = enter(book, picking, bool(form.get("insist")), ask, lambda: when.now)
    said = f"Logged: {entry_text(farm, logged.plan)}."
    where = f"Written to {logged.file}, row {logged.row} (entry {logged.entry}). {so_far(farm, logged.plan)}"
    return Done((said, where, *logged.plan.messages, *logged.missing), "weigh", logged.entry)


def note(farm: Farm, form: Form, when: Moment) -> Done:
    """Note what was seen or done, as `gillbook note` does."""
    from pipeline.farm.conventions import folded_word
    from pipeline.logbook.book import Book, enter
    from pipeline.logbook.note import NewObservation, parse_event, plan_note, write_note
    from pipeline.logbook.parsing import parse_flush

    book = Book(farm)
    containers, batch = tuple(_text(form, "containers").split()), _text(form, "batch")
    if form.get("container"):
        containers = (_text(form, "container"),)
    if not containers and not batch:
        raise WrongRequest("Name the containers, like 7 9 11-20; or the batch.")
    cause = folded_word(_text(form, "cause")) if form.get("cause") else ""
    observation = NewObservation(
        containers,
        parse_event(book, _text(form, "event")),
        day_of_form(farm, _text(form, "on"), when.today),
        batch,
        parse_flush("Flush", _given(form, "flush")),
        cause,
        None,
        _text(form, "note"),
    )
    plan, write = partial(plan_note, book, observation), partial(write_note, book)
    made = enter(book, plan, write, bool(form.get("insist")), ask, lambda: when.now)
    of = made.observation
    what = f"Noted: {of.event} on {of.day}: {', '.join(map(str, made.assignments))}."
    return Done((what, *_written(farm, "note"), *made.messages), "note", _last_entry(farm, "note"))


def fill(farm: Farm, form: Form, when: Moment) -> Done:
    """Fill containers from a batch, as `gillbook fill` does."""
    from pipeline.logbook.batch import file_units, parse_cell
    from pipeline.logbook.book import Book, enter
    from pipeline.logbook.fill import plan_filling, write_filling

    book = Book(farm)
    containers, batch = _text(form, "containers").split(), _text(form, "batch")
    if not containers or not batch:
        raise WrongRequest("Name the batch and the containers, like 7 9 11-20.")
    units, given = file_units(book, FILLINGS, when.today), {}
    for column in ("fill_kg", "volume_l"):
        if form.get(column):
            title = contract(FILLINGS).field(column).title
            given[column] = parse_cell(
                farm.conventions.cell_format, units, FILLINGS, title, column, _text(form, column)
            )
    made = enter(
        book,
        lambda _: plan_filling(book, batch, containers, given, {}),
        partial(write_filling, book),
        bool(form.get("insist")),
        ask,
        lambda: when.now,
    )
    return Done((*made.report, *made.messages))


def batch(farm: Farm, form: Form, when: Moment) -> Done:
    """Begin a batch, as `gillbook batch` does. Raises WrongRequest where a cell lacks without which it is set aside."""
    from pipeline.logbook.batch import file_units, parse_cell, plan_batches, write_batches
    from pipeline.logbook.book import Book, enter

    book, given = Book(farm), {}
    day = day_of_form(farm, _text(form, "on"), when.today)
    units = file_units(book, BATCHES, day)
    for column in BEGUN_WITH:
        each = contract(BATCHES).field(column)
        if form.get(column):
            text = _text(form, column)
            given[column] = parse_cell(farm.conventions.cell_format, units, BATCHES, each.title, column, text)
        elif each.required:
            raise WrongRequest(f"{each.title}: it is missing. Nothing was written.")
    names = [_text(form, "batch")] if _text(form, "batch") else []
    made = enter(
        book,
        lambda now: plan_batches(book, names, day, given, 1, now),
        partial(write_batches, book),
        bool(form.get("insist")),
        ask,
        lambda: when.now,
    )
    said = f"Begun: batch {', '.join(made.names)}, inoculated on {day}."
    where = f"Written to {made.destination.name}. To correct or take it out: gillbook edit --batch."
    return Done((said, where, *made.messages))


def undo(farm: Farm, form: Form, when: Moment) -> Done:
    """Take back one entry, as `--undo` does; of those written at once, all."""
    from pipeline.logbook.edit import undo_edit
    from pipeline.logbook.journal import undoable
    from pipeline.logbook.text import cells_text
    from pipeline.logbook.undo import take_back

    command, entry = _text(form, "command"), _text(form, "entry")
    moment = when.now.isoformat(timespec="seconds")
    if command == "edit":
        record = undo_edit(farm, moment)
        return Done((f"Taken back: {record.file}, row {record.row} is as it was.",))
    if command not in COMMANDS:
        raise WrongRequest("There is nothing of that kind to take back.")
    last = next((each for each in reversed(undoable(farm)) if each.command == command), None)
    if last is None or last.entry != entry:
        raise WrongRequest("Something was entered since, so that nothing was taken back. Mend it by its row.")
    taken = take_back(farm, command, moment)
    return Done(tuple(f"Taken back: {cells_text(each.cells, each.units)}." for each in taken))


def row_meant(farm: Farm, form: Form) -> tuple[Book, FileRow]:
    """Return the row that a form names by file and row. Raises WrongRequest where there is none."""
    from pipeline.logbook.book import Book
    from pipeline.logbook.find_entry import WantedEntry, find_entry

    row = _text(form, "row")
    if not (row.isascii() and row.isdigit() and len(row) < 9):
        raise WrongRequest(f"Row {row}: that is no row.")
    book = Book(farm)
    book.scan()
    return book, find_entry(farm, WantedEntry(file=_text(form, "file"), row=int(row)))


def edit(farm: Farm, form: Form, when: Moment) -> Done:
    """Correct or take out one row, as `gillbook edit` does. Cells that are as they were stay so."""
    from pipeline.logbook.edit import plan_change, plan_removal, write_edit

    book, found = row_meant(farm, form)
    if form.get("was") != row_text(found):
        raise WrongRequest(f"{found.source.name}, row {found.row} was changed meanwhile. Look at it again.")
    if form.get("remove"):
        planned = plan_removal(found)
    else:
        planned = plan_change(book, found, _changes(farm, book, found, form, when.today))
        if not planned.changed:
            raise WrongRequest(f"{found.source.name}, row {found.row}: it says so already. Nothing was changed.")
    if planned.doubts and not form.get("insist"):
        raise Doubtful(" ".join(planned.doubts))
    write_edit(farm, planned, when.now)
    done = "Taken out of" if planned.removes else "Written to"
    return Done((f"{done} {found.source.name}, row {found.row}. The row as it was is in kept/edited.jsonl.",), "edit")


def row_text(found: FileRow) -> str:
    """Return what a row says, by which it is seen whether it was changed meanwhile."""
    return "\x1f".join(f"{column}={found.cell(column)}" for column in found.table.at)


def _changes(farm: Farm, book: Book, found: FileRow, form: Form, today: date) -> dict[str, Value | None]:
    from pipeline.logbook.batch import parse_cell

    values: dict[str, Value | None] = {}
    for column in found.table.at:
        text = form.get(f"cell-{column}")
        if text is None or text.strip() == found.cell(column) or column == "entry":
            continue
        if not text.strip():
            values[column] = None
        elif contract(found.source.table).field(column).type == "date":
            values[column] = day_of_form(farm, text, date.max if found.source.table == "promises" else today)
        else:
            units, cells = found.table.units, book.farm.conventions.cell_format
            values[column] = parse_cell(cells, units, found.source.table, column, column, text)
    return values


def _last_entry(farm: Farm, command: str) -> str:
    from pipeline.logbook.journal import undoable

    return next((each.entry for each in reversed(undoable(farm)) if each.command == command), "")


def _written(farm: Farm, command: str) -> tuple[str, ...]:
    from pipeline.logbook.journal import undoable

    last = next((each for each in reversed(undoable(farm)) if each.command == command), None)
    return (f"Written to {last.file} (entry {last.entry}).",) if last else ()


def _text(form: Form, name: str) -> str:
    return form.get(name, "").strip()


def _given(form: Form, name: str) -> str | None:
    return _text(form, name) or None
