"""What one file says that an entry may depend on: days of batches, fillings, endings, pickings and their weights.

Rows stand here as lines of text, parted by tabs, by key: that is quick to save and to join, and one key is read alone.
"""

from __future__ import annotations

import time
from array import array
from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from itertools import accumulate
from typing import Protocol

from pipeline.farm.folder import Farm
from pipeline.logbook import cells
from pipeline.logbook.amounts import in_ours, plain
from pipeline.logbook.entry_ids import entry_time_ms
from pipeline.logbook.text_table import TextTable
from schemas.cell_format import CellFormat
from schemas.contract import BATCHES, BOOKS, FILLINGS, OBSERVATIONS, contract
from schemas.pickings import MOST_PER_DRY_KG_G, MOST_PER_KG_G, MOST_PER_LITRE_G

# Only a repetition shortly after is asked about, so only young ids are kept.
YOUNG_MS = 3_600_000
# So many g for each kg or litre of these columns, the best known first.
MOST_G = {"substrate_dry_kg": MOST_PER_DRY_KG_G, "fill_kg": MOST_PER_KG_G, "volume_l": MOST_PER_LITRE_G}
ENDINGS = ("contaminated", "emptied")
MG_PER_G = 1000


class LineKind(StrEnum):
    """What is looked up by a key.

    ROWS: of batches, by batch: day of inoculation, "" where it is not known. By container, or where none is named by
    `of_batch`: of fillings batch, room, position, the most in g that one picking of it can be; of observations day,
    event, batch, count; of harvests day, batch, flush, weight in g, entry id while it is young. NAMED: the containers
    that rows name beside this batch. ALIKE: by a batch or a filled container without regard to case, as it is written.
    """

    ROWS = "rows"
    NAMED = "named"
    ALIKE = "alike"


def of_batch(batch: str) -> str:
    """Return the key of rows that name a batch and no container. No name holds a tab."""
    return f"\t{batch}"


@dataclass(frozen=True)
class Weights:
    """Weights of pickings: the distinct ones in mg, sorted, and how many are at most so much each."""

    mg: array[int] = field(default_factory=lambda: array("q"))
    up_to: array[int] = field(default_factory=lambda: array("q"))

    @classmethod
    def of(cls, counts: Mapping[int, int]) -> Weights:
        """Return these weights. `counts`: how many are of so many mg."""
        mg = sorted(counts)
        return cls(array("q", mg), array("q", accumulate(counts[each] for each in mg)))

    @property
    def count(self) -> int:
        """How many weights there are."""
        return self.up_to[-1] if self.up_to else 0

    def at_most(self, mg: int) -> int:
        """Return how many weights are at most so much."""
        at = bisect_right(self.mg, mg)
        return self.up_to[at - 1] if at else 0

    def joined(self, added: Weights) -> Weights:
        """Return these weights and those."""
        if not added.mg:
            return self
        counts = Counter[int]()
        for each in (self, added):
            before = [0, *each.up_to]
            counts.update({mg: each.up_to[at] - before[at] for at, mg in enumerate(each.mg)})
        return Weights.of(counts)


