"""Noting what was seen or done: one row for each container, or one for a whole batch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from pipeline.farm.conventions import folded_word
from pipeline.logbook.book import Book, Doubt, file_doubts, write_rows
from pipeline.logbook.container_names import expand_ranges, known_name
from pipeline.logbook.containers import Assignment, Containers
from pipeline.logbook.destination import Destination, Values, destination_for
from pipeline.logbook.entry_ids import new_entry_ids
from pipeline.logbook.facts import ENDINGS
from pipeline.logbook.same_again import same_again
from schemas.contract import OBSERVATIONS, contract
from schemas.finding import WrongRequest
from schemas.phrases import counted, did_you_mean


@dataclass(frozen=True)
class NewObservation:
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
class ObservationPlan:
    """An observation of these fillings or batches, ready to be written. `gave`: what those that it ends gave, in g and
    pickings.
    """

    observation: NewObservation
    assignments: tuple[Assignment, ...]
    gave: tuple[tuple[Assignment, Decimal, int], ...]
    doubts: tuple[Doubt, ...]
    destination: Destination
    messages: tuple[str, ...]


def parse_event(book: Book, text: str) -> str:
    """Return the event that is meant. Raises WrongRequest for a word that is none."""
    each = contract(OBSERVATIONS).field("event")
    own = book.farm.conventions.cell_format.words.get("event", {})
    event = {**{word: word for word in each.words}, **each.synonyms, **own}.get(folded_word(text))
    if event is None:
        hint = did_you_mean(text, (*each.words, *own))
        raise WrongRequest(f"{text}: there is no such event.{hint} Events: {', '.join(each.words)}. It comes last.")
    return event


def plan_note(book: Book, observation: NewObservation, now: datetime) -> ObservationPlan:
    """Return what would be written, and what is doubtful about it."""
    containers = book.scan()
    found, doubts = _assignments(containers, observation)
    for each in found:
        end = containers.end(each)
        if end is not None and end.day <= observation.day:
            doubts.append(Doubt("ended", f"{each} ended already, on {end.day} ({end.event})"))
        elif observation.event in ENDINGS and each.container and (last := _picked_after(containers, each, observation)):
            doubts.append(Doubt("picked since", f"{each} was picked on {last}, after it was {observation.event}"))
    columns = tuple(dict.fromkeys(name for each in found for name in values(observation, each, "-")))
    destination, messages = destination_for(book.farm, book.summaries, OBSERVATIONS, observation.day, columns)
    doubts += same_again(book.farm, "note", [values(observation, each, "") for each in found], now)
    doubts += file_doubts(book, destination)
    gave = _gave(containers, observation, found)
    all_messages = tuple(dict.fromkeys((*containers.troubles, *messages)))
    return ObservationPlan(observation, tuple(found), gave, tuple(doubts), destination, all_messages)


def _picked_after(containers: Containers, assignment: Assignment, observation: NewObservation) -> date | None:
    """Return the day of the last picking here, where it lies after the observation's."""
    days = [each.day for each in containers.pickings(assignment) if each.day > observation.day]
    return max(days, default=None)


def _assignments(containers: Containers, observation: NewObservation) -> tuple[list[Assignment], list[Doubt]]:
    """Return of what it is noted, and what is doubtful about that."""
    days, day = containers.batch_days, observation.day
    batch, doubts = known_name(observation.batch, days), []
    if batch and batch not in days:
        hint = f".{hint}" if (hint := did_you_mean(batch, days)) else ""
        doubts.append(Doubt("unknown", f"batch {batch} is not in batches.csv{hint}"))
    inoculated = days.get(batch)
    if inoculated is not None and day < inoculated:
        doubts.append(Doubt("too early", f"batch {batch} was inoculated on {inoculated}, after {day}"))
    filled = len(containers.filled_from(batch)) if observation.count else 0
    if filled and observation.count and observation.count > filled:
        doubts.append(Doubt("count", f"batch {batch} has {counted(filled, 'container')}, not {observation.count}"))
    if not observation.containers:
        return [Assignment(batch, "", inoculated)], doubts
    found = []
    for name in expand_ranges(observation.containers, containers.names):
        held = _held(containers, name, batch, day)
        if held is None:
            hint = "" if name in containers.names else did_you_mean(name, containers.names)
            where = f"is no filling of batch {batch}" if batch else f"was not filled before {day}"
            doubts.append(Doubt("unknown", f"container {name} {where}, by fillings.csv{'.' if hint else ''}{hint}"))
        found.append(held or Assignment(batch, name, None))
    return found, doubts


def _held(containers: Containers, container: str, batch: str, day: date) -> Assignment | None:
    """Return what was in the container on this day: on the day of its first filling that one, for there is no other."""
    fillings = containers.fillings(container)
    if batch:
        return next((each for each in fillings if each.batch == batch), None)
    return containers.held(container, day) or next((each for each in fillings if each.day == day), None)


def _gave(
    containers: Containers, observation: NewObservation, found: Sequence[Assignment]
) -> tuple[tuple[Assignment, Decimal, int], ...]:
    if observation.event not in ENDINGS or not observation.containers:
        return ()
    pickings = [(each, containers.pickings(each)) for each in found]
    return tuple((each, sum((one.weight_g for one in of), Decimal(0)), len(of)) for each, of in pickings)


def values(observation: NewObservation, assignment: Assignment, entry: str) -> Values:
    """Return the cells of the row about this filling or batch, by column of ours."""
    found: dict[str, date | Decimal | int | str] = {"seen_on": observation.day, "event": observation.event}
    found |= {name: getattr(assignment, name) for name in ("container", "batch") if getattr(assignment, name)}
    more = ("flush", "cause", "count", "note")
    found |= {name: getattr(observation, name) for name in more if getattr(observation, name)}
    return {**found, "entry": entry}


def write_note(book: Book, planned: ObservationPlan, now: datetime) -> ObservationPlan:
    """Write one row for each filling or batch, all or none, on disk."""
    ids = new_entry_ids(int(now.timestamp() * 1000), len(planned.assignments))
    rows = [values(planned.observation, each, entry) for each, entry in zip(planned.assignments, ids, strict=True)]
    write_rows(book.farm, planned.destination, "note", rows, now)
    return planned
