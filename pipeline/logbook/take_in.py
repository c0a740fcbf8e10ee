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
from pipeline.logbook.book import Book, Clock, Confirm, Doubt
from pipeline.logbook.book import enter as enter_planned
from pipeline.logbook.edit import plan_removal, write_edit
from pipeline.logbook.file_rows import rows_of_file
from pipeline.logbook.find_entry import WantedEntry, find_entry
from pipeline.logbook.known_ids import KnownIds
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
# newId in reports/sheets/templates/weigh_record.js.
MADE_BY_PHONE = re.compile("p[0-9a-f]{20}")


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


@dataclass
class Intake:
    """Takes in portion after portion; what it knows of the files it keeps from one to the next."""

    book: Book
    known: KnownIds = field(default_factory=lambda: KnownIds(TABLES))

    def of(self, farm: Farm) -> Intake:
        """Return this for the farm as it was opened now: with other settings nothing that was known counts."""
        if farm.settings_hash != self.book.farm.settings_hash:
            return Intake(Book(farm))
        self.book.farm = farm
        return self

    def take_in(self, sent: Sequence[Sent], confirm: Confirm | None, clock: Clock, by: str = "") -> TakenIn:
        """Log those that are not in the farm's files yet, and take out what they take back. `confirm` is asked where
        another picking has the same container, day and weight, and of a sale what `gillbook sell` asks; what it raises
        WrongRequest for is left. None: nobody is asked. `by`: the phone that sends it, which takes back its own entries
        alone; "" for a file that is taken in at home.
        """
        farm, done = self.book.farm, TakenIn()
        self.known.look(farm)
        before = SalesBefore(farm)
        for each in sent:
            entry, gone = each.cells["entry"], each.cells.get(TAKES_BACK, "")
            try:
                if gone:
                    if by:
                        refuse_of_others(farm, gone, by)
                    done.taken_back += _take_out(farm, gone, clock())
                elif entry in self.known:
                    done.known += 1
                else:
                    self._log(each, before, confirm, clock, by)
                    done.logged += 1
            except Known:
                done.known += 1
            except WrongRequest as problem:
                done.left.append((each.row, str(problem)))
        return done

    def _log(self, each: Sent, before: SalesBefore, confirm: Confirm | None, clock: Clock, by: str) -> None:
        entry = each.cells["entry"]

        def still_new() -> None:
            # Another program may have taken in the same since. Nobody writes entries now.
            self.known.look(self.book.farm)
            if entry in self.known:
                raise Known

        if each.table == SALES:
            log_sale(self.book, each.cells, before, confirm or _nobody, clock, still_new, by)
        else:
            _log(self.book, picking_of(self.book, each), entry, confirm, clock, still_new, by)


class Known(Exception):
    """The entry stands in the farm's files already."""


def _nobody(_: Sequence[Doubt]) -> None:
    """Leave it as it is."""


def _sources(farm: Farm) -> list[TableFile]:
    return [each for each in table_files(farm.folder, farm.conventions.files) if each.table in TABLES]


def refuse_of_others(farm: Farm, entry: str, by: str) -> None:
    """Raise WrongRequest for an entry that this phone may not take back: one that another phone sent, or that was made
    at home. One that came home in a file, or before the journal begins, is known by its id, 80 bits of chance of which
    no phone hears but the one that made them.
    """
    of_entry = journal.read_journal(farm).entries.get(entry)
    sender = of_entry.by if of_entry else ""
    if sender != by if sender else not MADE_BY_PHONE.fullmatch(entry):
        raise WrongRequest(
            f"{entry} was not logged on this phone. Take it out on the computer: Mend, or gillbook edit."
        )


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


def _log(
    book: Book,
    picking: NewPicking,
    entry: str,
    confirm: Confirm | None,
    clock: Clock,
    still_new: Callable[[], None],
    by: str,
) -> None:
    """Log the picking under the id that the telephone gave it. What the page asked about already is not asked again."""

    def doubts(made: PickingPlan) -> list[Doubt]:
        alike = [each for each in made.before if (each.day, each.weight_g) == (picking.day, picking.weight.value)]
        if not alike:
            return []
        said = f"{made.assignment}, {picking.day}: {picking.weight.typed} stands there already, by another entry; two "
        return [Doubt("same elsewhere", said + "telephones may have logged one picking")]

    def write(made: PickingPlan, now: datetime) -> None:
        still_new()
        log(book, made, now, entry, by)

    if confirm and (found := doubts(plan(book, picking, clock()))):
        confirm(found)
    enter_planned(book, lambda now: plan(book, picking, now), write, True, confirm or _nobody, clock)
