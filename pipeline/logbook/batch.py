"""Starting batches: what they are called, what they take from an earlier one, and the rows of them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from string import ascii_lowercase

from pipeline.farm.conventions import folded_word
from pipeline.logbook.amounts import DECIMALS, amount, in_ours, number, rounded, written
from pipeline.logbook.book import Book, Doubt, open_doubts, write_rows
from pipeline.logbook.known_rows import Value, rows_of
from pipeline.logbook.names import known_name
from pipeline.logbook.targets import Target, target_for
from schemas.cell_format import CellFormat
from schemas.contract import Field, contract
from schemas.finding import WrongRequest, nearest

# What stays the same from one batch of a recipe to the next; masses, readings and lots are the batch's own.
RECIPE = (
    "strain", "substrate", "species", "treatment", "treatment_h", "lime_g_per_l", "drain_h", "dry_basis", "supplement",
    "spawn_form", "incubation_c",
)  # fmt: skip
# As in schemas/inputs/batches.json (spawn_above_40_pct).
MOST_SPAWN_PCT = 40


@dataclass(frozen=True)
class BatchPlan:
    """Batches ready to be written: their rows, and what is doubtful about them."""

    rows: tuple[Mapping[str, Value], ...]
    doubts: tuple[Doubt, ...]
    target: Target
    said: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """What are they called?"""
        return tuple(str(row["batch"]) for row in self.rows)


def propose_names(taken: Iterable[str], day: date, count: int) -> list[str]:
    """What could new batches of this day be called? The date and the next free letters, like 260514a.

    Raises WrongRequest where no letters are left.
    """
    stem = f"{day:%y%m%d}"
    used = {name.casefold() for name in taken}
    free = [stem + letter for letter in ascii_lowercase if stem + letter not in used]
    if len(free) < count:
        raise WrongRequest(f"{count} batches: of {day} there are letters left for {len(free)}. Name them yourself.")
    return free[:count]


def propose_soak(taken: Iterable[str], day: date) -> str:
    """What could a soak of this day be called, out of which several batches come? Like 260514, then 260514-2."""
    stem = f"{day:%y%m%d}"
    used = {name.casefold() for name in taken}
    return next(name for at in range(1, 1000) if (name := stem if at == 1 else f"{stem}-{at}") not in used)


def earlier(book: Book, like: str | None) -> dict[str, Value]:
    """Which batch is the new one like? The one of this name, or the last one; nothing where there is none.

    Raises WrongRequest for a name that is none.
    """
    rows = list(rows_of(book.farm, "batches"))
    if like is None:
        return rows[-1] if rows else {}
    name = known_name(like, [str(row.get("batch", "")) for row in rows])
    found = next((row for row in rows if row.get("batch") == name), None)
    if found is None:
        meant = nearest(like, tuple(str(row.get("batch", "")) for row in rows))
        hint = f" Did you mean {meant}?" if meant else ""
        raise WrongRequest(f"--like {like}: there is no such batch.{hint}")
    return found


def units_of(book: Book, table: str, day: date) -> Mapping[str, str]:
    """In which units does the file write that this table's rows go into, where they are not the contract's?"""
    book.look()
    units: Mapping[str, str] = target_for(book.farm, book.summaries, table, day, ())[0].shape["units"]
    return units


def cell_value(
    cell_format: CellFormat, units: Mapping[str, str], table: str, option: str, column: str, text: str
) -> Value:
    """What does this text say for this column, in the contract's unit? `units`: of numbers without one, see units_of.

    Raises WrongRequest for what the column cannot hold.
    """
    each = contract(table).field(column)
    if each.unit in ("kg", "L"):
        return amount(option, text, each.unit, units.get(column, each.unit), cell_format).exact
    if each.type in ("number", "integer"):
        return _number(cell_format, units.get(column), option, each, text)
    bare = " ".join(text.split())
    if not bare:
        raise WrongRequest(f"{option}: the text is missing.")
    if each.words:
        own = cell_format.words.get(column, {})
        meant = {**{word: word for word in each.words}, **each.synonyms, **own}.get(folded_word(bare))
        if meant is None and "enum" in each.constraints:
            near = nearest(bare, (*each.words, *own))
            hint = f" Did you mean {near}?" if near else ""
            raise WrongRequest(f"{option} {text}: it is none of {', '.join(each.words)}.{hint}")
        return meant or bare
    return bare


def _number(cell_format: CellFormat, unit: str | None, option: str, each: Field, text: str) -> Decimal | int:
    value = number(text, cell_format)
    if value is not None and unit:
        value = in_ours(value, unit, each.unit or "")
    if value is None or (each.type == "integer" and not re.match(r"\d{1,9}\Z", text.strip())):
        kind = "whole number" if each.type == "integer" else "number"
        raise WrongRequest(f"{option} {text}: that is no {kind}. Write it like {written(Decimal(12), cell_format)}.")
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
    book: Book, names: list[str], day: date, given: Mapping[str, Value], count: int, today: date
) -> BatchPlan:
    """Which rows would be written, and what is doubtful about them? `names`: as given, else they are proposed.

    Raises WrongRequest for a name that is taken.
    """
    places = book.look()
    known = tuple(places.batch_days)
    taken = [name for name in names if known_name(name, known) in known]
    twice = [name for at, name in enumerate(names) if name.casefold() in map(str.casefold, names[:at])]
    if twice:
        raise WrongRequest(f"batch {twice[0]} is named twice. Give each batch a name of its own.")
    if taken:
        raise WrongRequest(f"batch {taken[0]} is in batches.csv already. Give the new one a name of its own.")
    names = names or propose_names(known, day, count)
    told: dict[str, Value] = dict(given)
    if len(names) > 1 and "soak" not in told:
        told["soak"] = propose_soak((str(row["soak"]) for row in rows_of(book.farm, "batches") if "soak" in row), day)
    rows = tuple({"batch": name, "inoculated_on": day, **told} for name in names)
    target, said = target_for(book.farm, book.summaries, "batches", day, tuple(rows[0]))
    doubts = [*_doubts(told, day, today), *open_doubts(target)]
    return BatchPlan(rows, tuple(doubts), target, tuple(dict.fromkeys((*places.troubles, *said))))


def _doubts(told: Mapping[str, Value], day: date, today: date) -> list[Doubt]:
    found = []
    if day > today:
        found.append(Doubt("future", f"{day} lies in the future; today is {today}"))
    moisture, wet, spawn = (told.get(name) for name in ("moisture_pct", "substrate_wet_kg", "spawn_kg"))
    usual = contract("batches").field("moisture_pct").expect
    if isinstance(moisture, Decimal) and not usual["minimum"] <= moisture <= usual["maximum"]:
        found.append(
            Doubt("moisture", f"a moisture of {moisture:f} % is outside {usual['minimum']} to {usual['maximum']}")
        )
    if isinstance(wet, Decimal) and isinstance(spawn, Decimal) and spawn * 100 > MOST_SPAWN_PCT * wet:
        share = 100 * spawn / wet
        found.append(Doubt("spawn", f"{spawn:f} kg of spawn is {share:.0f} % of {wet:f} kg of wet substrate"))
    treatment = contract("batches").field("treatment")
    if told.get("treatment", treatment.words[0]) not in treatment.words:
        known = ", ".join(treatment.words)
        found.append(Doubt("treatment", f"{told['treatment']} is none of the usual treatments ({known})"))
    return found


def write_batches(book: Book, planned: BatchPlan, now: datetime) -> BatchPlan:
    """Writes the rows, all or none, on disk."""
    write_rows(book.farm, planned.target, "batch", planned.rows, now)
    return planned
