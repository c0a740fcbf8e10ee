"""Which containers each start takes: those that are free first, and which are not yet, by how long they stay filled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from heapq import heapify, heappop, heappush


@dataclass(frozen=True, order=True)
class Available:
    """A container that a start can take. free_in: days ahead from which on it is free; order: among those of one day;
    batch: what it holds until then, or held last.
    """

    free_in: int
    order: int
    container: str
    batch: str


@dataclass(frozen=True)
class Start:
    """A batch to be begun in so many days, in so many containers."""

    batch: str
    day: int
    containers: int


@dataclass(frozen=True)
class Allotment:
    """What a start takes. free: by its day; late: those that are not free by then; lacking: how many more it needs
    than the farm has.
    """

    free: tuple[Available, ...]
    late: tuple[Available, ...]
    lacking: int


def allotted(there: Sequence[Available], starts: Sequence[Start], filled_days: int) -> dict[str, Allotment]:
    """Return what each start takes, by its batch: day after day, those first that are free first. A container is free
    again filled_days after it was filled; one that is not free in time is not filled by that start.
    """
    heap = list(there)
    heapify(heap)
    found = {}
    for start in sorted(starts, key=lambda each: (each.day, each.batch)):
        mine = [heappop(heap) for _ in range(min(start.containers, len(heap)))]
        free = tuple(each for each in mine if each.free_in <= start.day)
        late = tuple(mine[len(free) :])
        found[start.batch] = Allotment(free, late, start.containers - len(mine))
        filled = [Available(start.day + filled_days, each.order, each.container, start.batch) for each in free]
        for each in (*filled, *late):
            heappush(heap, each)
    return found
