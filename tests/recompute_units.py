"""Which units does a farm have as of a date, and what is known of each? The third part of the oracle."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from itertools import accumulate, groupby

from recompute_farm import Farm, Picking, Place, Seen
from recompute_rows import Row

ENDINGS = ("contaminated", "emptied")


@dataclass(frozen=True, order=True)
class Closing:
    """When did a unit end, and by what: contaminated, emptied or refilled (the first of these on one day)?"""

    day: date
    by: str


@dataclass(frozen=True)
class Unit:
    """What is known of one filling, or (container None) of one whole batch, as of a date?"""

    batch: str
    container: str | None
    batch_row: Row
    filling_rows: tuple[Row, ...]
    as_of: date
    settled_days: int
    inoculated_on: date | None
    pickings: tuple[Picking, ...]
    seen: tuple[Seen, ...]
    pins: tuple[tuple[date, int], ...]  # day and flush
    closing: Closing | None
    lapse_day: date | None
    dry_kg: Fraction | None
    dry_source: str | None
    wet_kg: Fraction | None
    spawn_kg: Fraction | None

    @property
    def containers(self) -> Fraction | None:
        """How many containers it is: of a whole batch those listed, else those filled. None: that is not written."""
        if self.container is not None:
            return Fraction(1)
        return Fraction(len(self.filling_rows)) or self.batch_row.numbers.get("containers_filled")

    @property
    def sizes(self) -> set[tuple[str, Fraction | None]]:
        """The kinds and litres of its containers; of a batch without a list, an unwritten one."""
        rows = self.filling_rows
        found = {(row.words.get("kind", "").lower(), row.numbers.get("volume_l")) for row in rows}
        return found or {("", None)}

    @property
    def litres(self) -> Fraction | None:
        """How many litres all its containers hold; None where one has none written."""
        found = [row.numbers.get("volume_l") for row in self.filling_rows]
        known = [each for each in found if each is not None]
        return sum(known, Fraction(0)) if found and len(known) == len(found) else None

    @property
    def lapsed(self) -> bool:
        """Is it treated as closed because nothing was entered for so long?"""
        return self.lapse_day is not None

    @property
    def finished(self) -> bool:
        """Is it closed or lapsed?"""
        return self.closing is not None or self.lapsed

    @property
    def contaminated_before_pick(self) -> bool:
        """Was it closed as contaminated without a picking up to that day?"""
        closing = self.closing
        if closing is None or closing.by != "contaminated":
            return False
        return all(picking.day > closing.day for picking in self.pickings)

    def grams(self, *flushes: int) -> Fraction:
        """What did it give in these flushes (none named: in all), in grams as cut?"""
        return sum((p.grams for p in self.pickings if not flushes or p.flush in flushes), Fraction(0))

    def known_through(self, flush: int) -> bool:
        """Will nothing more come of the flush or those before it, as far as can be told?"""
        later = any(p.flush > flush for p in self.pickings) or any(pins > flush for _, pins in self.pins)
        days = [p.day for p in self.pickings if p.flush == flush]
        return self.finished or later or (bool(days) and (self.as_of - max(days)).days >= self.settled_days)


def units(farm: Farm, as_of: date) -> list[Unit]:
    """Which units exist as of the date, and what is known of each by then?"""
    result = []
    for batch in sorted(farm.batches):
        inoculated = farm.inoculated(batch)
        if inoculated is not None and inoculated > as_of:
            continue
        pickings = [p for p in farm.pickings if p.place.batch == batch and p.day <= as_of]
        seen = [s for s in farm.seen if s.place.batch == batch and s.day <= as_of]
        containers: list[str | None] = [*farm.containers(batch)]
        if not containers or any(p.place.container is None for p in pickings):
            containers = [None]
        result += [unit_of(farm, as_of, Place(batch, c), pickings, seen) for c in containers]
    return result


def unit_of(
    farm: Farm,
    as_of: date,
    place: Place,
    pickings: list[Picking],
    seen: list[Seen],
) -> Unit:
    """What is known of the unit, from the pickings and observations of its batch up to the date?"""
    mine = tuple(p for p in pickings if place.container in (None, p.place.container))
    met = tuple(s for s in seen if tells_of(farm, s, place))
    ends = closing_of_batch if place.container is None else closing_of_filling
    closing = ends(farm, as_of, place, seen)
    inoculated = farm.inoculated(place.batch)
    held = [c for c in farm.containers(place.batch) if place.container in (None, c)]
    dry, source = dry_mass(farm, place)
    row = farm.batches[place.batch]
    batch_dry = dry_of_batch(row)
    # A filling has its part of the batch's wet substrate and spawn as of its dry mass; a whole batch has all.
    part = None if dry is None or batch_dry is None else dry / batch_dry
    return Unit(
        batch=place.batch,
        container=place.container,
        batch_row=row,
        filling_rows=tuple(farm.fillings[place.batch, c] for c in held),
        as_of=as_of,
        settled_days=farm.settings["flush_settled_days"],
        inoculated_on=inoculated,
        pickings=mine,
        seen=met,
        pins=tuple(sorted((s.day, pins_flush(s, mine)) for s in met if s.event == "pins")),
        closing=closing,
        lapse_day=None if closing else lapse_of(farm, as_of, inoculated, mine),
        dry_kg=dry,
        dry_source=source,
        wet_kg=portion(row, "substrate_wet_kg", place, part),
        spawn_kg=portion(row, "spawn_kg", place, part),
    )


def tells_of(farm: Farm, seen: Seen, place: Place) -> bool:
    """Is it seen of the unit? A count below the batch's fillings does not say of which of them it was seen."""
    if place.container is None or seen.place.container is not None:
        return place.container in (None, seen.place.container)
    return seen.count is None or seen.count >= len(farm.containers(place.batch))


