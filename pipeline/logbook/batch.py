"""Starting batches: what they are called, what they take from an earlier one, and the rows of them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from string import ascii_lowercase

from pipeline.farm.conventions import folded_word
from pipeline.logbook.amounts import DECIMALS, MOST, amount, in_ours, rounded, two_readings, typed_number, written
from pipeline.logbook.book import Book, Doubt, file_doubts, write_rows
from pipeline.logbook.container_names import known_name
from pipeline.logbook.destination import Destination, destination_for
from pipeline.logbook.known_rows import Value, rows_of
from pipeline.logbook.same_again import same_again
from schemas.cell_format import CellFormat
from schemas.contract import BATCHES, Field, contract
from schemas.currency import own_amount
from schemas.finding import WrongRequest
from schemas.phrases import did_you_mean

# The columns that --set does not fill: the name and the day have a place of their own.
KEYS = ("batch", "inoculated_on")


def recipe() -> tuple[str, ...]:
    """Return the columns that stay the same from one batch of a recipe to the next; masses, readings and lots are the
    batch's own.
    """
    return tuple(each.name for each in contract(BATCHES).fields if each.recipe)


@dataclass(frozen=True)
class BatchPlan:
    """Batches ready to be written: their rows, and what is doubtful about them."""

    rows: tuple[Mapping[str, Value], ...]
    doubts: tuple[Doubt, ...]
    destination: Destination
    messages: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """What they are called."""
        return tuple(str(row["batch"]) for row in self.rows)


def propose_names(taken: Iterable[str], day: date, count: int) -> list[str]:
    """Return names for new batches of this day: the date and the next free letters, like 260514a.

    Raises WrongRequest where no letters are left.
    """
    stem = f"{day:%y%m%d}"
    used = {name.casefold() for name in taken}
    free = [stem + letter for letter in ascii_lowercase if stem + letter not in used]
    if len(free) < count:
        raise WrongRequest(f"{count} batches: of {day} there are letters left for {len(free)}. Name them yourself.")
    return free[:count]


def propose_soak(taken: Iterable[str], day: date) -> str:
    """Return a name for a soak of this day out of which several batches come: 260514, then 260514-2."""
    stem = f"{day:%y%m%d}"
    used = {name.casefold() for name in taken}
    return next(name for at in range(1, 1000) if (name := stem if at == 1 else f"{stem}-{at}") not in used)


def earlier_batch(book: Book, like: str | None) -> dict[str, Value]:
    """Return the row of the batch that the new one is like: of this name, or the last; empty where there is none.

    Raises WrongRequest for a name that is none.
    """
    rows = list(rows_of(book.farm, BATCHES))
    if like is None:
        return rows[-1] if rows else {}
    name = known_name(like, [str(row.get("batch", "")) for row in rows])
    found = next((row for row in rows if row.get("batch") == name), None)
    if found is None:
        hint = did_you_mean(like, (str(row.get("batch", "")) for row in rows))
        raise WrongRequest(f"--like {like}: there is no such batch.{hint}")
    return found


def file_units(book: Book, table: str, day: date) -> Mapping[str, str]:
    """Return the units of the file that this table's rows go into, by column, where they are not the contract's."""
    book.scan()
    return destination_for(book.farm, book.summaries, table, day, ())[0].shape.units


def parse_cell(
    cell_format: CellFormat, units: Mapping[str, str], table: str, option: str, column: str, text: str
) -> Value:
    """Return what this text says for this column, in the contract's unit. `units`: of numbers without one (file_units).

    Raises WrongRequest for what the column cannot hold.
    """
    each = contract(table).field(column)
    if each.unit in MOST:
        return amount(option, text, each.unit, units.get(column, each.unit), cell_format).exact
    if each.type in ("number", "integer"):
        return _number(cell_format, units.get(column), option, each, text)
    typed = " ".join(text.split())
    if not typed:
        raise WrongRequest(f"{option}: the text is missing.")
    if each.words:
        own = cell_format.words.get(column, {})
        meant = {**{word: word for word in each.words}, **each.synonyms, **own}.get(folded_word(typed))
        if meant is None and "enum" in each.constraints:
            hint = did_you_mean(typed, (*each.words, *own))
            raise WrongRequest(f"{option} {text}: it is none of {', '.join(each.words)}.{hint}")
        return meant or typed
    return typed


def _number(cell_format: CellFormat, unit: str | None, option: str, each: Field, text: str) -> Decimal | int:
    bare = own_amount(text, cell_format.currency, each.money == "kg") if each.money else text
    if bare is None:
        raise WrongRequest(
            f"{option} {text}: is not in the currency that farm.toml tells (it tells none, or another). Write the "
            "amount in it, like 12."
        )
    value = typed_number(bare, cell_format)
    if value is not None and unit:
        value = in_ours(value, unit, each.unit or "")
    if value is None or (each.type == "integer" and not re.match(r"\d{1,9}\Z", text.strip())):
        kind = "whole number" if each.type == "integer" else "number"
        two = two_readings(text, cell_format)
        raise WrongRequest(
            f"{option} {text}: {two or f'that is no {kind}. '}Write it like {written(Decimal(12), cell_format)}."
        )
    limits: dict[str, Callable[[Decimal, Decimal], bool]] = {
        "minimum": lambda a, b: a >= b,
        "exclusiveMinimum": lambda a, b: a > b,
        "maximum": lambda a, b: a <= b,
        "exclusiveMaximum": lambda a, b: a < b,
    }
    for name, holds in limits.items():
        if name in each.constraints and not holds(value, Decimal(str(each.constraints[name]))):
            unit = f" {each.unit}" if each.unit else ""
            raise WrongRequest(f"{option} {text}: {each.title.lower()} cannot be {text}{unit}. Check it.")
    return int(value) if each.type == "integer" else rounded(value, DECIMALS.get(each.unit or "", 6))


def plan_batches(
    book: Book, names: list[str], day: date, given: Mapping[str, Value], count: int, now: datetime
) -> BatchPlan:
    """Return the rows that would be written, and what is doubtful about them. `names`: as given, else proposed.

    Raises WrongRequest for a name that is taken, and for a blank one.
    """
    names = [each.strip() for each in names]
    if "" in names:
        raise WrongRequest("A batch's name is blank. Write it, like batch B12; or none, and one is proposed.")
    containers = book.scan()
    known = containers.batch_days
    taken = [name for name in names if known_name(name, known) in known]
    twice = [name for at, name in enumerate(names) if name.casefold() in map(str.casefold, names[:at])]
    if twice:
        raise WrongRequest(f"batch {twice[0]} is named twice. Give each batch a name of its own.")
    if taken:
        raise WrongRequest(f"batch {taken[0]} is in batches.csv already. Give the new one a name of its own.")
    proposed = not names
    names = names or propose_names(known, day, count)
    shared: dict[str, Value] = dict(given)
    if len(names) > 1 and "soak" not in shared:
        shared["soak"] = propose_soak((str(row["soak"]) for row in rows_of(book.farm, BATCHES) if "soak" in row), day)
    rows = tuple({"batch": name, "inoculated_on": day, **shared} for name in names)
    destination, messages = destination_for(book.farm, book.summaries, BATCHES, day, tuple(rows[0]))
    doubts = [*_doubts(shared, day, now.date()), *file_doubts(book, destination)]
    # One whose name is proposed gets another name each time, and so does its soak.
    doubts += same_again(book.farm, "batch", rows, now, ("batch", "soak") if proposed else ())
    return BatchPlan(rows, tuple(doubts), destination, tuple(dict.fromkeys((*containers.troubles, *messages))))


def _doubts(row: Mapping[str, Value], day: date, today: date) -> list[Doubt]:
    found = []
    if day > today:
        found.append(Doubt("future", f"{day} lies in the future; today is {today}"))
    moisture, wet, spawn = (row.get(name) for name in ("moisture_pct", "substrate_wet_kg", "spawn_kg"))
    usual = contract(BATCHES).field("moisture_pct").expect
    if isinstance(moisture, Decimal) and not usual["minimum"] <= moisture <= usual["maximum"]:
        found.append(
            Doubt("moisture", f"a moisture of {moisture:f} % is outside {usual['minimum']} to {usual['maximum']}")
        )
    most_pct = Decimal(contract(BATCHES).row_rules["spawn_above_40_pct"]["limit"])
    if isinstance(wet, Decimal) and isinstance(spawn, Decimal) and spawn * 100 > most_pct * wet:
        share = 100 * spawn / wet
        found.append(Doubt("spawn", f"{spawn:f} kg of spawn is {share:.0f} % of {wet:f} kg of wet substrate"))
    treatment = contract(BATCHES).field("treatment")
    if row.get("treatment", treatment.words[0]) not in treatment.words:
        known = ", ".join(treatment.words)
        found.append(Doubt("treatment", f"{row['treatment']} is none of the usual treatments ({known})"))
    return found


def write_batches(book: Book, planned: BatchPlan, now: datetime) -> BatchPlan:
    """Write the rows, all or none, on disk."""
    write_rows(book.farm, planned.destination, "batch", planned.rows, now)
    return planned
