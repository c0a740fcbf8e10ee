"""Noting what was seen or done: one row for each container, or one for a whole batch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from pipeline.farm.conventions import folded_word
from pipeline.logbook.book import Book, Doubt, open_doubts, write_rows
from pipeline.logbook.entries import new_entries
from pipeline.logbook.names import known_name, spread
from pipeline.logbook.places import Place, Places
from pipeline.logbook.summaries import ENDINGS
from pipeline.logbook.targets import Target, Values, target_for
from schemas.contract import contract
from schemas.finding import WrongRequest, nearest


@dataclass(frozen=True)
class Seen:
    """What is to be noted. No containers: of the whole batch, or of `count` of its containers."""

    containers: tuple[str, ...]
    event: str
    day: date
    batch: str = ""
    flush: int | None = None
    cause: str = ""
    count: int | None = None
    note: str = ""


@dataclass(frozen=True)
class NotePlan:
    """An observation of these places, ready to be written. `gave`: what those that it ends gave, in g and pickings."""

    seen: Seen
    places: tuple[Place, ...]
    gave: tuple[tuple[Place, Decimal, int], ...]
    doubts: tuple[Doubt, ...]
    target: Target
    said: tuple[str, ...]


def event_of(book: Book, text: str) -> str:
    """Which event is meant? Raises WrongRequest for a word that is none."""
    each = contract("observations").field("event")
    own = book.farm.conventions.cell_format.words.get("event", {})
    meant = {**{word: word for word in each.words}, **each.synonyms, **own}.get(folded_word(text))
    if meant is None:
        near = nearest(text, (*each.words, *own))
        hint = f" Did you mean {near}?" if near else ""
        raise WrongRequest(f"{text}: there is no such event.{hint} Events: {', '.join(each.words)}. It comes last.")
    return meant


def plan_note(book: Book, seen: Seen) -> NotePlan:
    """What would be written, and what is doubtful about it?"""
    places = book.look()
    found, doubts = _places(places, seen)
    ended = [(place, end) for place in found if (end := places.end(place)) and end[0] <= seen.day]
    doubts += [Doubt("ended", f"{place} ended already, on {end[0]} ({end[1]})") for place, end in ended]
    columns = [name for place in found for name in values(seen, place, "-")]
    target, said = target_for(book.farm, book.summaries, "observations", seen.day, tuple(dict.fromkeys(columns)))
    said = list(dict.fromkeys((*places.troubles, *said)))
    doubts += open_doubts(target)
    return NotePlan(seen, tuple(found), _gave(places, seen, found), tuple(doubts), target, tuple(said))


def _places(places: Places, seen: Seen) -> tuple[list[Place], list[Doubt]]:
    """Of what is it noted, and is that doubtful?"""
    batch, doubts = known_name(seen.batch, places.batch_days), []
    if batch and batch not in places.batch_days:
        meant = nearest(batch, tuple(places.batch_days))
        hint = f". Did you mean {meant}?" if meant else ""
        doubts.append(Doubt("unknown", f"batch {batch} is not in batches.csv{hint}"))
    inoculated = places.batch_days.get(batch)
    if inoculated is not None and seen.day < inoculated:
        doubts.append(Doubt("too early", f"batch {batch} was inoculated on {inoculated}, after {seen.day}"))
    if not seen.containers:
        return [Place(batch, "", inoculated)], doubts
    found = []
    for name in spread(seen.containers, places.containers):
        place = _held(places, name, batch, seen.day)
        if place is None:
            meant = nearest(name, places.containers)
            hint = f". Did you mean {meant}?" if meant and name not in places.containers else ""
            where = f"is no filling of batch {batch}" if batch else f"was not filled before {seen.day}"
            doubts.append(Doubt("unknown", f"container {name} {where}, by fillings.csv{hint}"))
        found.append(place or Place(batch, name, None))
    return found, doubts


def _held(places: Places, container: str, batch: str, day: date) -> Place | None:
    """What was in the container on this day? On the day of its first filling that filling, since there is no other."""
    fillings = places.fillings(container)
    if batch:
        return next((each for each in fillings if each.batch == batch), None)
    return places.held(container, day) or next((each for each in fillings if each.day == day), None)


def _gave(places: Places, seen: Seen, found: Sequence[Place]) -> tuple[tuple[Place, Decimal, int], ...]:
    if seen.event not in ENDINGS or not seen.containers:
        return ()
    pickings = [(place, places.pickings(place)) for place in found]
    return tuple((place, sum((each.weight_g for each in of), Decimal(0)), len(of)) for place, of in pickings)


def values(seen: Seen, place: Place, entry: str) -> Values:
    """Which cells has the row of this place?"""
    told: dict[str, date | Decimal | int | str] = {"seen_on": seen.day, "event": seen.event}
    told |= {name: getattr(place, name) for name in ("container", "batch") if getattr(place, name)}
    told |= {name: getattr(seen, name) for name in ("flush", "cause", "count", "note") if getattr(seen, name)}
    return {**told, "entry": entry}


def write_note(book: Book, planned: NotePlan, now: datetime) -> NotePlan:
    """Writes one row for each place, all or none, on disk."""
    ids = new_entries(int(now.timestamp() * 1000), len(planned.places))
    rows = [values(planned.seen, place, entry) for place, entry in zip(planned.places, ids, strict=True)]
    write_rows(book.farm, planned.target, "note", rows, now)
    return planned