def pins_flush(seen: Seen, pickings: Iterable[Picking]) -> int:
    """Of which flush are the pins: as written, else one after the highest flush picked on an earlier day?"""
    earlier = max((p.flush for p in pickings if p.day < seen.day), default=0)
    return int(seen.row.numbers.get("flush", earlier + 1))


def lapse_of(farm: Farm, as_of: date, inoculated: date | None, pickings: Iterable[Picking]) -> date | None:
    """On which day, if it has come, is a unit that nobody closed treated as closed?"""
    last = max((p.day for p in pickings), default=None)
    wait = farm.settings["lapse_unpicked_days" if last is None else "lapse_days"]
    since = inoculated if last is None else last
    day = None if since is None else since + timedelta(days=wait)
    return day if day is not None and day <= as_of else None


def closing_of_filling(farm: Farm, as_of: date, place: Place, seen: list[Seen]) -> Closing | None:
    """When did a filling end: by an event of its own or its whole batch, or by its container's refilling?"""
    ends = [Closing(s.day, s.event) for s in seen if s.place == place and s.event in ENDINGS]
    ends += closings_of_all(farm, place.batch, seen)
    if place in farm.refills and farm.refills[place] <= as_of:
        ends.append(Closing(farm.refills[place], late_contamination(farm, place) or "refilled"))
    return min(ends, default=None)


def late_contamination(farm: Farm, place: Place) -> str | None:
    """How it ended, noted as contaminated after its container was filled anew: it was so by that day."""
    late = (s for s in farm.seen if s.place == place and s.event == "contaminated" and s.day > farm.refills[place])
    return "contaminated" if any(late) else None


def closing_of_batch(farm: Farm, as_of: date, place: Place, seen: list[Seen]) -> Closing | None:
    """When did a batch as a whole end: by events of the whole batch, or with the last of its fillings?"""
    ends = closings_of_all(farm, place.batch, seen)
    containers = farm.containers(place.batch)
    each = [closing_of_filling(farm, as_of, Place(place.batch, c), seen) for c in containers]
    closed = [closing for closing in each if closing is not None]
    if closed and len(closed) == len(each):
        last = max(closing.day for closing in closed)
        ends.append(min(closing for closing in closed if closing.day == last))
    return min(ends, default=None)


