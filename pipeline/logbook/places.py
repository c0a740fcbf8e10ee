"""Whose is it, and what became of it so far? The rules are the ledger's (located.sql, closings.sql,
derived_flushes.sql, warn_harvests.sql); tests hold the two against each other.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property
from typing import Any

from pipeline.farm.folder import Farm
from pipeline.farm.shelf_order import WALK, in_order_of_shelves
from pipeline.logbook.summaries import Summaries, lines
from schemas.cell_format import CellFormat
from schemas.pickings import TIMES_LESS, TIMES_MORE

LEAST_PICKINGS = 5  # make a usual weight, as in warn_harvests.sql
SLIPS = {
    "kg": 0.001,
    "lb": 1 / 453.59237,
    "oz": 1 / 28.349523125,
    "one digit too many": 10.0,
    "two digits too many": 100.0,
    "three digits too many": 1000.0,
}


@dataclass(frozen=True)
class Place:
    """A filling, or a batch as a whole (container ""). `day`: of inoculation, None where it is unknown."""

    batch: str
    container: str
    day: date | None

    def __str__(self) -> str:
        if not self.container:
            return f"batch {self.batch}"
        return f"{self.container} (batch {self.batch})" if self.batch else self.container


@dataclass(frozen=True)
class Picking:
    """A picking that a file holds. `flush` is 0 where the cell is blank; `entry` only where it is young."""

    day: date
    flush: int
    weight_g: Decimal
    entry: str


class Places:
    """What the files say of fillings, batches and pickings, by the summaries of the files (see summaries.py)."""

    def __init__(self, farm: Farm, summaries: Summaries) -> None:
        self._farm = farm
        self._summaries = summaries

    @property
    def cell_format(self) -> CellFormat:
        """How does the farm write numbers?"""
        return self._farm.conventions.cell_format

    def _told(self, table: str, part: str) -> list[Any]:
        return [
            each["told"][part]
            for key, each in self._summaries.items()
            if key.startswith(f"{table}:") and not each["trouble"]
        ]

    @cached_property
    def troubles(self) -> list[str]:
        """Which files cannot be read, and why?"""
        return [each["trouble"] for each in self._summaries.values() if each["trouble"]]

    @cached_property
    def batch_days(self) -> dict[str, date | None]:
        """Which batches are there, and when was each inoculated?"""
        found: dict[str, date | None] = {}
        for days in self._told("batches", "days"):
            for name, day in days.items():
                found[name] = found.get(name) or (date.fromisoformat(day) if day else None)
        return found

    @cached_property
    def containers(self) -> tuple[str, ...]:
        """Which containers were ever filled?"""
        return tuple(dict.fromkeys(name for told in self._told("fillings", "containers") for name in told))

    def _lines(self, table: str, part: str, container: str) -> list[list[str]]:
        return lines(told.get(container, "") for told in self._told(table, part))

    def fillings(self, container: str) -> list[Place]:
        """From which batches was this container filled, the latest last? Those without a known day come first."""
        batches = {line[0] for line in self._lines("fillings", "containers", container)}
        found = [Place(batch, container, self.batch_days.get(batch)) for batch in batches]
        return sorted(found, key=lambda each: (each.day or date.min, each.batch))

    def filled_from(self, batch: str) -> list[str]:
        """Which containers were filled from this batch?"""
        told = self._told("fillings", "containers")
        return [name for name in self.containers if any(f"\n{batch}\t" in "\n" + each.get(name, "") for each in told)]

    def running(self, day: date) -> list[Place]:
        """What is in the containers on this day and has not ended, in the order of the shelves?"""
        found = []
        for container in self.containers:
            place = self.held(container, day)
            end = self.end(place) if place else None
            if place is not None and (end is None or end[0] > day):
                line = next(row for row in self._lines("fillings", "containers", container) if row[0] == place.batch)
                found.append({"place": place, **dict(zip(WALK, (line[1], line[2], container, line[0]), strict=True))})
        return [each["place"] for each in in_order_of_shelves(found)]

    def held(self, container: str, day: date) -> Place | None:
        """Which filling was in this container on this day? The latest that was inoculated before it."""
        dated = [each for each in self.fillings(container) if each.day is not None and each.day < day]
        return dated[-1] if dated else None

    def _is_of(self, place: Place, batch: str, day: date) -> bool:
        """Does a row that names the place's container and this batch ("" for none) on this day belong to the place?"""
        if batch in self.batch_days or not place.batch:
            return batch == place.batch
        return self.held(place.container, day) == place

    def pickings(self, place: Place) -> list[Picking]:
        """What was picked from this place, in order of days?"""
        rows = [
            row
            for row in self._lines("harvests", "places", place.container)
            if (self._is_of(place, row[1], date.fromisoformat(row[0])) if place.container else row[1] == place.batch)
        ]
        if not place.container:
            rows += self._strays("harvests", "places", place.batch, 1)
        found = [Picking(date.fromisoformat(row[0]), int(row[2] or 0), Decimal(row[3]), row[4]) for row in rows]
        # A picking before the inoculation is set aside.
        return sorted((each for each in found if not place.day or each.day >= place.day), key=lambda each: each.day)

    def _strays(self, table: str, part: str, batch: str, at: int) -> list[list[str]]:
        """Which rows name this batch and a container that is none of its fillings? They count for it as a whole."""
        own = set(self.filled_from(batch))
        texts = [
            text
            for told in self._told(table, part)
            for container, text in told.items()
            if container and container not in own and f"\t{batch}\t" in text
        ]
        return [row for row in lines(texts) if row[at] == batch]

    def end(self, place: Place) -> tuple[date, str] | None:
        """When and by what did this place end: contaminated, emptied or refilled? None while it runs."""
        ends = self._batch_ends(place.batch)
        if place.container:
            for day, event, batch, _ in self._lines("observations", "ends", place.container):
                if self._is_of(place, batch, date.fromisoformat(day)):
                    ends.append((date.fromisoformat(day), event))
            later = [each.day for each in self.fillings(place.container) if each.day and place.day]
            ends += [(day, "refilled") for day in later if place.day and day > place.day]
        order = ("contaminated", "emptied", "refilled")
        return min(ends, key=lambda each: (each[0], order.index(each[1])), default=None)

    def _batch_ends(self, batch: str) -> list[tuple[date, str]]:
        """On which days did observations of the batch as a whole end all its containers? Those with a count do when
        the counts add up to them.
        """
        rows = [row for row in self._lines("observations", "ends", "") if row[2] == batch]
        rows += [[day, event, of, "1"] for day, event, of, _ in self._strays("observations", "ends", batch, 2)]
        found: list[tuple[date, str]] = []
        counted = 0
        fillings = len(self.filled_from(batch)) if rows else 0
        for day, event, _, count in sorted(rows):
            counted += int(count or 0)
            if not count or 0 < fillings <= counted:
                found.append((date.fromisoformat(day), event))
        return found

    def usual_g(self, together: bool) -> float | None:
        """What does a picking usually weigh (the median; batches weighed together apart)? None where few are known."""
        told = self._told("harvests", "together" if together else "alone")
        weights = sorted(weight for each in told for weight in each)
        return weights[math.ceil(len(weights) / 2) - 1] if len(weights) >= LEAST_PICKINGS else None


def flush_of(pickings: Sequence[Picking], day: date, gap_days: int) -> int:
    """To which flush does a picking of this day belong, whose flush nobody told? As derived_flushes.sql counts."""
    flush, last = 1, None
    for picked in _days(pickings, day):
        if last is not None and (picked - last).days >= gap_days:
            flush += 1
        given = max(each.flush for each in pickings if each.day == picked)
        flush, last = given or flush, picked
    if last is not None and (day - last).days >= gap_days:
        flush += 1
    return flush


def _days(pickings: Iterable[Picking], until: date) -> list[date]:
    return sorted({each.day for each in pickings if each.day <= until})


def unlike(weight_g: float, usual_g: float | None) -> str | None:
    """How is this weight unlike the usual one? None where it is not, or none is known."""
    if usual_g is None:
        return None
    times = weight_g / usual_g
    if TIMES_LESS**-1 < times < TIMES_MORE:
        return None
    slip = min(SLIPS, key=lambda name: abs(math.log(times / SLIPS[name])))
    if times > 1:
        return f"{times:.0f} times the usual {usual_g:.0f} g ({slip}?)"
    return f"{1 / times:.0f} times less than the usual {usual_g:.0f} g (in {slip}?)"
