"""Whose a row is, and what became of it so far. The rules are the ledger's (models/ledger: located.sql, closings.sql,
derived_flushes.sql, warn_harvests.sql); tests hold the two against each other.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property
from typing import NamedTuple

from pipeline.farm.folder import Farm
from pipeline.farm.shelf_order import WALK, shelf_place
from pipeline.logbook.container_names import KnownNames
from pipeline.logbook.facts import MG_PER_G, FactsByKey, LineKind, median_mg, of_batch, split_lines
from pipeline.logbook.summaries import Summaries
from schemas.cell_format import CellFormat
from schemas.contract import BATCHES, FILLINGS, GROWING, HARVESTS, OBSERVATIONS
from schemas.own_weights import Given
from schemas.pickings import LEAST_PICKINGS, MOST_UNKNOWN_G, SLIPS, TIMES_LESS, TIMES_MORE


@dataclass(frozen=True)
class Assignment:
    """To what a row is assigned: a filling, or a batch as a whole (container ""). `day`: of inoculation, None where it
    is unknown.
    """

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


class Ending(NamedTuple):
    """When and by what an assignment ended: contaminated, emptied or refilled."""

    day: date
    event: str


class _Names(KnownNames):
    """The names that a table's files have. One is looked up alone; only going through all reads all."""

    def __init__(self, parts: Sequence[FactsByKey]) -> None:
        self._parts = parts

    def alike(self, name: str) -> list[str]:
        texts = [part.text(LineKind.ALIKE, name.casefold()) for part in self._parts]
        return list(dict.fromkeys(each for (each,) in split_lines(texts)))

    def __contains__(self, name: object) -> bool:
        return isinstance(name, str) and name in self.alike(name)

    @cached_property
    def _all(self) -> tuple[str, ...]:
        texts = (text for part in self._parts for text in part.whole().texts.get(LineKind.ALIKE, {}).values())
        return tuple(dict.fromkeys(each for (each,) in split_lines(texts)))

    def __iter__(self) -> Iterator[str]:
        return iter(self._all)

    def __len__(self) -> int:
        return len(self._all)


class _BatchDays(_Names, Mapping[str, "date | None"]):
    """When each batch was inoculated; of several rows, the day of the first that has one."""

    def __getitem__(self, name: str) -> date | None:
        lines = split_lines(part.text(LineKind.ROWS, name) for part in self._parts)
        if not lines and name not in self:
            raise KeyError(name)
        return next((date.fromisoformat(day) for (day,) in lines if day), None)


