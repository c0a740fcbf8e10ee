"""What the logbook needs to know of each file, told once and kept beside the ledger: `logbook.json`.

Safe to delete: it is made from the files. A file is looked at again when its size or time differs, or when it was
changed close to its last reading; of one that only grew, only what was added is read.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from hashlib import sha256
from typing import Any

from pipeline.farm.folder import Farm, TableFile, table_files
from pipeline.files.replace import replace_file
from pipeline.logbook import cells
from pipeline.logbook.amounts import in_ours, plain
from pipeline.logbook.entries import written_ms
from pipeline.logbook.text_table import TextTable, read_text_table, without_totals
from schemas.cell_format import CellFormat
from schemas.contract import contract
from schemas.finding import UnreadableFile

LAYOUT = 1
SIDECAR = "logbook.json"
# A file changed within this time of its reading may have changed again within one tick of its time stamp.
FRESH_NS = 2_000_000_000
# Reading so many bytes again costs about as much as writing the sidecar: measured with `python -m tests.bench_weigh`.
WORTH_KEEPING = 100_000
# Only a repetition shortly after is asked about, so only young ids are kept.
YOUNG_MS = 3_600_000
ENDINGS = ("contaminated", "emptied")

# One file's summary, as JSON keeps it: mark (size, mtime in ns, when read in ns, hash), trouble (why it cannot be read,
# or ""), shape (how it is written, see _shape) and, by table, what _told_of gives.
Summary = dict[str, Any]
Summaries = dict[str, Summary]


def recall(farm: Farm) -> Summaries:
    """What was told of the farm's files last time? Nothing where no note of it can be used."""
    try:
        raw = json.loads((farm.folder / SIDECAR).read_bytes())
        if raw["layout"] == LAYOUT and raw["settings"] == farm.settings_hash:
            files: Summaries = raw["files"]
            return files
    except (OSError, ValueError, KeyError, TypeError):
        pass
    return {}


def keep(farm: Farm, summaries: Summaries) -> None:
    """Notes what is told of the files, whole or not at all. A note that cannot be written costs nothing but time."""
    path = farm.folder / SIDECAR
    noted = {"layout": LAYOUT, "settings": farm.settings_hash, "files": summaries}
    with suppress(OSError):
        replace_file(path, json.dumps(noted, separators=(",", ":")).encode())


def up_to_date(farm: Farm, known: Summaries) -> tuple[Summaries, int]:
    """What is to be told of the files as they are now? With how many bytes had to be looked at again."""
    found: Summaries = {}
    again = 0
    for source in table_files(farm.folder, farm.conventions.files):
        key = f"{source.table}:{source.name}"
        found[key], size = _current(farm, source, known.get(key))
        again += size
    return found, again


def _current(farm: Farm, source: TableFile, known: Summary | None) -> tuple[Summary, int]:
    try:
        now = os.stat(source.path)
        if known and known["mark"][:2] == [now.st_size, now.st_mtime_ns] and _settled(known["mark"]):
            return known, 0
        read_ns = time.time_ns()
        data = source.path.read_bytes()
    except OSError as problem:
        said = f"{source.name} cannot be opened ({problem.strerror or problem})."
        return {"mark": [0, 0, 0, ""], "trouble": said}, 0
    size = known["mark"][0] if known else 0
    added = data[size:]
    mark = [len(data), now.st_mtime_ns, read_ns, sha256(data).hexdigest()]
    if known and not known["trouble"] and sha256(data[:size]).hexdigest() == known["mark"][3]:
        if not added:
            return {**known, "mark": mark}, 0
        if grown := _grown(farm, source, known, added):
            return {**grown, "mark": mark}, len(added)
    return {**_summary(farm, source, data), "mark": mark}, len(data)


def _settled(mark: Sequence[int]) -> bool:
    return bool(mark[1] < mark[2] - FRESH_NS)


def _summary(farm: Farm, source: TableFile, data: bytes) -> Summary:
    try:
        sheet = read_text_table(source, data, farm.conventions)
    except UnreadableFile as problem:
        return {"trouble": problem.findings[0].sentence()}
    shape = _shape(sheet, data, {"rows": 0, "alike": "", "empty": True})
    return {"trouble": "", "shape": shape, "told": _told_of(farm, source.table, sheet)}


def _grown(farm: Farm, source: TableFile, known: Summary, added: bytes) -> Summary | None:
    """What is told of a file that only grew, from what was told before and what was added? None where that is not
    enough to tell.
    """
    before = known["shape"]
    odd = b'"' in added or b"\0" in added or (b"\r" in added) != (before["line_end"] == "\r\n")
    if odd or before["workbook"] or before["total"] or not before["ended"]:
        return None
    try:
        text = added.decode("utf-8")
    except UnicodeDecodeError:
        return None
    lines_added = text.removesuffix("\n").split("\n")
    rows = [line.removesuffix("\r").split(before["separator"]) for line in lines_added]
    entries = without_totals(source.table, before["at"], rows)
    header = before["at"], before["units"], before["row"], before["header"]
    sheet = TextTable(*header, entries, len(rows), before["separator"])
    told = _told_of(farm, source.table, sheet)
    return {
        "trouble": "",
        "shape": {**_shape(sheet, added, before), "line_end": before["line_end"]},
        "told": _joined(known["told"], told),
    }


