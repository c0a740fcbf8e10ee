"""What a farm is wanting: cells that would make more numbers possible, and units whose end nobody noted."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from typing import Any

from pipeline.farm import Farm, table_files
from schemas.contract import contract
from schemas.finding import Finding


def missing_findings(cells: Sequence[Mapping[str, Any]]) -> list[Finding]:
    """Which cells would make more numbers possible? `cells` as pipeline.measures.runner.missing_cells gives them."""
    found = []
    for cell in cells:
        table = cell["file"].removesuffix(".csv").split("/")[0]
        each = contract(table).field(cell["column_name"])
        units = "1 unit" if cell["units"] == 1 else f"{cell['units']} units"
        found.append(
            Finding(
                table=table,
                file=cell["file"],
                row=cell["row"],
                column=cell["column_name"],
                rule=f"no {cell['number']}",
                level="missing",
                value=None,
                message=f"would give {units} {cell['number']}",
                expected=each.description,
                fix="Fill in the cell." if cell["column_name"] != "container" else "Mend this row, which is set aside.",
            )
        )
    return found


def silent_findings(farm: Farm, units: Sequence[Mapping[str, Any]]) -> list[Finding]:
    """Which units ended, or may have, without a note of it? Each with the line, ready to be added to observations, that
    ends it. `units` as pipeline.measures.runner.silent gives them.
    """
    file, header = observations_header(farm)
    found = []
    for unit in units:
        place = (
            f"container {unit['container']} of batch {unit['batch']}" if unit["container"] else f"batch {unit['batch']}"
        )
        picked = f"picked last on {unit['last_picked']}" if unit["last_picked"] else "never picked"
        if unit["rule"] == "lapsed":
            message = f"is treated as ended since {unit['since']} ({place}, {picked})"
        else:
            message = f"is still running, with nothing entered since {unit['since']} ({place}, {picked})"
        line = ready_line(header, unit)
        found.append(
            Finding(
                table=unit["table_name"],
                file=unit["file"],
                row=unit["row"],
                column="container" if unit["container"] else "batch",
                rule=unit["rule"],
                level="warning" if unit["rule"] == "lapsed" else "notice",
                value=unit["container"] or unit["batch"],
                message=message,
                expected="an observation that ends it",
                fix=f"If it is over, add this line to {file}, with the day it ended: {line}",
            )
        )
    return found


def observations_header(farm: Farm) -> tuple[str, list[str]]:
    """Which columns, in which order, has the file that observations are added to? The last by its name; where there is
    none, observations.csv with the starred columns.
    """
    files = [source for source in table_files(farm.folder) if source.table == "observations"]
    if files:
        with files[-1].path.open(encoding="utf-8-sig", newline="") as lines:
            header = next((row for row in csv.reader(lines) if any(cell.strip() for cell in row)), None)
        if header:
            return files[-1].name, [name.strip() for name in header]
    return "observations.csv", [each.name for each in contract("observations").fields if each.starred]


def ready_line(header: Sequence[str], unit: Mapping[str, Any]) -> str:
    """Which line, in the file's own order of columns, says that the unit was emptied on the day it fell silent?"""
    cells = {"seen_on": str(unit["since"]), "event": "emptied", "container": unit["container"], "batch": unit["batch"]}
    line = io.StringIO()
    csv.writer(line, lineterminator="").writerow([cells.get(name) or "" for name in header])
    return line.getvalue()
