"""Which entry is meant: by its id, by file and row, or by container or batch and day."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from pipeline.farm.folder import Farm, TableFile, table_files
from pipeline.farm.ready_command import typed
from pipeline.logbook import cells
from pipeline.logbook.file_rows import FileRow, rows_of_file
from schemas.contract import BATCHES, FILLINGS, HARVESTS, INPUTS, OBSERVATIONS, PROMISES, SALES
from schemas.finding import OutOfReach, WrongRequest
from schemas.phrases import counted, did_you_mean

DAYS = {
    BATCHES: "inoculated_on",
    OBSERVATIONS: "seen_on",
    HARVESTS: "picked_on",
    SALES: "sold_on",
    PROMISES: "due_on",
}
# So many entries are named one by one where several are meant.
NAMED = 8


@dataclass(frozen=True)
class WantedEntry:
    """How an entry is meant. `name`: its id, or a container, as typed; `tables`: in which it may stand."""

    name: str = ""
    day: date | None = None
    batch: str = ""
    file: str = ""
    row: int = 0
    tables: tuple[str, ...] = INPUTS


def find_entry(farm: Farm, wanted: WantedEntry) -> FileRow:
    """Return the row that is meant. Raises WrongRequest where that is none or several, and says how to name one."""
    if wanted.file:
        return _by_row(farm, wanted)
    found = [*_by_id(farm, wanted)] or [*_by_names(farm, wanted)]
    if len(found) == 1:
        return found[0]
    if not found:
        raise WrongRequest(_none_found(farm, wanted))
    lines = "".join(f"\n  {command_of(each)}   ({brief(each)})" for each in found[:NAMED])
    more = f"\n  and {len(found) - NAMED} more" if len(found) > NAMED else ""
    raise WrongRequest(f"{counted(len(found), 'entry', 'entries')} may be meant. Name one:{lines}{more}")


def _sources(farm: Farm, tables: Sequence[str] = INPUTS) -> list[TableFile]:
    return [each for each in table_files(farm.folder, farm.conventions.files) if each.table in tables]


def _by_row(farm: Farm, wanted: WantedEntry) -> FileRow:
    sources = _sources(farm)
    source = next((each for each in sources if each.name == wanted.file.replace("\\", "/")), None)
    if source is None:
        hint = did_you_mean(wanted.file, [each.name for each in sources])
        raise WrongRequest(f"--file {wanted.file}: no table is read from such a file.{hint}")
    found = next((each for each in rows_of_file(farm, source) if each.row == wanted.row), None)
    if found is None or not any(cell.strip() for cell in found.cells):
        raise WrongRequest(f"{source.name} has no entry in row {wanted.row}.")
    return found


def _by_id(farm: Farm, wanted: WantedEntry) -> Iterator[FileRow]:
    if len(wanted.name) < 2 or wanted.day or wanted.batch:
        return
    for source in _sources(farm, (HARVESTS, OBSERVATIONS, SALES, PROMISES)):
        for each in _readable(farm, source, wanted.name.encode()):
            if each.cell("entry") == wanted.name:
                yield each


def _readable(farm: Farm, source: TableFile, within: bytes = b"") -> Iterator[FileRow]:
    """Yield the rows of this file; none of one that cannot be read, for the entry may stand in another."""
    try:
        yield from rows_of_file(farm, source, within)
    except OutOfReach:
        return


def _by_names(farm: Farm, wanted: WantedEntry) -> Iterator[FileRow]:
    for source in _sources(farm, wanted.tables):
        cell_format = farm.for_file(source.name).conventions.cell_format
        day_column = DAYS.get(source.table)
        for each in _readable(farm, source):
            container, batch = (cells.text(each.cell(name), cell_format).casefold() for name in ("container", "batch"))
            if wanted.name and container != wanted.name.casefold():
                continue
            if wanted.batch and batch != wanted.batch.casefold():
                continue
            if wanted.day and (not day_column or cells.day(each.cell(day_column), cell_format) != wanted.day):
                continue
            if not wanted.name and source.table != BATCHES and container:
                continue
            yield each


def _none_found(farm: Farm, wanted: WantedEntry) -> str:
    """Return that nothing is found, with the days of which there is something."""
    what = " ".join(filter(None, (wanted.name, f"batch {wanted.batch}" if wanted.batch else "")))
    when = f" of {wanted.day}" if wanted.day else ""
    others = [*_by_names(farm, WantedEntry(wanted.name, None, wanted.batch, tables=wanted.tables))]
    days = sorted({day for each in others if (day := day_of(farm, each))})
    near = sorted(days, key=lambda each: abs((each - (wanted.day or each)).days))[:NAMED]
    said = f" There are entries of {', '.join(each.isoformat() for each in sorted(near))}." if near else ""
    return f"{what}{when}: there is no such entry.{said} Nothing was changed."


def day_of(farm: Farm, found: FileRow) -> date | None:
    """Return the day that the row is of; None where none can be read."""
    column = DAYS.get(found.source.table)
    return cells.day(found.cell(column), farm.for_file(found.source.name).conventions.cell_format) if column else None


def brief(found: FileRow) -> str:
    """Return the row in a few words."""
    shown = [*DAYS.values(), "container", "batch", "event", "fresh_weight_g", "weight_g", "fill_kg", "buyer"]
    return " ".join(cell for name in shown if (cell := found.cell(name)))


def command_of(found: FileRow) -> str:
    """Return the command that names this row and no other."""
    words = ["gillbook", "edit", "--file", found.source.name, "--row", str(found.row)]
    return typed(words) or f"gillbook edit --file FILE --row {found.row}"


def tables_meant(name: str, day: date | None, batch: str) -> tuple[str, ...]:
    """Return in which tables an entry may stand that is named so: what has a day was picked or seen."""
    if day is not None:
        return (HARVESTS, OBSERVATIONS) if name else (HARVESTS, OBSERVATIONS, BATCHES)
    return (FILLINGS,) if name and batch else (BATCHES,) if batch else (HARVESTS, OBSERVATIONS)