def _shape(sheet: TextTable, data: bytes, before: Mapping[str, Any]) -> dict[str, Any]:
    """How is the file written? `row` the header's and `rows` how many stand below it, as the spreadsheet counts;
    `alike` the last day as written; `total` whether the last row adds up the others; `ended` by a line end.
    """
    last = next((row for row in reversed(sheet.rows) if any(cell.strip() for cell in row)), ())
    days = [cell for name in ("picked_on", "seen_on", "inoculated_on") if (cell := sheet.cell(last, name))]
    return {
        "at": sheet.at,
        "units": sheet.units,
        "row": sheet.row,
        "rows": before["rows"] + sheet.height,
        "header": list(sheet.header),
        "separator": sheet.separator,
        "line_end": sheet.line_end,
        "workbook": sheet.workbook,
        "alike": days[0] if days else before["alike"],
        "total": sheet.ends_with_totals,
        "ended": data.endswith((b"\n", b"\r")),
        "empty": before["empty"] and sheet.empty,
    }


def _joined(before: Mapping[str, Any], added: Mapping[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for part, value in before.items():
        if isinstance(value, list):
            found[part] = value + added[part]
        else:
            found[part] = {**value}
            for key, text in added[part].items():
                found[part][key] = found[part].get(key, "") + text
    return found


def _told_of(farm: Farm, table: str, sheet: TextTable) -> dict[str, Any]:
    cell_format = farm.conventions.cell_format
    if table == "batches":
        return {"days": _days_of_batches(sheet, cell_format)}
    if table == "fillings":
        return {"containers": _fillings(sheet, cell_format)}
    if table == "observations":
        return {"ends": _ends(sheet, cell_format)}
    return _pickings(sheet, cell_format)


def _field(text: str) -> str:
    """A cell's text as one part of a line: without the marks that part lines and their parts."""
    return " ".join(text.split("\t")).replace("\n", " ").replace("\r", " ") if not text.isprintable() else text


def name_of(cell: str, cell_format: CellFormat) -> str:
    """Which name stands in this cell, as names are compared here?"""
    return _field(cells.text(cell, cell_format))


def _days_of_batches(sheet: TextTable, cell_format: CellFormat) -> dict[str, str]:
    """When was each batch inoculated? "" where that is not known; of several rows the first that tells it."""
    found: dict[str, str] = {}
    for row in sheet.rows:
        name, day = (
            name_of(sheet.cell(row, "batch"), cell_format),
            cells.day(sheet.cell(row, "inoculated_on"), cell_format),
        )
        if name:
            found[name] = found.get(name) or (day.isoformat() if day else "")
    return found


def _fillings(sheet: TextTable, cell_format: CellFormat) -> dict[str, str]:
    """What was each container filled with? One line a filling: batch, room, position."""
    found: dict[str, list[str]] = {}
    for row in sheet.rows:
        parts = [name_of(sheet.cell(row, name), cell_format) for name in ("batch", "room", "position")]
        container = name_of(sheet.cell(row, "container"), cell_format)
        if parts[0] and container:
            found.setdefault(container, []).append("\t".join(parts) + "\n")
    return {container: "".join(lines) for container, lines in found.items()}


def _ends(sheet: TextTable, cell_format: CellFormat) -> dict[str, str]:
    """What ended, by container ("" where none is named)? One line an event: day, event, batch, count."""
    event_field = contract("observations").field("event")
    known: dict[str, str | None] = {}
    found: dict[str, list[str]] = {}
    for row in sheet.rows:
        said = sheet.cell(row, "event")
        if said not in known:
            known[said] = cells.word(said, event_field, cell_format)
        event, day = known[said], cells.day(sheet.cell(row, "seen_on"), cell_format)
        if event not in ENDINGS or day is None:
            continue
        batch, container = (name_of(sheet.cell(row, name), cell_format) for name in ("batch", "container"))
        count = cells.whole(sheet.cell(row, "count"), cell_format) or ""
        found.setdefault(container, []).append(f"{day.isoformat()}\t{event}\t{batch}\t{count}\n")
    return {container: "".join(lines) for container, lines in found.items()}


def _pickings(sheet: TextTable, cell_format: CellFormat) -> dict[str, Any]:
    """What was picked, by container ("" where none is named), one line a picking: day, batch, flush, weight in g, id
    (young ones only)? And all weights: of containers, and of batches weighed together.
    """
    young = time.time_ns() // 1_000_000 - YOUNG_MS
    unit = sheet.units.get("fresh_weight_g", "g")
    weights: dict[str, str | None] = {}
    found: dict[str, list[str]] = {}
    alone: list[float] = []
    together: list[float] = []
    for row in sheet.rows:
        said = sheet.cell(row, "fresh_weight_g")
        if said not in weights:
            read = cells.quantity(said, cell_format)
            weights[said] = f"{plain(round(in_ours(read, unit, 'g'), 3)):f}" if read is not None and read > 0 else None
        weight, day = weights[said], cells.day(sheet.cell(row, "picked_on"), cell_format)
        if weight is None or day is None:
            continue
        batch, container = (name_of(sheet.cell(row, name), cell_format) for name in ("batch", "container"))
        flush, entry = cells.whole(sheet.cell(row, "flush"), cell_format) or "", sheet.cell(row, "entry")
        entry = entry if (written_ms(entry) or 0) > young else ""
        found.setdefault(container, []).append(f"{day.isoformat()}\t{batch}\t{flush}\t{weight}\t{entry}\n")
        (alone if container else together).append(float(weight))
    places = {container: "".join(lines) for container, lines in found.items()}
    return {"places": places, "alone": sorted(alone), "together": sorted(together)}


def lines(texts: Iterable[str]) -> list[list[str]]:
    """The lines of these texts, each as its parts."""
    return [line.split("\t") for text in texts for line in text.split("\n") if line]
