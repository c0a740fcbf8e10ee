"""Logging a picking: what is to be written, what is doubtful about it, and writing it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from pipeline.farm.folder import Farm
from pipeline.ledger.manifest import new_flush_after, weight_shares
from pipeline.logbook.amounts import Amount, written
from pipeline.logbook.book import Book, Clock, Confirm, Doubt, file_doubts, write_rows
from pipeline.logbook.book import enter as enter_planned
from pipeline.logbook.container_names import known_name
from pipeline.logbook.containers import Assignment, Containers, Picking, flush_of, given_before, unlike_usual
from pipeline.logbook.destination import Destination, Values, destination_for
from pipeline.logbook.entry_ids import entry_time_ms, new_entry_ids
from pipeline.logbook.gone import gone_message
from pipeline.logbook.lost import lost_lately, lost_message
from pipeline.logbook.same_again import ago
from schemas.contract import HARVESTS
from schemas.own_weights import LAST_PICKINGS, LIKE_BEFORE, LIKE_ITS_FILL, Given, of_flush, unlike_own, usual_of_flushes
from schemas.phrases import did_you_mean
from schemas.pickings import SAME_WITHIN_MS

UNLIKE = "unlike usual"


@dataclass(frozen=True)
class NewPicking:
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
class PickingPlan:
    """A picking ready to be written. `proposed`: the flush follows from the history; `before`: what was picked there
    until its day; `messages`: what the grower should hear of the files.
    """

    picking: NewPicking
    assignment: Assignment
    flush: int
    proposed: bool
    before: tuple[Picking, ...]
    doubts: tuple[Doubt, ...]
    destination: Destination
    messages: tuple[str, ...]


@dataclass(frozen=True)
class Logged:
    """A picking that stands in a file, on disk: its id, the file, the row as the spreadsheet shows it. `missing`: a
    sentence on earlier entries that are not in the file any more.
    """

    plan: PickingPlan
    entry: str
    file: str
    row: int
    missing: tuple[str, ...] = ()


def plan(book: Book, picking: NewPicking, now: datetime) -> PickingPlan:
    """Return what would be written, and what is doubtful about it."""
    containers = book.scan()
    farm = book.farm
    assignment, doubts = _assignment(containers, picking)
    before = containers.pickings(assignment)
    gap_days = new_flush_after(farm)
    flush = picking.flush or flush_of(before, picking.day, gap_days)
    doubts += _doubts(containers, assignment, picking, before, int(now.timestamp() * 1000))
    if not any(each.kind == UNLIKE for each in doubts):
        given = given_before(before, picking.day, gap_days)
        doubts += _own_doubts(farm, containers, assignment, picking, flush, given)
    columns = tuple(values(picking, assignment, flush, ""))
    destination, messages = destination_for(farm, book.summaries, HARVESTS, picking.day, columns)
    doubts += file_doubts(book, destination)
    return PickingPlan(
        picking,
        assignment,
        flush,
        picking.flush is None,
        tuple(each for each in before if each.day <= picking.day),
        tuple(doubts),
        destination,
        tuple(dict.fromkeys((*containers.troubles, *gone_message(farm, book.summaries), *messages))),
    )


def _assignment(containers: Containers, picking: NewPicking) -> tuple[Assignment, list[Doubt]]:
    """Return whose picking it is, and what is doubtful about that."""
    batch, days = known_name(picking.batch, containers.batch_days), containers.batch_days
    if batch and batch not in days:
        hint = f".{hint}" if (hint := did_you_mean(batch, days)) else ""
        message = f"batch {batch} is not in batches.csv, so this picking would be set aside until it is{hint}"
        return Assignment(batch, picking.container, None), [Doubt("unknown", message)]
    if not picking.container:
        return Assignment(batch, "", days[batch]), _too_early(containers, batch, picking.day)
    container = known_name(picking.container, containers.names)
    fillings = containers.fillings(container)
    if batch:
        found = next((each for each in fillings if each.batch == batch), None)
        if found is None:
            message = f"container {container} is no filling of batch {batch}: it would count for the batch as a whole"
            return Assignment(batch, container, days[batch]), [Doubt("unknown", message)]
        return found, _too_early(containers, batch, picking.day)
    held = containers.held(container, picking.day)
    if held is not None:
        return held, []
    undated = fillings[-1] if fillings and fillings[-1].day is None else Assignment("", container, None)
    return undated, [Doubt("unknown", _not_filled(containers, container, fillings, picking.day))]


def _too_early(containers: Containers, batch: str, day: date) -> list[Doubt]:
    inoculated = containers.batch_days[batch]
    if inoculated is None or day >= inoculated:
        return []
    message = f"batch {batch} was inoculated on {inoculated}, after {day}: this picking would be set aside"
    return [Doubt("too early", message)]


def _not_filled(containers: Containers, container: str, fillings: list[Assignment], day: date) -> str:
    dated = [each for each in fillings if each.day is not None]
    if dated:
        return f"container {container} was not filled before {day} (first from batch {dated[0].batch}, {dated[0].day})"
    if fillings:
        return f"container {container} was filled from batch {fillings[0].batch}, whose day of inoculation is unknown"
    hint = f".{hint}" if (hint := did_you_mean(container, containers.names)) else ""
    return f"container {container} is not in fillings.csv, so this picking would be set aside until it is{hint}"


def _doubts(
    containers: Containers, assignment: Assignment, picking: NewPicking, before: list[Picking], now_ms: int
) -> list[Doubt]:
    found = []
    end = containers.end(assignment)
    if end is not None and end.day <= picking.day:
        how = {"contaminated": "was thrown out, contaminated,", "refilled": "was filled anew"}
        found.append(Doubt("ended", f"{assignment} {how.get(end.event, f'was {end.event}')} on {end.day}"))
    usual_g = containers.usual_g(together=not assignment.container)
    unlike = unlike_usual(float(picking.weight.value), usual_g)
    weight = f"{written(picking.weight.value, containers.cell_format)} g"
    most_g = containers.most_g(assignment)
    if unlike is not None:
        found.append(Doubt(UNLIKE, f"{weight} is {unlike}"))
    elif usual_g is None and picking.weight.value > most_g and (assignment.container or assignment.batch):
        whose = "a container of its fill" if assignment.container else f"all of {assignment}"
        found.append(Doubt(UNLIKE, f"{weight} is more than {whose} gives at once, {most_g:.0f} g at the most"))
    for each in before:
        age = now_ms - (entry_time_ms(each.entry) or 0)
        if each.day == picking.day and each.weight_g == picking.weight.value and age < SAME_WITHIN_MS:
            found.append(Doubt("same again", f"the same, {assignment} {weight}, was logged {ago(age)}"))
            break
    return found


def _own_doubts(
    farm: Farm,
    containers: Containers,
    assignment: Assignment,
    picking: NewPicking,
    flush: int,
    given: Sequence[Given],
) -> list[Doubt]:
    """Return the doubt that the weight is unlike what its container gave: see schemas/own_weights.py."""
    usual = usual_of_flushes(given, containers.most_g(assignment), weight_shares(farm)) if assignment.container else []
    rest = any(each.flush == flush for each in given)
    weight_g = float(picking.weight.value)
    if not usual or not unlike_own(weight_g, of_flush(usual, flush), rest):
        return []
    cell_format = containers.cell_format
    before = ", ".join(written(Decimal(f"{each.weight_g:f}"), cell_format) for each in given[: -LAST_PICKINGS - 1 : -1])
    said = (LIKE_BEFORE if given else LIKE_ITS_FILL).format(
        weight=f"{written(picking.weight.value, cell_format)} g",
        container=assignment.container,
        before=f"{before} g",
        usual=f"{of_flush(usual, flush):.0f} g",
        flush=flush,
    )
    return [Doubt(UNLIKE, said)]


def values(picking: NewPicking, assignment: Assignment, flush: int, entry: str) -> Values:
    """Return the cells of the row, by column of ours."""
    found: dict[str, date | Decimal | int | str] = {"picked_on": picking.day, "fresh_weight_g": picking.weight.exact}
    found |= {name: getattr(assignment, name) for name in ("container", "batch") if getattr(assignment, name)}
    found["flush"] = flush
    if picking.stage:
        found["cap_stage"] = picking.stage
    if picking.culled is not None:
        found["culled_g"] = picking.culled.exact
    found |= {name: getattr(picking, name) for name in ("picker", "note") if getattr(picking, name)}
    return {**found, "entry": entry}


def log(book: Book, planned: PickingPlan, now: datetime, entry: str = "", by: str = "") -> Logged:
    """Write the picking, whole and on disk. To be called while the logbook is locked, with a plan made since. `entry`:
    the id that a phone gave it; `by`: the phone that sent it.
    """
    entry = entry or new_entry_ids(int(now.timestamp() * 1000))[0]
    row = values(planned.picking, planned.assignment, planned.flush, entry)
    lost = lost_lately(book.farm, planned.destination.name)
    missing = [lost_message(book.farm, lost)] if lost else []
    write_rows(book.farm, planned.destination, "weigh", [row], now, by=by)
    return Logged(planned, entry, planned.destination.name, planned.destination.next_row, tuple(missing))


def enter(book: Book, picking: NewPicking, insist: bool, confirm: Confirm, clock: Clock) -> Logged:
    """Log the picking; see book.enter for the rest."""
    return enter_planned(
        book, lambda now: plan(book, picking, now), lambda made, now: log(book, made, now), insist, confirm, clock
    )
