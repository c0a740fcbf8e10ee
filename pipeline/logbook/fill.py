"""Filling containers from a batch: one row each, with what stays the same from their last filling."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from pipeline.logbook.amounts import written
from pipeline.logbook.book import Book, Doubt, file_doubts, write_rows
from pipeline.logbook.container_names import expand_ranges, known_name
from pipeline.logbook.containers import Containers
from pipeline.logbook.destination import Destination, destination_for
from pipeline.logbook.known_rows import Value, rows_of
from schemas.contract import FILLINGS, contract
from schemas.finding import WrongRequest
from schemas.phrases import counted, did_you_mean


@dataclass(frozen=True)
class FillPlan:
    """Fillings ready to be written: their rows, what is doubtful about them, and what they mean (`report`)."""

    rows: tuple[Mapping[str, Value], ...]
    doubts: tuple[Doubt, ...]
    destination: Destination
    messages: tuple[str, ...]
    report: tuple[str, ...]


def plan_filling(
    book: Book,
    batch: str,
    containers: Sequence[str],
    given: Mapping[str, Value],
    each: Mapping[str, Mapping[str, Value]],
) -> FillPlan:
    """Return the rows that would be written. `given` holds for all of the containers, `each` for single ones.

    Raises WrongRequest for a container that is a filling of this batch already.
    """
    known = book.scan()
    name = known_name(batch, known.batch_days)
    names = expand_ranges(containers, known.names)
    twice = [one for one in names if any(filling.batch == name for filling in known.fillings(one))]
    if twice:
        raise WrongRequest(f"{twice[0]} is filled from batch {name} already, by fillings.csv. Nothing was written.")
    last = _last_rows(book, known)
    rows = []
    for one in names:
        again = {column: last[one][column] for column in recipe() if column in last.get(one, {})}
        rows.append({"batch": name, "container": one, **again, **given, **each.get(one, {})})
    columns = tuple(column for column in contract(FILLINGS).names if any(column in row for row in rows))
    day = known.batch_days.get(name)
    destination, messages = destination_for(book.farm, book.summaries, FILLINGS, day or date.min, columns)
    doubts = [*_doubts(known, name, names), *file_doubts(book, destination)]
    all_messages = tuple(dict.fromkeys((*known.troubles, *messages)))
    report = _report(book, known, name, rows, destination)
    return FillPlan(tuple(rows), tuple(doubts), destination, all_messages, tuple(report))


def recipe() -> tuple[str, ...]:
    """Return the columns that stay the same from one filling of a container to the next."""
    return tuple(each.name for each in contract(FILLINGS).fields if each.recipe)


def _last_rows(book: Book, known: Containers) -> dict[str, Mapping[str, Value]]:
    """Return the row of each container's last filling."""
    found: dict[str, tuple[date, Mapping[str, Value]]] = {}
    for row in rows_of(book.farm, FILLINGS):
        container, batch = (str(row.get(column, "")) for column in ("container", "batch"))
        day = known.batch_days.get(batch) or date.min
        if container not in found or day >= found[container][0]:
            found[container] = (day, row)
    return {container: row for container, (_, row) in found.items()}


def _doubts(known: Containers, batch: str, names: Sequence[str]) -> list[Doubt]:
    found = []
    if batch not in known.batch_days:
        hint = f".{hint}" if (hint := did_you_mean(batch, known.batch_days)) else ""
        message = f"batch {batch} is not in batches.csv, so these fillings would be set aside until it is{hint}"
        return [Doubt("unknown", message)]
    day = known.batch_days[batch]
    if day is None:
        return [Doubt("no day", f"the day of inoculation of batch {batch} is unknown")]
    for one in names:
        later = [each for each in known.fillings(one) if each.day is not None and each.day >= day]
        if later:
            when = "on the same day" if later[0].day == day else f"on {later[0].day}, after {day}"
            found.append(Doubt("filled since", f"{one} was filled from batch {later[0].batch} {when}"))
    return found


def _report(
    book: Book, known: Containers, batch: str, rows: Sequence[Mapping[str, Value]], destination: Destination
) -> list[str]:
    """Return what it means, as sentences: what is filled, which fillings end by it, what is not known."""
    names = [str(row["container"]) for row in rows]
    found = [f"Filled from batch {batch}: {counted(len(rows), 'container')}: {', '.join(names)}."]
    day = known.batch_days.get(batch)
    for one in names:
        before = known.held(one, day) if day else None
        end = known.end(before) if before else None
        if before is not None and day is not None and (end is None or end.day >= day):
            gave = known.pickings(before)
            grams = written(sum((each.weight_g for each in gave), Decimal(0)), book.farm.conventions.cell_format)
            found.append(
                f"{one}: that ends its filling from batch {before.batch}, which gave {grams} g in "
                f"{counted(len(gave), 'picking')}."
            )
    new = [one for one in names if not known.fillings(one)]
    if new:
        found.append(f"New: {', '.join(new)}.")
    found += _unknown(rows)
    return [
        *found,
        f"Written to {destination.name}, {destination.rows_text(len(rows))}. To take it back, delete it there.",
    ]


def _unknown(rows: Sequence[Mapping[str, Value]]) -> list[str]:
    """Name containers with neither a weight nor a volume: their share of the dry mass may stay unknown."""
    unmeasured = [str(row["container"]) for row in rows if not {"fill_kg", "substrate_dry_kg", "volume_l"} & set(row)]
    if not unmeasured:
        return []
    return [
        f"Neither weight nor volume is known of {', '.join(unmeasured)}: give them with --kg or --volume next time."
    ]


def write_filling(book: Book, planned: FillPlan, now: datetime) -> FillPlan:
    """Write the rows, all or none, on disk."""
    write_rows(book.farm, planned.destination, "fill", planned.rows, now)
    return planned
