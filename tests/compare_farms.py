"""Tiny farms for comparisons: one row per batch, with the biological efficiency that it is to have."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from conftest import write_table

from pipeline.compare.comparison import Comparison, compare
from pipeline.compare.measures import measure_of
from pipeline.compare.query import ComparisonQuery
from pipeline.farm.folder import open_farm
from pipeline.ledger.refresh import refresh
from pipeline.models.compared_units import farm_units
from pipeline.models.view import opened

LAST_DAY = date(2026, 12, 31)
COLUMNS = (
    "soak", "strain", "substrate", "treatment", "treatment_h", "supplement", "spawn_form", "spawn_lot",
    "substrate_wet_kg", "spawn_kg",
)  # fmt: skip

Batch = Mapping[str, Any]


def batches(level: str, values: Sequence[float], first: date, every: int = 30, **cells: Any) -> list[dict[str, Any]]:
    """Batches of one substrate, one for each BE, from a day on; cells: what else they have in common."""
    return [
        {"substrate": level, "be": value, "on": first + timedelta(days=every * at), **cells}
        for at, value in enumerate(values)
    ]


def write_farm(folder: Path, rows: Sequence[Batch], settings: str = "") -> None:
    """Writes the files. Each batch holds 1 kg of dry substrate and is weighed as a whole: be (%) in one picking, 30
    days after inoculation; flush 2 adds be2 (%); with `containers` these are listed, and so many as `lost` thrown out;
    with `pins` they are seen so many days after inoculation; `open` leaves it running.
    """
    (folder / "farm.toml").write_text(settings, encoding="utf-8")
    tables: dict[str, list[str]] = {
        "batches": [",".join(["batch", "inoculated_on", "substrate_dry_kg", *COLUMNS])],
        "fillings": ["batch,container,substrate_dry_kg"],
        "observations": ["seen_on,event,batch,container"],
        "harvests": ["picked_on,fresh_weight_g,batch,container,flush"],
    }
    for at, row in enumerate(rows, 1):
        name = row.get("batch", f"N{at:02}")
        for table, lines in _lines(name, row).items():
            tables[table] += lines
    for table, lines in tables.items():
        write_table(folder, table, "\n".join(lines))


def _lines(name: str, row: Batch) -> dict[str, list[str]]:
    on = row["on"]
    cells = {"strain": "grey", "substrate": "straw", **row}
    listed = ",".join(str(cells.get(column, "")) for column in COLUMNS)
    found = {"batches": [f"{name},{on},1,{listed}"], "fillings": [], "observations": [], "harvests": []}
    containers = [f"{name}-{at}" for at in range(row.get("containers", 0))]
    places = containers or [""]
    for at, place in enumerate(places):
        found["fillings"] += [f"{name},{place},{1 / len(places):.3f}"] if place else []
        if at < row.get("lost", 0):
            found["observations"].append(f"{on + timedelta(20)},contaminated,{name},{place}")
            continue
        if "pins" in row:
            found["observations"].append(f"{on + timedelta(row['pins'])},pins,{name},{place}")
        for flush, key in ((1, "be"), (2, "be2")):
            if row.get(key):
                grams = f"{row[key] * 10 / len(places):.3f}"
                found["harvests"].append(f"{on + timedelta(30 * flush)},{grams},{name},{place},{flush}")
        if not row.get("open"):
            found["observations"].append(f"{on + timedelta(80)},emptied,{name},{place}")
    return found


def compared(
    folder: Path, factor: str = "substrate", measure: str = "be", as_of: date = LAST_DAY, through: int = 2, **asked: Any
) -> Comparison:
    """What does the farm in this folder say of a factor?"""
    farm = open_farm(folder)
    refresh(farm, "test")
    with opened(farm.ledger, farm.settings) as ledger:
        money = measure_of(measure).money
        units = farm_units(ledger, as_of, through, asked.pop("to_day", None), money)
        settings = ledger.settings if money else farm.settings
    return compare(units, ComparisonQuery(factor, measure_of(measure, units.to_day), **asked), settings)
