"""What should `days` say? How long the waits of each group of units are, in plain Python."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from recompute_farm import Farm
from recompute_groups import Cell, grouped, with_batch
from recompute_units import Unit, units


@dataclass(frozen=True)
class Wait:
    """When did a unit's wait begin and end, did it pass the end without a note of it, and is the unit over?"""

    begin: date | None
    end: date | None
    passed: bool
    finished: bool

    @property
    def days(self) -> int | None:
        """How many calendar days was it, if both days are noted in their order?"""
        if self.begin is None or self.end is None or self.end < self.begin:
            return None
        return (self.end - self.begin).days

    @property
    def unended(self) -> bool:
        """Has it begun, with nothing that shows its end?"""
        return self.begin is not None and self.end is None and not self.passed


def days(farm: Farm, as_of: date, by: list[str]) -> list[dict[str, Cell]]:
    """How long did the units of each group wait? One dict per group and wait, keys as in `days`."""
    rows = []
    for cells, members in grouped(units(farm, as_of), with_batch(by)):
        highest = max((picking.flush for unit in members for picking in unit.pickings), default=1)
        of_units = [waits_of(unit, max(1, highest - 1)) for unit in members]
        for name in wait_names(max(1, highest - 1)):
            rows.append({**cells, "wait": name, **figures_of([waits[name] for waits in of_units])})
    return rows


def wait_names(flushes: int) -> list[str]:
    """Which waits are told, in which order, where flushes have one after them up to this one?"""
    between = [f"flush_{flush}_to_{flush + 1}" for flush in range(1, flushes + 1)]
    first = ["inoculated_to_colonised", "inoculated_to_pins", "inoculated_to_first_pick", "opened_to_pins"]
    return [*first, "pins_to_first_pick", *between, "cycle"]


def waits_of(unit: Unit, flushes: int) -> dict[str, Wait]:
    """How did each wait go for one unit?"""
    inoculated = unit.inoculated_on
    pins = earliest(day for day, flush in unit.pins if flush == 1)
    picked = {flush: first_pick(unit, flush) for flush in {picking.flush for picking in unit.pickings}}
    past_pins = bool(picked) or any(flush > 1 for _, flush in unit.pins)

    def wait(begin: date | None, end: date | None, passed: bool) -> Wait:
        return Wait(begin, end, passed, unit.finished)

    waits = {
        "inoculated_to_colonised": wait(inoculated, event(unit, "colonised"), bool(picked or unit.pins)),
        "inoculated_to_pins": wait(inoculated, pins, past_pins),
        "inoculated_to_first_pick": wait(inoculated, earliest(picked.values()), False),
        "opened_to_pins": wait(first_opened(unit), pins, past_pins),
        "pins_to_first_pick": wait(pins, picked.get(1), max(picked, default=0) > 1),
        "cycle": wait(inoculated, unit.closing.day if unit.closing else None, False),
    }
    for flush in range(1, flushes + 1):
        passed = max(picked, default=0) > flush + 1
        waits[f"flush_{flush}_to_{flush + 1}"] = wait(picked.get(flush), picked.get(flush + 1), passed)
    return waits


def event(unit: Unit, name: str) -> date | None:
    """When was the event first seen of the unit?"""
    return earliest(seen.day for seen in unit.seen if seen.event == name)


def first_opened(unit: Unit) -> date | None:
    """When were its first holes opened? Those opened for a later flush are others."""
    own = [seen for seen in unit.seen if seen.event == "opened"]
    return earliest(seen.day for seen in own if seen.row.numbers.get("flush", 1) == 1)


def first_pick(unit: Unit, flush: int) -> date:
    """When was a flush, of those that were picked, picked first?"""
    return min(picking.day for picking in unit.pickings if picking.flush == flush)


def earliest(noted: Iterable[date]) -> date | None:
    """Which of the days is the first, if there is any?"""
    return min(noted, default=None)


def figures_of(waits: list[Wait]) -> dict[str, Cell]:
    """What are the mean and the quartiles of the waits told, and how many have not ended, or never will?"""
    told = sorted(wait.days for wait in waits if wait.days is not None)
    unended = [wait for wait in waits if wait.unended]
    return {
        "n": len(told),
        "mean_days": float(Fraction(sum(told), len(told))) if told else None,
        "median_days": quantile(told, Fraction(1, 2)),
        "q1_days": quantile(told, Fraction(1, 4)),
        "q3_days": quantile(told, Fraction(3, 4)),
        "units_not_yet": sum(not wait.finished for wait in unended),
        "units_lost": sum(wait.finished for wait in unended),
    }


def quantile(ascending: list[int], share: Fraction) -> float | None:
    """Below which value lies the share of the values, linearly interpolated?

    Type 7 of Hyndman & Fan 1996, The American Statistician 50(4):361-365: at (n - 1) x share, counted from 0.
    """
    if not ascending:
        return None
    at = (len(ascending) - 1) * share
    below = int(at)
    above = min(below + 1, len(ascending) - 1)
    return float(ascending[below] + (at - below) * (ascending[above] - ascending[below]))
