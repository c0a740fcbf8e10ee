"""Write a farm of any size with faulty rows, for measuring speed: the demo farm's simulation, years of it."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from pipeline.demo.dice import dice
from pipeline.demo.faults import spoil
from pipeline.demo.grow import InventedFarm, grow, up_to
from pipeline.demo.plan import Columns, bench_plan
from pipeline.demo.write import DAYS, FARM_TOML, HEADERS, write_text
from schemas.contract import BATCHES, FILLINGS, HARVESTS, OBSERVATIONS

if TYPE_CHECKING:
    import polars as pl

FIRST_DAY = date(2022, 1, 3)
DAYS_LONG = 4 * 365
LEAST_PER_FILLING = 3.5  # pickings; about 4.0 on average, so that there are always enough
WHOLE = {"fresh_weight_g", "culled_g", "flush", "count", "containers_filled", "holes_open", "volume_l"}


def write_bench(folder: Path, pickings: int, seed: int, faulty_share: float = 0.005) -> None:
    """Write a farm of so many pickings to disk, with this share of the rows of each table faulty.

    The same arguments give the same bytes. TRUTH.json counts the faults by table and kind; rows that wait for
    a faulty batch or filling come on top. Raises ValueError when the farm cannot hold so many pickings.
    """
    rng = dice(seed)
    plan = bench_plan(round(pickings / LEAST_PER_FILLING) + 100, FIRST_DAY, DAYS_LONG, rng)
    farm = _cut(grow(plan, rng), pickings)
    counts = {}
    columns = {FILLINGS: farm.fillings, OBSERVATIONS: farm.observations, HARVESTS: farm.harvests}
    for table, mine in {BATCHES: farm.batches, **columns}.items():
        batch_no = mine.get("batch_no", np.arange(len(mine[HEADERS[table][0]])))
        frame = _frame(table, mine, plan.batches["batch"][batch_no])
        months = _months(mine["picked_on"]) if table == HARVESTS else {f"{table}.csv": (0, frame.height)}
        frame, counts[table] = spoil(table, frame, faulty_share, rng)
        for name, (first, end) in months.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            part = frame[first:end] if table == HARVESTS else frame
            # Not through files/write_csv: its guard against formulas would mend the negative weights that are planted,
            # no other cell needs it, and it takes the rows one by one.
            part.select(HEADERS[table]).write_csv(path)
    write_text(folder / "farm.toml", FARM_TOML)
    about = "Invented: a farm for measuring speed. Rows spoiled on purpose, by table and kind."
    truth = {"about": about, "seed": seed, "pickings": pickings, "faults": counts}
    write_text(folder / "TRUTH.json", json.dumps(truth, indent=1) + "\n")


def _cut(farm: InventedFarm, pickings: int) -> InventedFarm:
    """Return what stands in the notebooks on the day of the last wanted picking."""
    days = farm.harvests["picked_on"]
    if len(days) < pickings:
        raise ValueError(f"the plan gives {len(days)} pickings, {pickings} are wanted")
    farm = up_to(farm, int(days[pickings - 1]))
    last = int(days[pickings - 1])
    batches = int(np.searchsorted(farm.batches["inoculated_on"], last, side="right"))
    listed = farm.fillings["batch_no"] < batches
    return InventedFarm(
        {name: column[:batches] for name, column in farm.batches.items()},
        {name: column[listed] for name, column in farm.fillings.items()},
        farm.observations,
        {name: column[:pickings] for name, column in farm.harvests.items()},
        farm.loss,
    )


def _months(days: np.ndarray) -> dict[str, tuple[int, int]]:
    """Return which rows (first, one past the last) of the pickings, in order of days, stand in which month's file."""
    months, firsts = np.unique(days.astype("datetime64[D]").astype("datetime64[M]"), return_index=True)
    ends = [*firsts[1:].tolist(), len(days)]
    return {
        f"harvests/{month}.csv": (first, end) for month, first, end in zip(months, firsts.tolist(), ends, strict=True)
    }


def _frame(table: str, columns: Columns, true_batch: np.ndarray) -> pl.DataFrame:
    """Return the table as texts, null for blank, with each row's place and true batch."""
    import polars as pl

    cells = {name: _texts(name, columns[name]) for name in HEADERS[table]}
    at = np.arange(len(true_batch), dtype=np.float64)
    return pl.DataFrame(cells | {"at": pl.Series(at), "true_batch": pl.Series(true_batch.astype(object))})


def _texts(name: str, column: np.ndarray) -> pl.Series:
    """Return these values as they are typed into cells."""
    import polars as pl

    if column.dtype.kind == "U":
        words, which = np.unique(column, return_inverse=True)
        return pl.Series([word or None for word in words.tolist()], dtype=pl.String)[which]
    if name in DAYS:
        return pl.Series(column.astype(np.int32)).cast(pl.Date).cast(pl.String)
    numbers = pl.Series(column.astype(np.float64), nan_to_null=True)
    return (numbers.cast(pl.Int64) if name in WHOLE else numbers.round(3)).cast(pl.String)
