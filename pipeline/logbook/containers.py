"""Whose a row is, and what became of it so far. The rules are the ledger's (models/ledger: located.sql, closings.sql,
derived_flushes.sql, warn_harvests.sql); tests hold the two against each other.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property
from typing import NamedTuple

from pipeline.farm.folder import Farm
from pipeline.farm.shelf_order import WALK, shelf_place
from pipeline.logbook.facts import FileFacts, split_lines
from pipeline.logbook.summaries import Summaries
from schemas.cell_format import CellFormat
from schemas.contract import BATCHES, FILLINGS, HARVESTS, OBSERVATIONS
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


class Containers:
    """What the files say of containers, their fillings and batches, by the summaries of the files."""

    def __init__(self, farm: Farm, summaries: Summaries) -> None:
        self._farm = farm
        self._summaries = summaries

    @property
    def cell_format(self) -> CellFormat:
        """How the farm writes its cells."""
        return self._farm.conventions.cell_format

    def _facts(self, table: str) -> list[FileFacts]:
        return [each.facts for each in self._summaries.values() if each.table == table and not each.trouble]

    @cached_property
    def troubles(self) -> list[str]:
        """Why files cannot be read: one sentence for each that cannot."""
        return [each.trouble for each in self._summaries.values() if each.trouble]

    @cached_property
    def batch_days(self) -> dict[str, date | None]:
        """The batches that there are, and when each was inoculated."""
        found: dict[str, date | None] = {}
        for facts in self._facts(BATCHES):
            for name, day in facts.batch_days.items():
                found[name] = found.get(name) or (date.fromisoformat(day) if day else None)
        return found

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The containers that were ever filled."""
        return tuple(dict.fromkeys(name for facts in self._facts(FILLINGS) for name in facts.fillings))

    def _filling_lines(self, container: str) -> list[list[str]]:
        return split_lines(facts.fillings.get(container, "") for facts in self._facts(FILLINGS))

    def _end_lines(self, container: str) -> list[list[str]]:
        return split_lines(facts.ends.get(container, "") for facts in self._facts(OBSERVATIONS))

    def _picking_lines(self, container: str) -> list[list[str]]:
        return split_lines(facts.pickings.get(container, "") for facts in self._facts(HARVESTS))

    def fillings(self, container: str) -> list[Assignment]:
        """Return the fillings of this container, the latest last; those without a known day come first."""
        batches = {line[0] for line in self._filling_lines(container)}
        found = [Assignment(batch, container, self.batch_days.get(batch)) for batch in batches]
        return sorted(found, key=lambda each: (each.day or date.min, each.batch))

    def filled_from(self, batch: str) -> list[str]:
        """Return the containers that were filled from this batch."""
        texts = [facts.fillings for facts in self._facts(FILLINGS)]
        return [name for name in self.names if any(f"\n{batch}\t" in "\n" + each.get(name, "") for each in texts)]

    def running(self, day: date) -> list[Assignment]:
        """Return what is in the containers on this day and has not ended, in the order of the shelves."""
        found: list[tuple[dict[str, str], Assignment]] = []
        for container in self.names:
            held = self.held(container, day)
            end = self.end(held) if held else None
            if held is not None and (end is None or end.day > day):
                line = next(row for row in self._filling_lines(container) if row[0] == held.batch)
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
        rows = self._picking_lines(assignment.container)
        if assignment.container:
            rows = [row for row in rows if self._is_of(assignment, row[1], date.fromisoformat(row[0]))]
        else:
            rows = [row for row in rows if row[1] == assignment.batch]
            rows += self._strays([facts.pickings for facts in self._facts(HARVESTS)], assignment.batch, 1)
        found = [Picking(date.fromisoformat(row[0]), int(row[2] or 0), Decimal(row[3]), row[4]) for row in rows]
        # A picking before the inoculation is set aside.
        sound = (each for each in found if not assignment.day or each.day >= assignment.day)
        return sorted(sound, key=lambda each: each.day)

    def _strays(self, files: Sequence[Mapping[str, str]], batch: str, at: int) -> list[list[str]]:
        """Return the lines that name this batch and a container that is none of its fillings: they count for it as a
        whole. `at`: where the batch stands in a line.
        """
        own = set(self.filled_from(batch))
        texts = [
            text
            for each in files
            for container, text in each.items()
            if container and container not in own and f"\t{batch}\t" in text
        ]
        return [row for row in split_lines(texts) if row[at] == batch]

    def end(self, assignment: Assignment) -> Ending | None:
        """Return when and by what this ended; None while it runs."""
        ends = self._batch_ends(assignment.batch)
        if assignment.container:
            later = [each.day for each in self.fillings(assignment.container) if each.day and assignment.day]
            refilled = [day for day in later if assignment.day and day > assignment.day]
            ends += [Ending(day, "refilled") for day in refilled]
            for text, event, batch, _ in self._end_lines(assignment.container):
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
        rows = [row for row in self._end_lines("") if row[2] == batch]
        strays = self._strays([facts.ends for facts in self._facts(OBSERVATIONS)], batch, 2)
        rows += [[day, event, of, "1"] for day, event, of, _ in strays]
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
        lines = [line for name in names for line in self._filling_lines(name) if line[0] == assignment.batch]
        return sum(float(line[3] or MOST_UNKNOWN_G) for line in lines) or MOST_UNKNOWN_G * max(len(names), 1)

    def usual_g(self, together: bool) -> float | None:
        """Return what a picking usually weighs in g: the median, of containers, or of batches weighed together. None
        where few are known.
        """
        facts = self._facts(HARVESTS)
        weights = sorted(weight for each in facts for weight in (each.together if together else each.alone))
        return weights[math.ceil(len(weights) / 2) - 1] if len(weights) >= LEAST_PICKINGS else None


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