def closings_of_all(farm: Farm, batch: str, seen: list[Seen]) -> list[Closing]:
    """Which events ended all of a batch: without a count, or with counts that add up to its containers?"""
    whole = sorted(
        (s for s in seen if s.place.container is None and s.event in ENDINGS), key=lambda s: (s.day, s.event)
    )
    ends = [Closing(s.day, s.event) for s in whole if s.count is None]
    listed = len(farm.containers(batch))
    number = listed or farm.batches[batch].numbers.get("containers_filled")
    days = [(day, list(events)) for day, events in groupby((s for s in whole if s.count), key=lambda s: s.day)]
    totals = accumulate(sum(s.count or 0 for s in events) for _, events in days)
    for (day, events), total in zip(days, totals, strict=True):
        if number is not None and total >= number:
            ends.append(Closing(day, events[0].event))  # "contaminated" if any event of that day is
    return ends


def dry_of_batch(row: Row) -> Fraction | None:
    """What is the dry mass of the batch's substrate and supplement, in kg?"""
    dry, wet, moisture = (row.numbers.get(c) for c in ("substrate_dry_kg", "substrate_wet_kg", "moisture_pct"))
    if dry is None and wet is not None and moisture is not None:
        dry = wet * (1 - moisture / 100)
    return None if dry is None else dry + row.numbers.get("supplement_dry_kg", Fraction(0))


def portion(row: Row, column: str, place: Place, part: Fraction | None) -> Fraction | None:
    """How much of a mass of the batch is the unit's, in kg?"""
    mass = row.numbers.get(column)
    if place.container is None or mass is None:
        return mass
    return None if part is None else mass * part


def dry_mass(farm: Farm, place: Place) -> tuple[Fraction | None, str | None]:
    """What is the dry substrate mass of a unit in kg, and how is it known?"""
    row = farm.batches[place.batch]
    batch_dry = dry_of_batch(row)
    if place.container is None:
        return batch_dry, None if batch_dry is None else "batch"
    fillings = {c: farm.fillings[place.batch, c] for c in farm.containers(place.batch)}
    own = {c: own_dry_mass(row, filling) for c, filling in fillings.items()}
    mass, source = own[place.container]
    if mass is not None:
        return mass, source
    others = [fillings[c] for c, (mass, _) in own.items() if mass is None]
    if batch_dry is None or place.batch in farm.with_fillings_missing:
        return None, None
    left = batch_dry - sum((mass for mass, _ in own.values() if mass is not None), Fraction(0))
    share, source = share_of_rest(fillings[place.container], others)
    return (left * share, source) if share is not None and left > 0 else (None, None)


def own_dry_mass(batch: Row, filling: Row) -> tuple[Fraction | None, str | None]:
    """What is the dry mass of a filling by its own weighing, or by its part of the batch's mix?"""
    if "substrate_dry_kg" in filling.numbers:
        return filling.numbers["substrate_dry_kg"], "weighed"
    fill, wet, dry = (
        filling.numbers.get("fill_kg"),
        batch.numbers.get("substrate_wet_kg"),
        dry_of_batch(batch),
    )
    if fill is None or wet is None or dry is None:
        return None, None
    return fill * dry / (wet + batch.numbers.get("spawn_kg", Fraction(0))), "from fill"


def share_of_rest(filling: Row, others: list[Row]) -> tuple[Fraction | None, str | None]:
    """Which share of the batch's dry mass that is left has the filling, of those without their own?"""
    for column, source in (("fill_kg", "by fill"), ("volume_l", "by volume")):
        sizes = [other.numbers[column] for other in others if column in other.numbers]
        if len(sizes) == len(others):
            return filling.numbers[column] / sum(sizes), source
    if len({other.words.get("kind") for other in others}) == 1:
        return Fraction(1, len(others)), "evenly"
    return None, None
