"""Logging a picking: what is to be written, what is doubtful about it, and writing it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from pipeline.logbook.amounts import Amount, written
from pipeline.logbook.book import Ask, Book, Clock, Doubt, look_for_last, open_doubts, write_rows
from pipeline.logbook.book import enter as enter_planned
from pipeline.logbook.entries import new_entries, written_ms
from pipeline.logbook.names import known_name
from pipeline.logbook.places import Picking, Place, Places, flush_of, unlike
from pipeline.logbook.targets import Target, Values, target_for
from schemas.finding import nearest
from schemas.pickings import SAME_WITHIN_MS


@dataclass(frozen=True)
class Asked:
    """What is to be logged, as typed. `container` "" with a batch: weighed together for the whole batch."""

    weight: Amount
    day: date
    container: str = ""
    batch: str = ""
    flush: int | None = None
    stage: str = ""
    culled: Amount | None = None
    picker: str = ""
    note: str = ""


@dataclass(frozen=True)
class Plan:
    """A picking ready to be written. `proposed`: the flush was told from the history; `before` what the place gave."""

    asked: Asked
    place: Place
    flush: int
    proposed: bool
    before: tuple[Picking, ...]
    doubts: tuple[Doubt, ...]
    target: Target
    said: tuple[str, ...]


@dataclass(frozen=True)
class Logged:
    """A picking that stands in a file, on disk: its id, the file, the row as the spreadsheet shows it. `astray`: what
    is told of earlier entries that are not in the file any more.
    """

    plan: Plan
    entry: str
    file: str
    row: int
    astray: tuple[str, ...] = ()


def plan(book: Book, asked: Asked, now: datetime) -> Plan:
    """What would be written, and what is doubtful about it?"""
    places = book.look()
    farm = book.farm
    place, doubts = _place(places, asked)
    before = places.pickings(place)
    flush = asked.flush or flush_of(before, asked.day, farm.settings["new_flush_after_days"])
    doubts += _doubts(places, place, asked, before, int(now.timestamp() * 1000))
    target, said = target_for(farm, book.summaries, "harvests", asked.day, tuple(values(asked, place, flush, "")))
    doubts += open_doubts(target)
    said = list(dict.fromkeys((*places.troubles, *said)))
    earlier = tuple(each for each in before if each.day <= asked.day)
    return Plan(asked, place, flush, asked.flush is None, earlier, tuple(doubts), target, tuple(said))


def _place(places: Places, asked: Asked) -> tuple[Place, list[Doubt]]:
    """Whose picking is it, and is that doubtful?"""
    batch = known_name(asked.batch, places.batch_days)
    if batch and batch not in places.batch_days:
        meant = nearest(batch, tuple(places.batch_days))
        hint = f". Did you mean {meant}?" if meant else ""
        said = f"batch {batch} is not in batches.csv, so this picking would be set aside until it is{hint}"
        return Place(batch, asked.container, None), [Doubt("unknown", said)]
    if not asked.container:
        return Place(batch, "", places.batch_days[batch]), _too_early(places, batch, asked.day)
    container = known_name(asked.container, places.containers)
    fillings = places.fillings(container)
    if batch:
        found = next((each for each in fillings if each.batch == batch), None)
        if found is None:
            said = f"container {container} is no filling of batch {batch}: it would count for the batch as a whole"
            return Place(batch, container, places.batch_days[batch]), [Doubt("unknown", said)]
        return found, _too_early(places, batch, asked.day)
    held = places.held(container, asked.day)
    if held is not None:
        return held, []
    undated = fillings[-1] if fillings and fillings[-1].day is None else Place("", container, None)
    return undated, [Doubt("unknown", _unknown(places, container, fillings, asked.day))]


def _too_early(places: Places, batch: str, day: date) -> list[Doubt]:
    inoculated = places.batch_days[batch]
    if inoculated is None or day >= inoculated:
        return []
    return [
        Doubt(
            "too early",
            f"batch {batch} was inoculated on {inoculated}, after {day}: this picking would be set aside",
        )
    ]


def _unknown(places: Places, container: str, fillings: list[Place], day: date) -> str:
    dated = [each for each in fillings if each.day is not None]
    if dated:
        return f"container {container} was not filled before {day} (first from batch {dated[0].batch}, {dated[0].day})"
    if fillings:
        return f"container {container} was filled from batch {fillings[0].batch}, whose day of inoculation is unknown"
    meant = nearest(container, places.containers)
    hint = f". Did you mean {meant}?" if meant else ""
    return f"container {container} is not in fillings.csv, so this picking would be set aside until it is{hint}"


def _doubts(places: Places, place: Place, asked: Asked, before: list[Picking], now_ms: int) -> list[Doubt]:
    found = []
    end = places.end(place)
    if end is not None and end[0] <= asked.day:
        how = {"contaminated": "was thrown out, contaminated,", "refilled": "was filled anew"}.get(
            end[1], f"was {end[1]}"
        )
        found.append(Doubt("ended", f"{place} {how} on {end[0]}"))
    said = unlike(float(asked.weight.value), places.usual_g(together=not place.container))
    weight = f"{written(asked.weight.value, places.cell_format)} g"
    if said is not None:
        found.append(Doubt("unlike usual", f"{weight} is {said}"))
    for each in before:
        age = now_ms - (written_ms(each.entry) or 0)
        if each.day == asked.day and each.weight_g == asked.weight.value and age < SAME_WITHIN_MS:
            ago = "a moment" if age < 60_000 else "a minute"
            found.append(Doubt("same again", f"the same, {place} {weight}, was logged {ago} ago"))
            break
    return found


def values(asked: Asked, place: Place, flush: int, entry: str) -> Values:
    """Which cells has the row?"""
    told: dict[str, date | Decimal | int | str] = {"picked_on": asked.day, "fresh_weight_g": asked.weight.exact}
    told |= {name: getattr(place, name) for name in ("container", "batch") if getattr(place, name)}
    told["flush"] = flush
    if asked.stage:
        told["cap_stage"] = asked.stage
    if asked.culled is not None:
        told["culled_g"] = asked.culled.exact
    told |= {name: getattr(asked, name) for name in ("picker", "note") if getattr(asked, name)}
    return {**told, "entry": entry}


def log(book: Book, planned: Plan, now: datetime) -> Logged:
    """Writes the picking, whole and on disk. To be called while the logbook is locked, with a plan made since."""
    (entry,) = new_entries(int(now.timestamp() * 1000))
    told = values(planned.asked, planned.place, planned.flush, entry)
    astray = look_for_last(book.farm, planned.target)
    write_rows(book.farm, planned.target, "weigh", [told], now)
    return Logged(planned, entry, planned.target.name, planned.target.next_row, tuple(astray))


def enter(book: Book, asked: Asked, insist: bool, ask: Ask, clock: Clock) -> Logged:
    """Logs the picking; see book.enter for the rest."""
    return enter_planned(
        book, lambda now: plan(book, asked, now), lambda made, now: log(book, made, now), insist, ask, clock
    )
