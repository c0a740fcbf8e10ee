"""Write the invented farm as a farm folder: four tables as CSV, farm.toml, the truth behind it, a README."""

import csv
import json
import math
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from pipeline.demo import recipes as true
from pipeline.demo.dice import dice
from pipeline.demo.grow import InventedFarm, grow, up_to
from pipeline.demo.mistakes import Files, Planted, Row, plant
from pipeline.demo.plan import Columns, Diary, day_number, demo_plan
from pipeline.demo.recipes import LAST_DAY
from schemas.contract import BATCHES, FILLINGS, HARVESTS, OBSERVATIONS

__all__ = ["LAST_DAY", "write_demo", "write_text"]

HEADERS = {
    BATCHES: (
        "batch", "inoculated_on", "strain", "substrate", "soak", "treatment", "treatment_h", "lime_g_per_l",
        "ph_start", "ph_end", "drain_h", "substrate_wet_kg", "moisture_pct", "substrate_dry_kg", "dry_basis",
        "supplement", "supplement_dry_kg", "spawn_form", "spawn_kg", "spawn_lot", "incubation_c",
        "containers_filled", "note",
    ),
    FILLINGS: (
        "batch", "container", "kind", "volume_l", "holes_open", "fill_kg", "substrate_dry_kg", "note",
    ),
    OBSERVATIONS: ("seen_on", "event", "container", "batch", "flush", "cause", "count"),
    HARVESTS: (
        "picked_on", "fresh_weight_g", "container", "batch", "flush", "cap_stage", "culled_g", "picker", "note",
    ),
}  # fmt: skip
DAYS = {"inoculated_on", "seen_on", "picked_on"}

FARM_TOML = """\
# An invented farm: its people, places and numbers are made up. See README.txt.
name = "Hollow Lane (invented)"
new_flush_after_days = 7
flush_settled_days = 10
lapse_days = 45
lapse_unpicked_days = 90
late_from = "turned_up"
"""

README = """\
An invented farm
================

This farm does not exist. Its name, people, strains, spawn lots and every number in these files were made
up by a program that rolls seeded dice, and nothing here is a measurement or a recommendation. The ranges
were chosen so that they look like those in print; do not quote them. The seed was chosen, too: on this farm every
planted truth lies in the interval that gillbook prints, where one in twenty would miss on a farm that nobody chose.

batches.csv, fillings.csv, observations.csv and harvests/*.csv are what four notebooks might hold after nine
months: some batches were weighed together, some cells were never filled in, some buckets are still going
on {last_day}, and some rows hold mistakes, on purpose.

TRUTH.json says what the dice were told: for each recipe what it gives, how it declines, how long it waits;
how likely each soak was to be lost; and every mistake that was planted, with its file and row.
"""


def write_demo(folder: Path) -> None:
    """Write the demo farm to disk. Writes the same bytes every time."""
    plan = demo_plan()
    farm = up_to(grow(plan, dice(true.DEMO_SEED)), day_number(LAST_DAY))
    files = _files(farm)
    planted = plant(files)
    for name, rows in files.items():
        _write_csv(folder / name, rows)
    write_text(folder / "farm.toml", FARM_TOML)
    write_text(folder / "README.txt", README.format(last_day=LAST_DAY.isoformat()))
    truth = _truth(plan, farm) | {"mistakes": _listed(files, planted)}
    write_text(folder / "TRUTH.json", json.dumps(truth, indent=1) + "\n")


def _files(farm: InventedFarm) -> Files:
    """Return which rows stand in which file. Harvests are one file a month."""
    listed = {name: column[farm.fillings["listed"]] for name, column in farm.fillings.items()}
    names = farm.batches["batch"]
    files = {
        "batches.csv": _rows(BATCHES, farm.batches, names),
        "fillings.csv": _rows(FILLINGS, listed, names),
        "observations.csv": _rows(OBSERVATIONS, farm.observations, names),
    }
    for row in _rows(HARVESTS, farm.harvests, names):
        files.setdefault(f"harvests/{row.cells['picked_on'][:7]}.csv", []).append(row)
    return files


