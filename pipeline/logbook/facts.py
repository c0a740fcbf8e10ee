"""What one file says that an entry may depend on: days of batches, fillings, endings, pickings and their weights.

Rows stand here as lines of text, parted by tabs, by container: that is quick to save, to load and to join.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from pipeline.farm.folder import Farm
from pipeline.logbook import cells
from pipeline.logbook.amounts import in_ours, plain
from pipeline.logbook.entry_ids import entry_time_ms
from pipeline.logbook.text_table import TextTable
from schemas.cell_format import CellFormat
from schemas.contract import BATCHES, FILLINGS, OBSERVATIONS, contract
from schemas.pickings import MOST_PER_DRY_KG_G, MOST_PER_KG_G, MOST_PER_LITRE_G

# Only a repetition shortly after is asked about, so only young ids are kept.
YOUNG_MS = 3_600_000
# So many g for each kg or litre of these columns, the best known first.
MOST_G = {"substrate_dry_kg": MOST_PER_DRY_KG_G, "fill_kg": MOST_PER_KG_G, "volume_l": MOST_PER_LITRE_G}
ENDINGS = ("contaminated", "emptied")


@dataclass(frozen=True)
class FileFacts:
    """What a file says; empty where its table says nothing of the kind.

    `batch_days`: when each batch was inoculated, "" where that is not known. By container ("" where none is named),
    one line each: `fillings` (batch, room, position, the most in g that one picking of it can be), `ends` (day, event,
    batch, count), `pickings` (day, batch, flush, weight in g, entry id while it is young). All weights in g: `alone` of
    containers, `together` of batches.
    """

    batch_days: Mapping[str, str] = field(default_factory=dict)
    fillings: Mapping[str, str] = field(default_factory=dict)
    ends: Mapping[str, str] = field(default_factory=dict)
    pickings: Mapping[str, str] = field(default_factory=dict)
    alone: list[float] = field(default_factory=list)
    together: list[float] = field(default_factory=list)

    def joined(self, added: FileFacts) -> FileFacts:
        """Return these facts with those of the rows that were added below."""
        return FileFacts(
            {**self.batch_days, **{name: self.batch_days.get(name) or day for name, day in added.batch_days.items()}},
            _joined(self.fillings, added.fillings),
            _joined(self.ends, added.ends),
            _joined(self.pickings, added.pickings),
            self.alone + added.alone,
            self.together + added.together,
        )


def _joined(before: Mapping[str, str], added: Mapping[str, str]) -> dict[str, str]:
    return {**before, **{key: before.get(key, "") + text for key, text in added.items()}}


def facts_of(name: str, table: TextTable, farm: Farm) -> FileFacts:
    """Return what the rows of this file say. `name`: of its table."""
    cell_format = farm.conventions.cell_format
    if name == BATCHES:
        return FileFacts(batch_days=_batch_days(table, cell_format))
    if name == FILLINGS:
        return FileFacts(fillings=_fillings(table, cell_format))
    if name == OBSERVATIONS:
        return FileFacts(ends=_ends(table, cell_format))
    return _pickings(table, cell_format)


def split_lines(texts: Iterable[str]) -> list[list[str]]:
    """Return the lines of these texts of Facts, each as its parts."""
    return [line.split("\t") for text in texts for line in text.split("\n") if line]


def _part(text: str) -> str:
    """Return a cell's text without the marks that part lines and their parts."""
    return " ".join(text.split("\t")).replace("\n", " ").replace("\r", " ") if not text.isprintable() else text


def _name(table: TextTable, row: Sequence[str], column: str, cell_format: CellFormat) -> str:
    return _part(cells.text(table.cell(row, column), cell_format))


def _batch_days(table: TextTable, cell_format: CellFormat) -> dict[str, str]:
    """Return the day of each batch; of several rows, that of the first that has one."""
    found: dict[str, str] = {}
    for row in table.rows:
        name = _name(table, row, "batch", cell_format)
        day = cells.day(table.cell(row, "inoculated_on"), cell_format)
        if name:
            found[name] = found.get(name) or (day.isoformat() if day else "")
    return found


def _fillings(table: TextTable, cell_format: CellFormat) -> dict[str, str]:
    found: dict[str, list[str]] = {}
    for row in table.rows:
        parts = [_name(table, row, name, cell_format) for name in ("batch", "room", "position")]
        container = _name(table, row, "container", cell_format)
        parts.append(_most_g(table, row, cell_format))
        if parts[0] and container:
            found.setdefault(container, []).append("\t".join(parts) + "\n")
    return {container: "".join(lines) for container, lines in found.items()}


def _most_g(table: TextTable, row: Sequence[str], cell_format: CellFormat) -> str:
    """Return the most that one picking of this filling can be, by what it holds; "" where nothing of that is known."""
    for column, each_g in MOST_G.items():
        read = cells.quantity(table.cell(row, column), cell_format)
        if read is not None and read > 0:
            ours = contract(FILLINGS).field(column).unit or ""
            return f"{plain(round(in_ours(read, table.units.get(column, ours), ours) * each_g, 0)):f}"
    return ""


def _ends(table: TextTable, cell_format: CellFormat) -> dict[str, str]:
    event_field = contract(OBSERVATIONS).field("event")
    known: dict[str, str | None] = {}
    found: dict[str, list[str]] = {}
    for row in table.rows:
        text = table.cell(row, "event")
        if text not in known:
            known[text] = cells.word(text, event_field, cell_format)
        event, day = known[text], cells.day(table.cell(row, "seen_on"), cell_format)
        if event not in ENDINGS or day is None:
            continue
        batch, container = (_name(table, row, name, cell_format) for name in ("batch", "container"))
        count = cells.whole(table.cell(row, "count"), cell_format) or ""
        found.setdefault(container, []).append(f"{day.isoformat()}\t{event}\t{batch}\t{count}\n")
    return {container: "".join(lines) for container, lines in found.items()}


def _pickings(table: TextTable, cell_format: CellFormat) -> FileFacts:
    young = time.time_ns() // 1_000_000 - YOUNG_MS
    unit = table.units.get("fresh_weight_g", "g")
    weights: dict[str, str | None] = {}
    found: dict[str, list[str]] = {}
    alone: list[float] = []
    together: list[float] = []
    for row in table.rows:
        text = table.cell(row, "fresh_weight_g")
        if text not in weights:
            read = cells.quantity(text, cell_format)
            weights[text] = f"{plain(round(in_ours(read, unit, 'g'), 3)):f}" if read is not None and read > 0 else None
        weight, day = weights[text], cells.day(table.cell(row, "picked_on"), cell_format)
        if weight is None or day is None:
            continue
        batch, container = (_name(table, row, name, cell_format) for name in ("batch", "container"))
        flush, entry = cells.whole(table.cell(row, "flush"), cell_format) or "", table.cell(row, "entry")
        entry = entry if (entry_time_ms(entry) or 0) > young else ""
        found.setdefault(container, []).append(f"{day.isoformat()}\t{batch}\t{flush}\t{weight}\t{entry}\n")
        (alone if container else together).append(float(weight))
    pickings = {container: "".join(lines) for container, lines in found.items()}
    return FileFacts(pickings=pickings, alone=sorted(alone), together=sorted(together))
