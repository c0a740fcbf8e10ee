"""What does each unit add to a comparison? Its two sums for each measure, in plain Python, from the definitions."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from recompute_days import Wait, waits_of
from recompute_farm import Farm, Picking
from recompute_groups import STAGES, total
from recompute_units import Unit, units

Key = tuple[str, str | None]
EMPTY_DAYS = 1  # the default of farm.toml's contract


@dataclass(frozen=True)
class Part:
    """What is above, what is below (None: nothing to divide by), and is the unit far enough to be compared?"""

    over: Fraction
    under: Fraction | None
    resolved: bool


@dataclass(frozen=True)
class Fate:
    """How does a unit stand to what it waits for: noted, lost, waiting or unnoted, after how many days?"""

    fate: str
    days: int


@dataclass(frozen=True)
class Compared:
    """The parts of a unit by measure, how it stands to its pins and to being colonised (undated: to nothing), and with
    which holes it went into the flush.
    """

    parts: dict[str, Part]
    fates: dict[str, Fate]
    holes: str


def compared(farm: Farm, as_of: date, through: int, to_day: int | None = None) -> dict[Key, Compared]:
    """What does each unit add, followed through a flush or, with to_day, to that age?"""
    every = units(farm, as_of)
    silent = {name: silent_batches(every, name) for name in ("days", "colonised")}
    telling = {unit.batch for unit in every if opened_for(unit, through)}
    return {
        (unit.batch, unit.container): Compared(
            parts_of(farm, unit, through, to_day),
            {} if unit.inoculated_on is None else {name: fate_of(farm, unit, name, silent[name]) for name in silent},
            holes_of(unit, through, unit.batch in telling),
        )
        for unit in every
    }


def parts_of(farm: Farm, unit: Unit, through: int, to_day: int | None) -> dict[str, Part]:
    """What does the unit add to each measure?"""
    known = unit.known_through(through)
    age = None if unit.inoculated_on is None else (unit.as_of - unit.inoculated_on).days
    far = known if to_day is None else age is not None and age >= to_day
    counted = [each for each in unit.pickings if counts(unit, each, through, to_day)]
    gave = total(each.grams for each in counted)
    staged = [each for each in counted if "cap_stage" in each.row.words]
    late = STAGES[STAGES.index(farm.late_from) :]
    return {
        "be": Part(gave, None if unit.dry_kg is None else unit.dry_kg * 1000, far),
        "days": of_wait(wait_of(unit, "days"), unit),
        "colonised": of_wait(wait_of(unit, "colonised"), unit),
        "next-flush": next_flush(unit, through),
        "decline": Part(unit.grams(through), unit.grams(1), known),
        "losses": Part(
            Fraction(unit.finished and not unit.pickings), Fraction(1), unit.finished or bool(unit.pickings)
        ),
        "culled": Part(culled(counted), gave, far),
        "kg": Part(gave / 1000, unit.containers if len(unit.sizes) == 1 else None, far),
        "g-per-litre": Part(gave, unit.litres, far),
        "margin": Part(gave, containers_of(unit), far),
        "margin-per-day": Part(total(each.grams for each in unit.pickings), container_days(unit), unit.finished),
        "late": Part(
            total(each.grams for each in staged if each.row.words["cap_stage"] in late),
            total(each.grams for each in staged),
            far,
        ),
    }


def containers_of(unit: Unit) -> Fraction | None:
    """How many containers is it, if it has a day of inoculation: of a whole batch those listed, else those filled?"""
    if unit.inoculated_on is None:
        return None
    return unit.containers


def container_days(unit: Unit) -> Fraction | None:
    """How many days were its places taken, up to now or its end, and empty after it?"""
    containers = containers_of(unit)
    if containers is None or unit.inoculated_on is None:
        return None
    until = unit.closing.day if unit.closing else unit.lapse_day or unit.as_of
    return containers * ((until - unit.inoculated_on).days + EMPTY_DAYS) or None


def counts(unit: Unit, picking: Picking, through: int, to_day: int | None) -> bool:
    """Does the picking count: of the flushes, or up to the age?"""
    if to_day is None:
        return picking.flush <= through
    return unit.inoculated_on is not None and (picking.day - unit.inoculated_on).days <= to_day


def culled(pickings: Iterable[Picking]) -> Fraction:
    """How much was trim and culls? A cell above the fresh mass cannot be right: none."""
    cells = [(each.row.numbers.get("culled_g", Fraction(0)), each.grams) for each in pickings]
    return total(cell for cell, grams in cells if cell <= grams)


def wait_of(unit: Unit, measure: str) -> Wait:
    """Which wait is this measure's?"""
    return waits_of(unit, 1)[{"days": "inoculated_to_pins", "colonised": "inoculated_to_colonised"}[measure]]


