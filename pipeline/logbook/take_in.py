"""Taking in what the weigh page exported: each entry once, by its id; what a row takes back is taken out of a file."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

from pipeline.farm.folder import Farm, TableFile, table_files
from pipeline.files.write_csv import unguarded
from pipeline.logbook import journal
from pipeline.logbook.amounts import Amount, amount
from pipeline.logbook.book import Book, Clock, Doubt
from pipeline.logbook.book import enter as enter_planned
from pipeline.logbook.edit import plan_removal, write_edit
from pipeline.logbook.edit_log import not_undone
from pipeline.logbook.file_rows import rows_of_file
from pipeline.logbook.find_entry import WantedEntry, find_entry
from pipeline.logbook.take_in_sales import SalesBefore, log_sale
from pipeline.logbook.weigh import NewPicking, PickingPlan, log, plan
from schemas.contract import HARVESTS, SALES, contract
from schemas.finding import OutOfReach, WrongRequest

TAKES_BACK = "takes_back"
# By table, the columns without which a file is no export of it.
NEEDED = {
    HARVESTS: ("picked_on", "fresh_weight_g", "container", "batch", "entry"),
    SALES: ("sold_on", "weight_g", "entry"),
}
TABLES = tuple(NEEDED)


@dataclass(frozen=True)
class Sent:
    """A row of an export: its table, its cells by column of ours, and its row as the spreadsheet shows it."""

    table: str
    row: int
    cells: Mapping[str, str]


@dataclass
class TakenIn:
    """What became of the rows of a file: how many were logged, known before and taken back; those that are left, each
    with why.
    """

    logged: int = 0
    known: int = 0
    taken_back: int = 0
    left: list[tuple[int, str]] = field(default_factory=list)


def read_export(farm: Farm, path: Path) -> list[Sent]:
    """Return the rows of a file that the weigh page exported. Raises WrongRequest where it is none, OutOfReach where it
    cannot be read.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as problem:
        raise OutOfReach(f"{path} cannot be opened: {problem.strerror}.") from problem
    except UnicodeDecodeError as problem:
        raise WrongRequest(f"{path} is no export of the weigh page: it is not UTF-8. Export it again.") from problem
    return rows_of_export(farm, text, str(path))


def rows_of_export(farm: Farm, text: str, name: str) -> list[Sent]:
    """Return the rows of what the weigh page exported or sent. Raises WrongRequest where it is nothing of the kind."""
    separator = ";" if farm.conventions.cell_format.decimal_mark == "," else ","
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
    except csv.Error as problem:
        raise WrongRequest(f"{name} is no export of the weigh page: {problem}. Export it again.") from problem
    header = rows[0] if rows else []
    table = SALES if "sold_on" in header else HARVESTS
    missing = [name for name in NEEDED[table] if name not in header]
    if missing:
        raise WrongRequest(
            f"{name} is no export of the weigh page: it has no column {', '.join(missing)}. Files of other kinds go "
            "into the farm's folder as they are."
        )
    cells = (dict(zip(header, map(unguarded, row), strict=False)) for row in rows[1:])
    return [Sent(table, at, each) for at, each in enumerate(cells, start=2) if any(each.values())]


def take_in(book: Book, sent: Sequence[Sent], confirm: Callable[[Sequence[Doubt]], None], clock: Clock) -> TakenIn:
    """Log those that are not in the farm's files yet, and take out what they take back. `confirm` is asked where
    another picking has the same container, day and weight, and of a sale what `gillbook sell` asks; what it raises
    WrongRequest for is left.
    """
    known, done, before = known_ids(book.farm), TakenIn(), SalesBefore(book.farm)
    for each in sent:
        entry, gone = each.cells["entry"], each.cells.get(TAKES_BACK, "")
        try:
            if gone:
                done.taken_back += _take_out(book.farm, gone, clock())
            elif entry and entry in known:
                done.known += 1
            else:
                if each.table == SALES:
                    log_sale(book, each.cells, before, confirm, clock)
                else:
                    _log(book, picking_of(book, each), entry, confirm, clock)
                done.logged += 1
                known.add(entry)
        except WrongRequest as problem:
            done.left.append((each.row, str(problem)))
    return done


def known_ids(farm: Farm) -> set[str]:
    """Return the ids of pickings and sales that stand in the files, and of those that were taken out of them since."""
    found = {row.cell("entry") for source in _sources(farm) for row in rows_of_file(farm, source)}
    return {each for each in found if each} | set(_taken_out(farm)) | journal.taken_back(farm)


def _sources(farm: Farm) -> list[TableFile]:
    return [each for each in table_files(farm.folder, farm.conventions.files) if each.table in TABLES]


def _taken_out(farm: Farm) -> Iterator[str]:
    """Yield the cells of rows that `edit` or a telephone took out: among them are their ids."""
    for each in not_undone(farm):
        if not each.after:
            yield from re.split(r'[",;\t]', each.before)


def _take_out(farm: Farm, entry: str, now: datetime) -> int:
    """Take this entry out of its file; return how many were, 0 where it stands in none."""
    if entry not in set(_entries_with(farm, entry)):
        return 0
    write_edit(farm, plan_removal(find_entry(farm, WantedEntry(entry, tables=TABLES))), now)
    return 1


def _entries_with(farm: Farm, entry: str) -> Iterator[str]:
    for source in _sources(farm):
        yield from (row.cell("entry") for row in rows_of_file(farm, source, entry.encode()))


def picking_of(book: Book, sent: Sent) -> NewPicking:
    """Return the picking of this row. Raises WrongRequest for a cell that cannot be meant."""
    farm, cells = book.farm, sent.cells

    def mass(name: str) -> Amount:
        heading = farm.conventions.heading(contract(HARVESTS), name)
        unit = (heading.unit if heading else None) or "g"
        return amount(name, cells[name], "g", unit, farm.conventions.cell_format)

    try:
        day = date.fromisoformat(cells["picked_on"])
        flush = int(cells.get("flush") or 0) or None
    except ValueError as problem:
        raise WrongRequest(f"row {sent.row}: {problem}. Export it again.") from problem
    stage = cells.get("cap_stage", "")
    if stage and stage not in contract(HARVESTS).field("cap_stage").words:
        raise WrongRequest(f"row {sent.row}, cap_stage {stage}: there is no such stage.")
    return NewPicking(
        mass("fresh_weight_g"),
        day,
        cells["container"],
        cells["batch"],
        flush,
        stage,
        mass("culled_g") if cells.get("culled_g") else None,
        cells.get("picker", ""),
        cells.get("note", ""),
    )


def _log(book: Book, picking: NewPicking, entry: str, confirm: Callable[[Sequence[Doubt]], None], clock: Clock) -> None:
    """Log the picking under the id that the telephone gave it. What the page asked about already is not asked again."""

    def doubts(made: PickingPlan) -> list[Doubt]:
        alike = [each for each in made.before if (each.day, each.weight_g) == (picking.day, picking.weight.value)]
        if not alike:
            return []
        said = f"{made.assignment}, {picking.day}: {picking.weight.typed} stands there already, by another entry; two "
        return [Doubt("same elsewhere", said + "telephones may have logged one picking")]

    made = plan(book, picking, clock())
    if found := doubts(made):
        confirm(found)
    enter_planned(
        book, lambda now: plan(book, picking, now), lambda made, now: log(book, made, now, entry), True, confirm, clock
    )