def _rows(table: str, columns: Columns, names: np.ndarray) -> list[Row]:
    """Return the rows of a table as text, with the batch and filling that each is about."""
    n = len(columns[HEADERS[table][0]])
    batch = names[columns["batch_no"]] if "batch_no" in columns else names
    unit = columns.get("unit", np.full(n, -1))
    cells = {name: [_cell(name, value) for value in columns[name].tolist()] for name in HEADERS[table]}
    return [
        Row({name: cells[name][i] for name in cells}, str(batch[i]), int(unit[i]))
        for i in range(n)
    ]  # fmt: skip


def _cell(column: str, value: str | float) -> str:
    """Return this value as it is typed into a cell. Numbers as short as they are, days as ISO 8601."""
    if isinstance(value, str):
        return value
    if column in DAYS:
        return (date(1970, 1, 1) + timedelta(days=int(value))).isoformat()
    return "" if math.isnan(value) else f"{value:.3f}".rstrip("0").rstrip(".")


def _write_csv(path: Path, rows: list[Row]) -> None:
    """Write rows with their header. Not through files/write_csv: its guard against formulas would mend the negative
    weights that are planted, and no other cell needs it.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0].cells, lineterminator="\n")
        writer.writeheader()
        writer.writerows(row.cells for row in rows)


def write_text(path: Path, text: str) -> None:
    """Write a text file, the same bytes on every system."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8", newline="\n")


def _truth(plan: Diary, farm: InventedFarm) -> dict[str, object]:
    """Return what the dice were given. Everything that the measures should find again, within their noise."""
    units = farm.fillings
    soak = np.char.rstrip(plan.batches["batch"], "abc")
    weight = np.bincount(units["batch_no"])
    by_soak = {
        str(name): round(float(np.average(farm.loss[soak == name], weights=weight[soak == name]) * 100), 2)
        for name in np.unique(soak)
    }
    return {
        "about": "Invented: the parameters of the generator of the demo farm, and the mistakes planted in it.",
        "seed": true.DEMO_SEED,
        "last_day": LAST_DAY.isoformat(),
        "recipes": [_recipe_truth(recipe) for recipe in true.RECIPES],
        "recipe_by_batch": {
            str(batch): true.RECIPES[which].name
            for batch, which in zip(plan.batches["batch"], plan.batches["recipe"], strict=True)
        },
        "noise": {
            "be_cv": true.BE_CV, "share_soak": true.SHARE_SOAK, "share_batch": true.SHARE_BATCH,
            "share_unit": true.SHARE_UNIT, "flush_cv": true.FLUSH_CV, "loss_logit_sd": true.LOSS_LOGIT_SD,
        },
        "stalled_pct": round(100 * true.STALLED, 2),
        "loss_pct_by_soak": by_soak,
        "loss_pct_by_container": {true.FAILING_CONTAINER: round(100 * true.FAILING_LOSS, 2)},
    }  # fmt: skip


def _recipe_truth(recipe: true.TrueRecipe) -> dict[str, object]:
    """Return what the measures should find for one recipe."""
    second, third = recipe.decline_vs_first()
    clean = recipe.be_clean_pct()
    return {
        "recipe": recipe.name,
        "substrate": recipe.substrate,
        "treatment": recipe.treatment,
        "strain": recipe.strain,
        "spawn_form": recipe.spawn_form,
        "spawn_rate_wet_pct": recipe.spawn_pct_wet,
        "be_flush1_clean_pct": round(recipe.be_flush1_pct * (1 - true.STALLED), 2),
        "be_finished_clean_pct": round(clean * (1 - true.STALLED), 2),
        "decline_vs_first": {"2": round(second, 4), "3": round(third, 4)},
        "decline_of_units_that_gave": {"2": recipe.second, "3": recipe.third},
        "days": recipe.days(),
        "loss_pct_in_a_usual_soak": recipe.loss_usual_pct,
    }


def _listed(files: Files, planted: list[Planted]) -> list[dict[str, object]]:
    """Return which mistakes stand where. Rows are numbered as a spreadsheet does: the header is row 1."""
    listed: list[dict[str, object]] = []
    for bad in planted:
        at = next(i for i, row in enumerate(files[bad.file], start=2) if row is bad.row)
        entry: dict[str, object] = {"what": bad.what, "file": bad.file, "row": at, "column": bad.column}
        entry["rule"] = bad.rule
        listed.append(entry | ({"waiting": bad.waiting} if bad.waiting else {}))
    return listed