def of_wait(wait: Wait, unit: Unit) -> Part:
    """The days of the wait, over 1 where they are known."""
    days = wait.days
    return Part(Fraction(days or 0), Fraction(days is not None), not wait.unended or unit.finished)


def next_flush(unit: Unit, through: int) -> Part:
    """The days from the first picking of the flush before to that of the flush."""
    wait = waits_of(unit, through).get(f"flush_{through - 1}_to_{through}")
    days = wait.days if wait else None
    return Part(Fraction(days or 0), Fraction(days is not None), days is not None or unit.known_through(through))


def opened_for(unit: Unit, flush: int) -> bool:
    """Were holes opened for the flush: as written, else the one after the highest picked by then?"""
    for seen in unit.seen:
        part = unit.container is None and (seen.place.container is not None or seen.count is not None)
        by_then = max((picking.flush for picking in unit.pickings if picking.day <= seen.day), default=0)
        if seen.event == "opened" and not part and seen.row.numbers.get("flush", by_then + 1) == flush:
            return True
    return False


def holes_of(unit: Unit, through: int, told: bool) -> str:
    """Fresh holes, the same holes, or (blank) nobody knows? Of units that gave the flush before, or still may."""
    before = any(picking.flush == through - 1 for picking in unit.pickings)
    if through == 1 or (unit.known_through(through - 1) and not before):
        return ""
    if opened_for(unit, through):
        return "fresh holes"
    taped = bool(unit.filling_rows) and all("holes_taped" in row.numbers for row in unit.filling_rows)
    return "same holes" if taped or told else ""


def silent_batches(every: Iterable[Unit], measure: str) -> set[str]:
    """Of which batches did units go on, and none (of pins: none of those picked) was noted?"""
    further = [unit for unit in every if unit.pickings or (measure == "colonised" and unit.pins)]
    telling = further if measure == "days" else every
    noted = {unit.batch for unit in telling if wait_of(unit, measure).days is not None}
    return {unit.batch for unit in further} - noted


def fate_of(farm: Farm, unit: Unit, measure: str, silent: set[str]) -> Fate:
    """How does a dated unit stand to what it waits for?"""
    assert unit.inoculated_on is not None
    wait = wait_of(unit, measure)
    age = (unit.as_of - unit.inoculated_on).days
    if wait.days is not None:
        fate, days = "noted", wait.days
    elif wait.unended and unit.finished:
        fate, days = "lost", (held_to(farm, unit) - unit.inoculated_on).days
    else:
        fate, days = "waiting" if wait.unended else "unnoted", age
    return Fate("unnoted" if unit.batch in silent else fate, days)


def held_to(farm: Farm, unit: Unit) -> date:
    """On which day was the place of a finished unit free again: at its end, or when it lapsed, if that was before?"""
    last = max((picking.day for picking in unit.pickings), default=None)
    waits = farm.settings["lapse_unpicked_days" if last is None else "lapse_days"]
    since = unit.inoculated_on if last is None else last
    days = [since + timedelta(days=waits)] if since is not None else []
    return min([*days, *([unit.closing.day] if unit.closing else [])])
