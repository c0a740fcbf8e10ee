"""Filling containers from a batch: one row each, with what stays the same from their last filling."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from pipeline.logbook.amounts import written
from pipeline.logbook.book import Book, Doubt, open_doubts, write_rows
from pipeline.logbook.known_rows import Value, rows_of
from pipeline.logbook.names import known_name, spread
from pipeline.logbook.places import Places
from pipeline.logbook.targets import Target, target_for
from schemas.contract import contract
from schemas.finding import WrongRequest, nearest

# What a container keeps from one filling to the next.
KEPT = ("kind", "volume_l", "holes_open", "holes_taped")


@dataclass(frozen=True)
class FillPlan:
    """Fillings ready to be written: their rows, what is doubtful about them, and what they mean (`told`)."""

    rows: tuple[Mapping[str, Value], ...]
    doubts: tuple[Doubt, ...]
    target: Target
    said: tuple[str, ...]
    told: tuple[str, ...]


def plan_filling(
    book: Book,
    batch: str,
    containers: Sequence[str],
    given: Mapping[str, Value],
    each: Mapping[str, Mapping[str, Value]],
) -> FillPlan:
    """Which rows would be written? `given` holds for all of the containers, `each` for single ones.

    Raises WrongRequest for a container that is a filling of this batch already.
    """
    places = book.look()
    name = known_name(batch, places.batch_days)
    names = spread(containers, places.containers)
    twice = [one for one in names if any(filling.batch == name for filling in places.fillings(one))]
    if twice:
        raise WrongRequest(f"{twice[0]} is filled from batch {name} already, by fillings.csv. Nothing was written.")
    last = _last_rows(book, places)
    rows = []
    for one in names:
        kept = {column: last[one][column] for column in KEPT if column in last.get(one, {})}
        rows.append({"batch": name, "container": one, **kept, **given, **each.get(one, {})})
    columns = tuple(column for column in contract("fillings").names if any(column in row for row in rows))
    day = places.batch_days.get(name)
    target, said = target_for(book.farm, book.summaries, "fillings", day or date.min, columns)
    doubts = [*_doubts(places, name, names), *open_doubts(target)]
    said = list(dict.fromkeys((*places.troubles, *said)))
    return FillPlan(tuple(rows), tuple(doubts), target, tuple(said), tuple(_told(book, places, name, rows, target)))


def _last_rows(book: Book, places: Places) -> dict[str, Mapping[str, Value]]:
    """What does the row of each container's last filling say?"""
    found: dict[str, tuple[date, Mapping[str, Value]]] = {}
    for row in rows_of(book.farm, "fillings"):
        container, batch = (str(row.get(column, "")) for column in ("container", "batch"))
        day = places.batch_days.get(batch) or date.min
        if container not in found or day >= found[container][0]:
            found[container] = (day, row)
    return {container: row for container, (_, row) in found.items()}


def _doubts(places: Places, batch: str, names: Sequence[str]) -> list[Doubt]:
    found = []
    if batch not in places.batch_days:
        meant = nearest(batch, tuple(places.batch_days))
        hint = f". Did you mean {meant}?" if meant else ""
        said = f"batch {batch} is not in batches.csv, so these fillings would be set aside until it is{hint}"
        return [Doubt("unknown", said)]
    day = places.batch_days[batch]
    if day is None:
        return [Doubt("no day", f"the day of inoculation of batch {batch} is unknown")]
    for one in names:
        later = [each for each in places.fillings(one) if each.day is not None and each.day >= day]
        if later:
            when = "on the same day" if later[0].day == day else f"on {later[0].day}, after {day}"
            found.append(Doubt("filled since", f"{one} was filled from batch {later[0].batch} {when}"))
    return found


def _told(book: Book, places: Places, batch: str, rows: Sequence[Mapping[str, Value]], target: Target) -> list[str]:
    """What does it mean: what is filled, which fillings end by it, what is not known?"""
    names = [str(row["container"]) for row in rows]
    first, last = target.next_row, target.next_row + len(rows) - 1
    where = f"row {first}" if first == last else f"rows {first} to {last}"
    count = "1 container" if len(rows) == 1 else f"{len(rows)} containers"
    found = [f"Filled from batch {batch}: {count}: {', '.join(names)}."]
    day = places.batch_days.get(batch)
    for one in names:
        before = places.held(one, day) if day else None
        end = places.end(before) if before else None
        if before is not None and day is not None and (end is None or end[0] >= day):
            gave = places.pickings(before)
            grams = written(sum((each.weight_g for each in gave), Decimal(0)), book.farm.conventions.cell_format)
            found.append(
                f"{one}: that ends its filling from batch {before.batch}, which gave {grams} g in {len(gave)} "
                f"picking{'' if len(gave) == 1 else 's'}."
            )
    new = [one for one in names if not places.fillings(one)]
    if new:
        found.append(f"New: {', '.join(new)}.")
    found += _unknown(rows)
    return [*found, f"Written to {target.name}, {where}. To take it back, delete it there."]


def _unknown(rows: Sequence[Mapping[str, Value]]) -> list[str]:
    """Which containers have neither a weight nor a volume, so that their share of the dry mass may stay unknown?"""
    bare = [str(row["container"]) for row in rows if not {"fill_kg", "substrate_dry_kg", "volume_l"} & set(row)]
    if not bare:
        return []
    return [f"Neither weight nor volume is known of {', '.join(bare)}: give them with --kg or --volume next time."]


def write_filling(book: Book, planned: FillPlan, now: datetime) -> FillPlan:
    """Writes the rows, all or none, on disk."""
    write_rows(book.farm, planned.target, "fill", planned.rows, now)
    return planned
