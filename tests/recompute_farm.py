"""Which rows of a farm count, where, and as which flush? The second third of the oracle, in plain Python."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Literal

from recompute_gaps import new_flush_after
from recompute_rows import Row, faulty_rows, rows_of

Fate = Literal["loaded", "set_aside", "waiting", "blank"]
# Days, each with the default of farm.toml's contract. 0: what the farm's own gaps say.
DEFAULTS = {"new_flush_after_days": 0, "flush_settled_days": 10, "lapse_days": 45, "lapse_unpicked_days": 90}


@dataclass(frozen=True)
class Place:
    """Which filling does an entry belong to, or (container None) which batch as a whole?"""

    batch: str
    container: str | None


@dataclass(frozen=True)
class Picking:
    """What was picked on one day, in grams as cut, and of which flush?"""

    row: Row
    day: date
    place: Place
    grams: Fraction
    flush: int
    flush_source: Literal["given", "derived"]


@dataclass(frozen=True)
class Seen:
    """What was seen on which day? `count` fillings of a whole batch; None means all of them."""

    row: Row
    day: date
    place: Place
    event: str
    count: int | None


@dataclass
class Farm:
    """Which rows of a farm count, and what became of the others?"""

    settings: dict[str, int]
    late_from: str = "turned_up"  # the cap stage from which a picking is late (farm.toml)
    fates: dict[tuple[str, int], Fate] = field(default_factory=dict)
    batches: dict[str, Row] = field(default_factory=dict)
    fillings: dict[tuple[str, str], Row] = field(default_factory=dict)
    containers_of: dict[str, list[str]] = field(default_factory=dict)  # by batch, of the loaded fillings
    refills: dict[Place, date] = field(default_factory=dict)  # when the filling's container was filled anew
    # Of all rows, also those set aside: days of inoculation by batch, and batches by container.
    batch_days: dict[str, set[date | None]] = field(default_factory=dict)
    fillings_of: dict[str, set[str]] = field(default_factory=dict)
    # Batches some of whose fillings are not loaded, so that their share of its dry mass is unknown.
    with_fillings_missing: set[str] = field(default_factory=set)
    pickings: list[Picking] = field(default_factory=list)
    seen: list[Seen] = field(default_factory=list)
    # Pickings not loaded that still say where they belong, with their day if that can be read.
    left_out: list[tuple[date | None, Place]] = field(default_factory=list)

    def inoculated(self, batch: str) -> date | None:
        """On which day was a loaded batch inoculated, if that is known?"""
        return self.batches[batch].dates.get("inoculated_on")

    def containers(self, batch: str) -> list[str]:
        """Which containers were filled from the batch, by its loaded filling rows?"""
        return self.containers_of.get(batch, [])


def load(farm: Path, settings: Mapping[str, int] | None = None) -> Farm:
    """What does the farm folder hold, once every row is loaded, set aside or left waiting?"""
    toml = farm / "farm.toml"
    told = tomllib.loads(toml.read_text(encoding="utf-8")) if toml.exists() else {}
    merged = {**DEFAULTS, **told, **(settings or {})}
    result = Farm({name: int(merged[name]) for name in DEFAULTS}, str(told.get("late_from", Farm.late_from)))
    load_batches(result, *staged(result, farm, "batches"))
    load_fillings(result, *staged(result, farm, "fillings"))
    result.refills = refills_of(result)
    rows, faulty = staged(result, farm, "observations")
    places = [(row, settle(result, row, "seen_on", row in faulty)) for row in rows]
    result.seen = [seen_of(row, place) for row, place in places if place is not None]
    rows, faulty = staged(result, farm, "harvests")
    places = [(row, settle(result, row, "picked_on", row in faulty)) for row in rows]
    kept = [(row, place) for row, place in places if place is not None]
    days = result.settings["new_flush_after_days"] or new_flush_after(gaps_of(kept))
    result.settings["new_flush_after_days"] = days
    result.pickings = with_flushes(kept, days)
    result.left_out = [left for row, place in places if place is None for left in left_out(result, row)]
    return result


def fates(farm: Farm) -> dict[tuple[str, int], Fate]:
    """What became of each row, by file (below the farm folder) and row as the spreadsheet shows it?"""
    return dict(farm.fates)


def staged(result: Farm, farm: Path, table: str) -> tuple[list[Row], set[Row]]:
    """Which rows of the table say anything, and which of those are faulty? Blank ones go to the fates."""
    rows = rows_of(farm, table)
    result.fates |= {(row.file, row.number): "blank" for row in rows if not row.texts}
    filled = [row for row in rows if row.texts]
    return filled, faulty_rows(table, filled)


def load_batches(farm: Farm, rows: list[Row], faulty: set[Row]) -> None:
    """Which batches load?"""
    for row in rows:
        farm.fates[row.file, row.number] = "set_aside" if row in faulty else "loaded"
        if row not in faulty:
            farm.batches[row.words["batch"]] = row
        if "batch" in row.words:
            farm.batch_days.setdefault(row.words["batch"], set()).add(row.dates.get("inoculated_on"))


def load_fillings(farm: Farm, rows: list[Row], faulty: set[Row]) -> None:
    """Which fillings load, and which wait for their batch?"""
    for row in rows:
        batch, container = row.words.get("batch", ""), row.words.get("container", "")
        fate: Fate = "set_aside"
        if row not in faulty and batch in farm.batches:
            fate = "loaded"
            farm.fillings[batch, container] = row
        elif row not in faulty and batch in farm.batch_days:
            fate = "waiting"
        farm.fates[row.file, row.number] = fate
        farm.fillings_of.setdefault(container, set()).add(batch)
    for batch, container in sorted(farm.fillings):
        farm.containers_of.setdefault(batch, []).append(container)
    # The second of two equal rows takes nothing from the batch: its first is loaded.
    keys = {(batch, container) for container, batches in farm.fillings_of.items() for batch in batches}
    farm.with_fillings_missing = {batch for batch, container in keys if (batch, container) not in farm.fillings}


def refills_of(farm: Farm) -> dict[Place, date]:
    """The day each filling's container was filled anew. Two of one day follow in the order of their batches. A row that
    is set aside counts too, on a later day, where that of its batch is known.
    """
    filled: dict[str, list[tuple[date, str]]] = {}
    for batch, container in farm.fillings:
        inoculated = farm.inoculated(batch)
        if inoculated is not None:
            filled.setdefault(container, []).append((inoculated, batch))
    refills = {}
    for container, turns in filled.items():
        turns.sort()
        for (_, batch), (again, _) in pairwise(turns):
            refills[Place(batch, container)] = again
    for batch, container in farm.fillings:
        others = (other for other in farm.fillings_of[container] if (other, container) not in farm.fillings)
        days = {day for other in others for day in farm.batch_days.get(other, ()) if day is not None}
        place, inoculated = Place(batch, container), farm.inoculated(batch)
        later = [day for day in days if inoculated is not None and day > inoculated]
        if later:
            refills[place] = min([*later, *([refills[place]] if place in refills else [])])
    return refills


def settle(farm: Farm, row: Row, date_column: str, faulty: bool) -> Place | None:
    """Where does the entry count, if it loads? Its fate is noted either way."""
    place = None if faulty else place_of(farm, row, row.dates[date_column])
    fate: Fate = "set_aside"
    if place == "waiting":
        fate = "waiting"
    elif isinstance(place, Place):
        inoculated = farm.inoculated(place.batch)
        if inoculated is None or row.dates[date_column] >= inoculated:
            fate = "loaded"
    farm.fates[row.file, row.number] = fate
    return place if isinstance(place, Place) and fate == "loaded" else None


def left_out(farm: Farm, row: Row) -> list[tuple[date | None, Place]]:
    """Whose figures lack this picking, and of which day, as far as it says so itself?"""
    day = row.dates.get("picked_on")
    place = place_of(farm, row, day)
    if place == "waiting":
        place = waited_for(farm, row, day)
    return [(day, place)] if isinstance(place, Place) else []


def waited_for(farm: Farm, row: Row, day: date | None) -> Place | None:
    """Which loaded batch has to do with a picking that waits for one of its fillings, or for its day?"""
    batch, container = row.words.get("batch"), row.words.get("container")
    batches = farm.fillings_of.get(container or "", set())
    if batch is None or (batch not in farm.batch_days and batch not in batches):
        days = [(start, name) for name in batches for start in farm.batch_days.get(name, {None})]
        dated = [(start, name) for start, name in days if start is not None and day is not None and start < day]
        batch = max(dated)[1] if dated else max(name for start, name in days if start is None)
    return Place(batch, None) if batch in farm.batches else None


def place_of(farm: Farm, row: Row, day: date | None) -> Place | Literal["waiting"] | None:
    """Whose entry is it? "waiting": of something set aside; None: of nothing known."""
    batch, container = row.words.get("batch"), row.words.get("container")
    if batch and container and batch in farm.fillings_of.get(container, ()):
        return Place(batch, container) if (batch, container) in farm.fillings else "waiting"
    if batch and batch in farm.batches:
        return Place(batch, None)
    if batch and batch in farm.batch_days:
        return "waiting"
    if container is None:
        return None
    if day is None:
        held = [of_batch for of_batch, of_container in farm.fillings if of_container == container]
        return Place(held[0], container) if len(held) == 1 else None
    return held_on(farm, container, day)


def held_on(farm: Farm, container: str, day: date) -> Place | Literal["waiting"] | None:
    """Which filling did the container hold when the day began?"""
    # A batch that is not listed has no day either: once it is listed, the entry may find its place.
    batches = farm.fillings_of.get(container, ())
    days = [(start, batch) for batch in batches for start in farm.batch_days.get(batch, {None})]
    earlier = [(start, batch) for start, batch in days if start is not None and start < day]
    if not earlier:
        return "waiting" if any(start is None for start, _ in days) else None
    batch = max(earlier)[1]
    return Place(batch, container) if (batch, container) in farm.fillings else "waiting"


def seen_of(row: Row, place: Place) -> Seen:
    """What does a loaded observation say, and of how many fillings?"""
    event, count = row.words["event"], row.numbers.get("count")
    # A container that is no listed filling of the batch is one among the batch's many, whatever was seen of it.
    if place.container is None and "container" in row.words:
        count = Fraction(1)
    return Seen(row, row.dates["seen_on"], place, event, None if count is None else int(count))


def gaps_of(kept: list[tuple[Row, Place]]) -> list[int]:
    """How many days lie between the pickings of each container that has one with a blank flush?"""
    blank = {place for row, place in kept if place.container is not None and "flush" not in row.numbers}
    days: dict[Place, set[date]] = {place: set() for place in blank}
    for row, place in kept:
        if place in blank:
            days[place].add(row.dates["picked_on"])
    return [(later - earlier).days for picked in days.values() for earlier, later in pairwise(sorted(picked))]


def with_flushes(kept: list[tuple[Row, Place]], new_flush_after_days: int) -> list[Picking]:
    """Which flush was each picking of? Blank ones are told from the filling's other picking days."""
    given: dict[Place, dict[date, int]] = {}  # per picking day the highest flush written, 0 for none
    for row, place in kept:
        days, day = given.setdefault(place, {}), row.dates["picked_on"]
        days[day] = max(days.get(day, 0), int(row.numbers.get("flush", 0)))
    pickings = []
    for row, place in kept:
        day, flush = row.dates["picked_on"], int(row.numbers.get("flush", 0))
        told = flush or flush_on(given[place], day, new_flush_after_days)
        source: Literal["given", "derived"] = "given" if flush else "derived"
        pickings.append(Picking(row, day, place, row.numbers["fresh_weight_g"], told, source))
    return pickings


def flush_on(given: dict[date, int], day: date, new_flush_after_days: int) -> int:
    """Which flush is a picking without one, from the days that its filling was picked up to then?"""
    flush = 1
    before: date | None = None
    for picked in sorted(picked for picked in given if picked <= day):
        if before is not None and (picked - before).days >= new_flush_after_days:
            flush += 1
        flush = given[picked] or flush
        before = picked
    return flush