class Containers:
    """What the files say of containers, their fillings and batches, by the summaries of the files."""

    def __init__(self, farm: Farm, summaries: Summaries) -> None:
        self._farm = farm
        self._summaries = summaries
        self._parts: dict[str, list[FactsByKey]] = {}

    @property
    def cell_format(self) -> CellFormat:
        """How the farm writes its cells."""
        return self._farm.conventions.cell_format

    def _facts(self, table: str) -> list[FactsByKey]:
        if table not in self._parts:
            summaries = (each for each in self._summaries.values() if each.table == table and not each.trouble)
            self._parts[table] = [part for each in summaries for part in each.facts]
        return self._parts[table]

    @cached_property
    def troubles(self) -> list[str]:
        """Why files cannot be read: one sentence for each that cannot."""
        return [each.trouble for each in self._summaries.values() if each.trouble]

    @cached_property
    def batch_days(self) -> _BatchDays:
        """The batches that there are, and when each was inoculated."""
        return _BatchDays(self._facts(BATCHES))

    @cached_property
    def names(self) -> KnownNames:
        """The containers that were ever filled."""
        return _Names(self._facts(FILLINGS))

    def _lines(self, table: str, key: str) -> list[list[str]]:
        return split_lines(part.text(LineKind.ROWS, key) for part in self._facts(table))

    def _named_with(self, table: str, batch: str) -> list[str]:
        """Return the containers that rows of this table name beside this batch."""
        lines = split_lines(part.text(LineKind.NAMED, batch) for part in self._facts(table))
        return list(dict.fromkeys(name for (name,) in lines))

    def _read_all(self) -> None:
        """Read all that the files say at once, where nearly all of it is to be looked up."""
        for table in GROWING:
            self._parts[table] = [part.whole() for part in self._facts(table)]
        for name in ("batch_days", "names"):
            self.__dict__.pop(name, None)

    def fillings(self, container: str) -> list[Assignment]:
        """Return the fillings of this container, the latest last; those without a known day come first."""
        batches = {line[0] for line in self._lines(FILLINGS, container)}
        found = [Assignment(batch, container, self.batch_days.get(batch)) for batch in batches]
        return sorted(found, key=lambda each: (each.day or date.min, each.batch))

    def filled_from(self, batch: str) -> list[str]:
        """Return the containers that were filled from this batch."""
        return self._named_with(FILLINGS, batch)

    def running(self, day: date) -> list[Assignment]:
        """Return what is in the containers on this day and has not ended, in the order of the shelves."""
        self._read_all()
        found: list[tuple[dict[str, str], Assignment]] = []
        for container in self.names:
            held = self.held(container, day)
            end = self.end(held) if held else None
            if held is not None and (end is None or end.day > day):
                line = next(row for row in self._lines(FILLINGS, container) if row[0] == held.batch)
                place = dict(zip(WALK, (line[1], line[2], container, line[0]), strict=True))
                found.append((place, held))
        return [held for _, held in sorted(found, key=lambda each: shelf_place(each[0]))]

    def held(self, container: str, day: date) -> Assignment | None:
        """Return the filling that was in this container on this day: the latest that was inoculated before it."""
        dated = [each for each in self.fillings(container) if each.day is not None and each.day < day]
        return dated[-1] if dated else None

    def _is_of(self, assignment: Assignment, batch: str, day: date) -> bool:
        """Whether a row that names this container and this batch ("" for none) on this day belongs here."""
        if batch in self.batch_days or not assignment.batch:
            return batch == assignment.batch
        return self.held(assignment.container, day) == assignment

    def pickings(self, assignment: Assignment) -> list[Picking]:
        """Return what was picked here, in order of days."""
        if assignment.container:
            rows = self._lines(HARVESTS, assignment.container)
            rows = [row for row in rows if self._is_of(assignment, row[1], date.fromisoformat(row[0]))]
        else:
            rows = self._lines(HARVESTS, of_batch(assignment.batch)) + self._strays(HARVESTS, assignment.batch, 1)
        found = [Picking(date.fromisoformat(row[0]), int(row[2] or 0), Decimal(row[3]), row[4]) for row in rows]
        # A picking before the inoculation is set aside.
        sound = (each for each in found if not assignment.day or each.day >= assignment.day)
        return sorted(sound, key=lambda each: each.day)

    def _strays(self, table: str, batch: str, at: int) -> list[list[str]]:
        """Return the lines that name this batch and a container that is none of its fillings: they count for it as a
        whole. `at`: where the batch stands in a line.
        """
        own = set(self.filled_from(batch))
        others = [name for name in self._named_with(table, batch) if name not in own]
        return [row for name in others for row in self._lines(table, name) if row[at] == batch]

    def end(self, assignment: Assignment) -> Ending | None:
        """Return when and by what this ended; None while it runs."""
        ends = self._batch_ends(assignment.batch)
        if assignment.container:
            later = [each.day for each in self.fillings(assignment.container) if each.day and assignment.day]
            refilled = [day for day in later if assignment.day and day > assignment.day]
            ends += [Ending(day, "refilled") for day in refilled]
            for text, event, batch, _ in self._lines(OBSERVATIONS, assignment.container):
                day = date.fromisoformat(text)
                if self._is_of(assignment, batch, day):
                    # What is noted as contaminated after its container was filled anew was so by that day.
                    ends.append(Ending(min(day, *refilled) if event == "contaminated" and refilled else day, event))
        order = ("contaminated", "emptied", "refilled")
        return min(ends, key=lambda each: (each.day, order.index(each.event)), default=None)

    def _batch_ends(self, batch: str) -> list[Ending]:
        """Return the endings of all containers of a batch by observations of it as a whole. Those with a count end them
        when the counts add up to all.
        """
        rows = self._lines(OBSERVATIONS, of_batch(batch))
        rows += [[day, event, of, "1"] for day, event, of, _ in self._strays(OBSERVATIONS, batch, 2)]
        found: list[Ending] = []
        counted = 0
        fillings = len(self.filled_from(batch)) if rows else 0
        for day, event, _, count in sorted(rows):
            counted += int(count or 0)
            if not count or 0 < fillings <= counted:
                found.append(Ending(date.fromisoformat(day), event))
        return found

    def most_g(self, assignment: Assignment) -> float:
        """Return the most that one picking of this container can be, by its fill; of a batch weighed together, of all
        its containers.
        """
        names = [assignment.container] if assignment.container else self.filled_from(assignment.batch)
        lines = [line for name in names for line in self._lines(FILLINGS, name) if line[0] == assignment.batch]
        return sum(float(line[3] or MOST_UNKNOWN_G) for line in lines) or MOST_UNKNOWN_G * max(len(names), 1)

    def usual_g(self, together: bool) -> float | None:
        """Return what a picking usually weighs in g: the median, of containers, or of batches weighed together. None
        where few are known.
        """
        weights = [part.weights(together) for part in self._facts(HARVESTS)]
        return median_mg(weights) / MG_PER_G if sum(each.count for each in weights) >= LEAST_PICKINGS else None


def flush_of(pickings: Sequence[Picking], day: date, gap_days: int) -> int:
    """Return the flush of a picking of this day that names none, counted as derived_flushes.sql does."""
    flush, last = 1, None
    for picked in _days(pickings, day):
        if last is not None and (picked - last).days >= gap_days:
            flush += 1
        given = max(each.flush for each in pickings if each.day == picked)
        flush, last = given or flush, picked
    if last is not None and (day - last).days >= gap_days:
        flush += 1
    return flush


def given_before(pickings: Sequence[Picking], day: date, gap_days: int) -> list[Given]:
    """Return what these pickings gave until this day, in its order, each with its flush."""
    until = [each for each in pickings if each.day <= day]
    return [Given(each.flush or flush_of(until, each.day, gap_days), float(each.weight_g)) for each in until]


def _days(pickings: Iterable[Picking], until: date) -> list[date]:
    return sorted({each.day for each in pickings if each.day <= until})


def unlike_usual(weight_g: float, usual_g: float | None) -> str | None:
    """Return how this weight is unlike the usual one; None where it is not, or no usual one is known."""
    if usual_g is None:
        return None
    times = weight_g / usual_g
    if 1 / TIMES_LESS < times < TIMES_MORE:
        return None
    slip = min(SLIPS, key=lambda name: abs(math.log(times / SLIPS[name])))
    if times > 1:
        return f"{times:.0f} times the usual {usual_g:.0f} g ({slip}?)"
    return f"{1 / times:.0f} times less than the usual {usual_g:.0f} g (in {slip}?)"
