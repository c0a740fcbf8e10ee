"""Which files are read together, and in which order they are begun, so that memory is bounded."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from itertools import groupby

from pipeline.farm.folder import TableFile

# Files of a table are taken together up to about this many bytes: large enough to be quick, small enough for memory.
PORTION_BYTES = 6_000_000
# A portion of so many bytes takes so much memory that two at a time are avoided: our choice, no source.
LARGE_BYTES = 4 * PORTION_BYTES


def portions_of(files: Sequence[TableFile]) -> list[list[TableFile]]:
    """Return these files, those of a table together up to PORTION_BYTES."""
    portions: list[list[TableFile]] = []
    for _, of_table in groupby(files, key=lambda source: source.table):
        size = PORTION_BYTES
        for source in of_table:
            if size >= PORTION_BYTES:
                portions.append([])
                size = 0
            portions[-1].append(source)
            size += size_of(source)
    return portions


def large_apart(portions: Sequence[Sequence[TableFile]]) -> list[int]:
    """Return the places of these portions in the order in which they are begun: behind a large one, smaller ones until
    it is likely to be done, so that two large ones are not in memory together.
    """
    sizes = [sum(size_of(source) for source in portion) for portion in portions]
    smaller = deque(at for at, size in enumerate(sizes) if size < LARGE_BYTES)
    order: list[int] = []
    for large in (at for at, size in enumerate(sizes) if size >= LARGE_BYTES):
        order.append(large)
        meanwhile = 0
        while smaller and meanwhile < sizes[large]:
            order.append(smaller.popleft())
            meanwhile += sizes[order[-1]]
    return [*order, *smaller]


def size_of(source: TableFile) -> int:
    """Return how many bytes a file has; 0 where that cannot be found out."""
    try:
        return source.path.stat().st_size
    except OSError:
        return 0  # reading it tells what is wrong with it
