"""What a farm's files lack: cells that would make more numbers possible, and units whose end nobody noted."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import replace

from pipeline.farm.folder import Farm, TableFile, table_files
from pipeline.farm.ready_command import ending_command
from pipeline.farm.table_names import WORKBOOKS
from pipeline.files.dialect import dialect_of, plain_text
from pipeline.files.write_csv import guarded
from pipeline.ledger.places import Places, add_column
from pipeline.models.missing_cells import MissingCell
from pipeline.models.silent import SilentUnit
from schemas.contract import OBSERVATIONS, contract
from schemas.finding import Finding, UnreadableFile
from schemas.phrases import OVEN_TEST, counted

OVEN = f"One oven test would do: {OVEN_TEST}"
FIXES = {
    "container": "Mend this row, which is set aside.",
    "moisture_pct": f"{OVEN} Then fill in the cell.",
}


def missing_findings(places: Places, cells: Sequence[MissingCell]) -> list[Finding]:
    """Return a finding for each cell that would make more numbers possible; of a column that a file lacks, one."""
    found = []
    for cell in missing_once(places, cells):
        each = contract(cell.table_name).field(cell.column_name)
        found.append(
            Finding(
                table=cell.table_name,
                file=cell.file,
                row=cell.row,
                column=cell.column_name,
                rule=f"no {cell.number}",
                level="missing",
                value=None,
                message=f"would give {counted(cell.units, 'container')} {cell.number}",
                expected=each.description,
                fix=FIXES.get(cell.column_name, "Fill in the cell.") if cell.row else _add_column(cell),
            )
        )
    return found


def missing_once(places: Places, cells: Sequence[MissingCell]) -> list[MissingCell]:
    """Return the cells, with those of a column that the file lacks as one, without a row."""
    found: dict[object, MissingCell] = {}
    for at, cell in enumerate(cells):
        lacking = places.lacks(cell.table_name, cell.file, cell.column_name)
        key = (cell.number, cell.file, cell.column_name) if lacking else at
        before = found.get(key)
        units = cell.units + (before.units if before else 0)
        found[key] = replace(cell, row=0 if lacking else cell.row, units=units)
    return list(found.values())


def _add_column(cell: MissingCell) -> str:
    test = f"{OVEN} " if cell.column_name == "moisture_pct" else ""
    heading = f"or say in farm.toml under [headings.{cell.table_name}] which it is."
    return f"{test}{add_column(cell.column_name)}; {heading}"


def silent_findings(farm: Farm, units: Sequence[SilentUnit]) -> list[Finding]:
    """Return a finding for each unit that ended, or may have, without a note of it. Each with the line, ready to be
    added to observations, that ends it.
    """
    file, header, separator = observations_header(farm)
    found = []
    for unit in units:
        place = f"container {unit.container} of batch {unit.batch}" if unit.container else f"batch {unit.batch}"
        picked = f"picked last on {unit.last_picked}" if unit.last_picked else "never picked"
        if unit.rule == "lapsed":
            message = f"is treated as ended since {unit.since} ({place}, {picked})"
        else:
            message = f"is still running, with nothing entered since {unit.since} ({place}, {picked})"
        found.append(
            Finding(
                table=unit.table_name,
                file=unit.file,
                row=unit.row,
                column="container" if unit.container else "batch",
                rule=unit.rule,
                level="warning" if unit.rule == "lapsed" else "notice",
                value=unit.container or unit.batch,
                message=message,
                expected="an observation that ends it",
                fix=_way_to_end(file, header, separator, unit),
            )
        )
    return found


def _way_to_end(file: str, header: Sequence[str], separator: str, unit: SilentUnit) -> str:
    """Return how the grower says that this unit is over: by a line of the file, where it has the columns for that."""
    if {"seen_on", "event", "container" if unit.container else "batch"} <= set(header):
        line = ready_line(header, unit, separator)
        return f"If it is over, add this line to {file}, with the day it ended: {line}"
    command = ending_command(unit.container, unit.batch, unit.since)
    if command is None:
        return f"If it is over, give {file} the columns container and batch, and note there when it was emptied."
    return f"If it is over, type this, with the day it ended: {command}"


def observations_header(farm: Farm) -> tuple[str, list[str], str]:
    """Return the name, columns in order and separator of the file that observations are added to. It is the last by
    its name that holds nothing else and can be read; where there is none, observations.csv with the starred columns.
    """
    table = contract(OBSERVATIONS)
    files = [each for each in table_files(farm.folder, farm.conventions.files) if each.table == table.name]
    for source in reversed([each for each in files if not each.beside]):
        try:
            names, separator = _header_of(source, farm)
        except (UnreadableFile, OSError):
            continue
        meant = [farm.conventions.heading(table, name) for name in names]
        return source.name, [heading.column if heading else "" for heading in meant], separator
    return f"{table.name}.csv", [each.name for each in table.fields if each.starred], ","


def _header_of(source: TableFile, farm: Farm) -> tuple[Sequence[str], str]:
    """The headings of this file, and what stands between them."""
    table, data = contract(source.table), source.path.read_bytes()
    if source.path.suffix.lower() in WORKBOOKS:
        from pipeline.files.workbook import read_sheet

        rows = read_sheet(table, source, data, ".").rows
        return next(([cell or "" for cell in cells] for cells in rows if any(cells)), []), ","
    dialect = dialect_of(table, source.name, plain_text(table, source.name, data), farm.conventions)
    return dialect.header, dialect.separator


def ready_line(header: Sequence[str], unit: SilentUnit, separator: str = ",") -> str:
    """Return the line, in the file's own order of columns, that says that the unit was emptied on the day it fell
    silent.
    """
    cells = {"seen_on": str(unit.since), "event": "emptied", "container": guarded(unit.container or "")}
    cells["batch"] = guarded(unit.batch)
    line = io.StringIO()
    # The csv module quotes a CR or LF within a cell only where it ends the lines.
    csv.writer(line, lineterminator="\r\n", delimiter=separator).writerow([cells.get(name, "") for name in header])
    return line.getvalue().removesuffix("\r\n")
