"""Logging what leaves the farm and what is promised: one row of sales or promises."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from pipeline.logbook.batch import file_units, parse_cell
from pipeline.logbook.book import Book, Doubt, file_doubts, write_rows
from pipeline.logbook.container_names import known_name
from pipeline.logbook.destination import Destination, destination_for
from pipeline.logbook.entry_ids import new_entry_ids
from pipeline.logbook.known_rows import Value
from pipeline.logbook.same_again import same_again
from schemas.contract import PROMISES, SALES
from schemas.finding import WrongRequest
from schemas.phrases import did_you_mean

# The command that logs a row of each table, and the column of the row's day.
COMMANDS = {SALES: "sell", PROMISES: "promise"}
DAYS = {SALES: "sold_on", PROMISES: "due_on"}
GRAMS_PER_KG = 1000
# What weighs less leaves no farm by itself: asked about, for it may be meant in kg. Our choice, no source.
LEAST_G = 20


@dataclass(frozen=True)
class NewRow:
    """What is to be logged of this table: the cells, by column of ours, without the entry id."""

    table: str
    cells: Mapping[str, Value]

    @property
    def day(self) -> date:
        """The day of the sale, or the one on which it is due."""
        day = self.cells[DAYS[self.table]]
        if not isinstance(day, date):
            raise TypeError(day)
        return day


@dataclass(frozen=True)
class RowPlan:
    """A row ready to be written, and what is doubtful about it. entry: its id, once it is written."""

    row: NewRow
    doubts: tuple[Doubt, ...]
    destination: Destination
    messages: tuple[str, ...]
    entry: str = ""


def parse_row(
    book: Book,
    table: str,
    days: Mapping[str, date],
    typed: Mapping[str, tuple[str, str | None]],
    units: Mapping[str, str] | None = None,
) -> NewRow:
    """Return the row that is meant. `days`: its days by column; `typed`: of other columns how messages name them, and
    what was typed (None: nothing); `units`: of numbers without one (None: those of the file that it goes into). Raises
    WrongRequest for what a column cannot hold.
    """
    units = file_units(book, table, days[DAYS[table]]) if units is None else units
    cell_format = book.farm.conventions.cell_format
    cells = {
        column: parse_cell(cell_format, units, table, option, column, text)
        for column, (option, text) in typed.items()
        if text is not None
    }
    return NewRow(table, {**days, **cells})


def plan_row(book: Book, row: NewRow, now: datetime) -> RowPlan:
    """Return what would be written, and what is doubtful about it."""
    containers = book.scan()
    cells = dict(row.cells)
    doubts = _of_batch(cells, containers.batch_days) + _of_weight(cells) + _of_money(cells) + _of_days(row, now.date())
    found = NewRow(row.table, cells)
    destination, messages = destination_for(book.farm, book.summaries, row.table, row.day, (*cells, "entry"))
    doubts += same_again(book.farm, COMMANDS[row.table], [cells], now)
    doubts += file_doubts(book, destination)
    return RowPlan(found, tuple(doubts), destination, tuple(dict.fromkeys((*containers.troubles, *messages))))


def _of_batch(cells: dict[str, Value], batches: Mapping[str, date | None]) -> list[Doubt]:
    """Put the batch as it is written in batches.csv; return the doubt that it is not there."""
    if "batch" not in cells:
        return []
    batch = cells["batch"] = known_name(str(cells["batch"]), batches)
    if batch in batches:
        return []
    hint = f".{hint}" if (hint := did_you_mean(batch, batches)) else ""
    return [Doubt("unknown", f"batch {batch} is not in batches.csv, so this would count for no batch{hint}")]


def _of_weight(cells: Mapping[str, Value]) -> list[Doubt]:
    weight = cells.get("weight_g")
    if not isinstance(weight, Decimal) or weight >= LEAST_G:
        return []
    return [Doubt("little", f"{weight:f} g is little; kilograms are written {weight:f}kg")]


def _of_money(cells: Mapping[str, Value]) -> list[Doubt]:
    weight, price, amount = (cells.get(name) for name in ("weight_g", "price_per_kg", "amount"))
    if not (isinstance(weight, Decimal) and isinstance(price, Decimal) and isinstance(amount, Decimal)):
        return []
    times = weight * price / GRAMS_PER_KG
    if abs(times - amount) <= Decimal("0.01"):
        return []
    return [Doubt("money", f"{amount:f} is not weight times price, {times:.2f}; the amount would count")]


def _of_days(row: NewRow, today: date) -> list[Doubt]:
    picked, until = row.cells.get("picked_on"), row.cells.get("until_on")
    if isinstance(picked, date) and picked > row.day:
        raise WrongRequest(f"Picked on {picked}: that is after the sale, on {row.day}. Mend one of them.")
    if isinstance(until, date) and until < row.day:
        raise WrongRequest(f"Until {until}: that is before it is first due, on {row.day}. Mend one of them.")
    if until is not None and "repeats" not in row.cells:
        raise WrongRequest(f"Until {until}: it is not said how often. Say week or two_weeks (--every).")
    if row.table == PROMISES and row.day < today:
        return [Doubt("past", f"{row.day} is over; today is {today}")]
    return []


def write_row(book: Book, planned: RowPlan, now: datetime, entry: str = "", by: str = "") -> RowPlan:
    """Write the row, whole and on disk. `entry`: the id that a phone gave it; `by`: the phone that sent it."""
    entry = entry or new_entry_ids(int(now.timestamp() * 1000))[0]
    table, cells = planned.row.table, planned.row.cells
    write_rows(book.farm, planned.destination, COMMANDS[table], [{**cells, "entry": entry}], now, by=by)
    return RowPlan(planned.row, planned.doubts, planned.destination, planned.messages, entry)