def median_mg(all_weights: Sequence[Weights]) -> int:
    """Return the median of all of these weights, the lower of two in the middle. There must be one."""
    wanted = -(-sum(each.count for each in all_weights) // 2)
    low, high = 0, max(each.mg[-1] for each in all_weights if each.mg)
    while low < high:
        middle = (low + high) // 2
        enough = sum(each.at_most(middle) for each in all_weights) >= wanted
        low, high = (low, middle) if enough else (middle + 1, high)
    return low


class FactsByKey(Protocol):
    """What a file, or a part of it, says, wherever that stands."""

    def text(self, kind: LineKind, key: str) -> str:
        """Return the lines of this key; "" where there are none."""

    def whole(self) -> FileFacts:
        """Return all of it."""

    def weights(self, together: bool) -> Weights:
        """Return the weights of pickings of containers; `together`: of batches weighed together."""


@dataclass(frozen=True)
class FileFacts:
    """What a file says, in memory: lines by kind and key, weights `alone` of containers, `together` of batches."""

    texts: Mapping[LineKind, Mapping[str, str]] = field(default_factory=dict)
    alone: Weights = field(default_factory=Weights)
    together: Weights = field(default_factory=Weights)

    def text(self, kind: LineKind, key: str) -> str:
        """Return the lines of this key; "" where there are none."""
        return self.texts.get(kind, {}).get(key, "")

    def whole(self) -> FileFacts:
        """Return all of it."""
        return self

    def weights(self, together: bool) -> Weights:
        """Return the weights of pickings of containers; `together`: of batches weighed together."""
        return self.together if together else self.alone

    def joined(self, added: FileFacts) -> FileFacts:
        """Return these facts with those of the rows that were added below."""
        texts = {kind: _joined(self.texts.get(kind, {}), added.texts.get(kind, {})) for kind in LineKind}
        return FileFacts(texts, self.alone.joined(added.alone), self.together.joined(added.together))


def _joined(before: Mapping[str, str], added: Mapping[str, str]) -> Mapping[str, str]:
    return {**before, **{key: before.get(key, "") + text for key, text in added.items()}} if added else before


@dataclass(frozen=True)
class CellReader:
    """What the cells of one file say, as texts of facts; None for a cell that says nothing of the kind."""

    cell_format: CellFormat
    units: Mapping[str, str]

    def name(self, cell: str) -> str:
        """Return a batch, container, room or position without the marks that part lines and their parts."""
        text = cells.text(cell, self.cell_format)
        return text if text.isprintable() else " ".join(text.split("\t")).replace("\n", " ").replace("\r", " ")

    def day(self, cell: str) -> str | None:
        """Return the day that is written here."""
        day = cells.day(cell, self.cell_format)
        return day.isoformat() if day else None

    def whole(self, cell: str) -> str | None:
        """Return the flush, or the count of containers; None for 0 too."""
        return str(cells.whole(cell, self.cell_format) or "") or None

    def ending(self, cell: str) -> str | None:
        """Return the event, where it ends what it is of."""
        event = cells.word(cell, contract(OBSERVATIONS).field("event"), self.cell_format)
        return event if event in ENDINGS else None

    def weight(self, cell: str) -> str | None:
        """Return the weight in g, to a thousandth; None for one that is not above 0 too."""
        read = cells.quantity(cell, self.cell_format)
        unit = self.units.get("fresh_weight_g", "g")
        return f"{plain(round(in_ours(read, unit, 'g'), 3)):f}" if read is not None and read > 0 else None

    def most_g(self, column: str, cell: str) -> str:
        """Return the most that one picking can be of a filling of this weight or volume; "" where that says nothing."""
        read = cells.quantity(cell, self.cell_format)
        if read is None or read <= 0:
            return ""
        ours = contract(FILLINGS).field(column).unit or ""
        return f"{plain(round(in_ours(read, self.units.get(column, ours), ours) * MOST_G[column], 0)):f}"


def mg_of(weight_g: str) -> int:
    """Return this weight of a row of facts in mg."""
    grams, _, rest = weight_g.partition(".")
    return int(grams) * MG_PER_G + int(f"{rest:0<3}")


def facts_of(name: str, table: TextTable, farm: Farm) -> FileFacts:
    """Return what the rows of this file say. `name`: of its table."""
    read = CellReader(farm.conventions.cell_format, table.units)
    if name in BOOKS:
        return FileFacts()
    if name == BATCHES:
        days = ((key, read.day(table.cell(row, "inoculated_on")) or "") for key, row in _named(table, read, "batch"))
        rows = list(days)
        return FileFacts({LineKind.ROWS: _by_key(rows), LineKind.ALIKE: _by_key(_alike(rows))})
    if name == FILLINGS:
        return _fillings(table, read)
    return _ends(table, read) if name == OBSERVATIONS else _pickings(table, read)


def split_lines(texts: Iterable[str]) -> list[list[str]]:
    """Return the lines of these texts of facts, each as its parts."""
    return [line.split("\t") for text in texts for line in text.split("\n") if line]


def _named(table: TextTable, read: CellReader, column: str) -> Iterable[tuple[str, Sequence[str]]]:
    """Yield the rows that have a name in this column, each with it."""
    return ((name, row) for row in table.rows if (name := read.name(table.cell(row, column))))


def _by_key(lines: Iterable[tuple[str, str]]) -> dict[str, str]:
    found: dict[str, list[str]] = {}
    for key, line in lines:
        found.setdefault(key, []).append(f"{line}\n")
    return {key: "".join(each) for key, each in found.items()}


def _alike(rows: Iterable[tuple[str, str]]) -> list[tuple[str, str]]:
    return [(name.casefold(), name) for name in dict.fromkeys(name for name, _ in rows)]


def _fillings(table: TextTable, read: CellReader) -> FileFacts:
    rows: list[tuple[str, str]] = []
    named: dict[tuple[str, str], None] = {}
    for container, row in _named(table, read, "container"):
        batch, room, position = (read.name(table.cell(row, name)) for name in ("batch", "room", "position"))
        if batch:
            each_most = (read.most_g(column, table.cell(row, column)) for column in MOST_G)
            rows.append((container, f"{batch}\t{room}\t{position}\t{next(filter(None, each_most), '')}"))
            named[batch, container] = None
    return FileFacts(
        {LineKind.ROWS: _by_key(rows), LineKind.NAMED: _by_key(named), LineKind.ALIKE: _by_key(_alike(rows))}
    )


def _ends(table: TextTable, read: CellReader) -> FileFacts:
    events: dict[str, str | None] = {}
    rows: list[tuple[str, str]] = []
    named: dict[tuple[str, str], None] = {}
    for row in table.rows:
        text = table.cell(row, "event")
        if text not in events:
            events[text] = read.ending(text)
        event, day = events[text], read.day(table.cell(row, "seen_on"))
        if event and day:
            batch, container = (read.name(table.cell(row, name)) for name in ("batch", "container"))
            count = read.whole(table.cell(row, "count")) or ""
            rows.append((container or of_batch(batch), f"{day}\t{event}\t{batch}\t{count}"))
            if batch and container:
                named[batch, container] = None
    return FileFacts({LineKind.ROWS: _by_key(rows), LineKind.NAMED: _by_key(named)})


def youngest_ms() -> int:
    """Return the time (ms since 1970) after which an entry is young."""
    return time.time_ns() // 1_000_000 - YOUNG_MS


def _pickings(table: TextTable, read: CellReader) -> FileFacts:
    young = youngest_ms()
    texts: dict[str, str | None] = {}
    rows: list[tuple[str, str]] = []
    named: dict[tuple[str, str], None] = {}
    counts = (Counter[int](), Counter[int]())
    for row in table.rows:
        text = table.cell(row, "fresh_weight_g")
        if text not in texts:
            texts[text] = read.weight(text)
        weight, day = texts[text], read.day(table.cell(row, "picked_on"))
        if weight and day:
            batch, container = (read.name(table.cell(row, name)) for name in ("batch", "container"))
            flush, entry = read.whole(table.cell(row, "flush")) or "", table.cell(row, "entry")
            entry = entry if (entry_time_ms(entry) or 0) > young else ""
            rows.append((container or of_batch(batch), f"{day}\t{batch}\t{flush}\t{weight}\t{entry}"))
            counts[not container][mg_of(weight)] += 1
            if batch and container:
                named[batch, container] = None
    alone, together = map(Weights.of, counts)
    return FileFacts({LineKind.ROWS: _by_key(rows), LineKind.NAMED: _by_key(named)}, alone, together)
