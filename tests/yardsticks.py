"""The yardsticks of `make bench`: what somebody would write by hand, without checks, for the same kilograms.

`python -m tests.yardsticks NAME FOLDER` runs one and prints its answer as JSON: kg by substrate, BE in % over all
containers, kg by substrate and flush. A row without a batch belongs to the latest filling of its container before its
day, one without a container to its batch as a whole; a blank flush is a new one after NEW_FLUSH_AFTER days without a
picking. Rows that cannot be read end them.
"""

from __future__ import annotations

import csv
import json
import sys
from pathlib import Path
from typing import Any

NEW_FLUSH_AFTER = 7
# As small as a program of this kind can be: its start, and the import of what reads the ledger.
BARE = """
import typer
{imports}
app = typer.Typer()

@app.command()
def answer() -> None:
    typer.echo("{{}}")

app()
"""


def unchecked(folder: Path) -> dict[str, Any]:
    """DuckDB's own typed load of the four tables' files, unchecked. Faulty rows are skipped."""
    import duckdb

    from pipeline.farm.folder import table_files
    from pipeline.models.columns import sql_type
    from schemas.contract import GROWING, contract

    ledger = folder / "unchecked.duckdb"
    ledger.unlink(missing_ok=True)
    with duckdb.connect(str(ledger)) as con:
        for name in GROWING:
            files = [str(source.path) for source in table_files(folder) if source.table == name]
            with open(files[0], encoding="utf-8", newline="") as lines:
                header = next(csv.reader(lines))
            columns = {column: sql_type(contract(name).field(column)) for column in header}
            con.execute(
                f"create table {name} as select * from "
                f"read_csv({files!r}, header = true, columns = {columns!r}, ignore_errors = true)"
            )
    size = ledger.stat().st_size
    ledger.unlink()
    return {"ledger_mb": size / 1e6}


def by_polars(folder: Path) -> dict[str, Any]:
    """The answer by a lazy Polars script."""
    import polars as pl

    batches = pl.scan_csv(folder / "batches.csv", try_parse_dates=True)
    wet, spawn = pl.col("substrate_wet_kg"), pl.col("spawn_kg").fill_null(0)
    dry = pl.coalesce(pl.col("substrate_dry_kg").cast(pl.Float64), wet * (1 - pl.col("moisture_pct") / 100))
    of_batch = batches.select("batch", "inoculated_on", "substrate", dry_share=dry / (wet + spawn))
    fillings = (
        pl.scan_csv(folder / "fillings.csv", infer_schema_length=None)
        .with_row_index("filling")
        .join(of_batch, on="batch")
        .select(
            "filling",
            "batch",
            "container",
            "inoculated_on",
            "substrate",
            dry_kg=pl.col("fill_kg") * pl.col("dry_share"),
        )
    )
    # As texts, then each column by its type: a tenth of the time that guessing the types takes.
    picked = (
        pl.scan_csv(folder / "harvests/*.csv", infer_schema=False)
        .select(
            pl.col("picked_on").str.to_date(),
            "container",
            "batch",
            pl.col("flush").cast(pl.Int64),
            kg=pl.col("fresh_weight_g").cast(pl.Float64) / 1000,
        )
        .collect()
        .lazy()
    )
    named = picked.filter(pl.col("batch").is_not_null()).join(fillings, on=["batch", "container"])
    whole = picked.filter(pl.col("container").is_null()).join(of_batch.with_row_index("at"), on="batch")
    whole = whole.with_columns(filling=-1 - pl.col("at").cast(pl.Int64))
    days = fillings.sort("inoculated_on")
    alone = (
        picked.filter(pl.col("batch").is_null())
        .sort("picked_on")
        .join_asof(
            days,
            left_on="picked_on",
            right_on="inoculated_on",
            by="container",
            strategy="backward",
            allow_exact_matches=False,
        )
    )
    columns = ["filling", "substrate", "picked_on", "flush", "kg"]
    parts = [each.with_columns(pl.col("filling").cast(pl.Int64)).select(columns) for each in (named, alone, whole)]
    found = pl.concat(parts).sort("filling", "picked_on").collect()
    # Sorted as they are, without a window over each filling, which would take most of the time.
    first = (pl.col("filling") != pl.col("filling").shift(1)).fill_null(True)
    gap = (pl.col("picked_on").diff().dt.total_days() >= NEW_FLUSH_AFTER).fill_null(False) & ~first
    found = found.with_columns(first.alias("first"), gap.cum_sum().alias("gaps"))
    before = pl.when("first").then("gaps").forward_fill()
    found = found.with_columns(pl.coalesce("flush", 1 + pl.col("gaps") - before).alias("flush"))
    kg = found.group_by("substrate").agg(pl.col("kg").sum())
    dry_of = fillings.group_by("substrate").agg(pl.col("dry_kg").sum()).collect()
    be = kg.join(dry_of, on="substrate").select("substrate", be=100 * pl.col("kg") / pl.col("dry_kg"))
    flushes = found.group_by("substrate", "flush").agg(pl.col("kg").sum())
    return _answer(kg.iter_rows(), be.iter_rows(), flushes.iter_rows())


def by_pandas(folder: Path) -> dict[str, Any]:
    """The same by a pandas script."""
    import pandas as pd

    batches = pd.read_csv(folder / "batches.csv", parse_dates=["inoculated_on"])
    dry = batches["substrate_dry_kg"].fillna(batches["substrate_wet_kg"] * (1 - batches["moisture_pct"] / 100))
    batches["dry_share"] = dry / (batches["substrate_wet_kg"] + batches["spawn_kg"].fillna(0))
    fillings = pd.read_csv(folder / "fillings.csv").reset_index(names="filling")
    fillings = fillings[["filling", "batch", "container", "fill_kg"]].merge(
        batches[["batch", "inoculated_on", "substrate", "dry_share"]], on="batch"
    )
    fillings["dry_kg"] = fillings["fill_kg"] * fillings["dry_share"]
    read = [
        pd.read_csv(path, parse_dates=["picked_on"], dtype={"batch": str, "container": str})
        for path in sorted((folder / "harvests").glob("*.csv"))
    ]
    picked = pd.concat(read)[["picked_on", "container", "batch", "flush", "fresh_weight_g"]]
    named = picked[picked["batch"].notna()].merge(fillings, on=["batch", "container"])
    alone = pd.merge_asof(
        picked[picked["batch"].isna()].drop(columns="batch").sort_values("picked_on"),
        fillings.sort_values("inoculated_on"),
        left_on="picked_on",
        right_on="inoculated_on",
        by="container",
        allow_exact_matches=False,
    )
    whole = picked[picked["container"].isna()].drop(columns="container")
    whole = whole.merge(batches.reset_index(names="at")[["at", "batch", "substrate"]], on="batch")
    whole["filling"] = -1 - whole["at"]
    found = pd.concat([named, alone, whole]).sort_values(["filling", "picked_on"], kind="stable")
    found["kg"] = found["fresh_weight_g"] / 1000
    gap = found.groupby("filling")["picked_on"].diff().dt.days >= NEW_FLUSH_AFTER
    found["flush"] = found["flush"].fillna(1 + gap.groupby(found["filling"]).cumsum()).astype(int)
    kg = found.groupby("substrate")["kg"].sum()
    be = 100 * kg / fillings.groupby("substrate")["dry_kg"].sum()
    flushes = found.groupby(["substrate", "flush"])["kg"].sum().reset_index()
    return _answer(kg.items(), be.items(), flushes.itertuples(index=False, name=None))


def _answer(kg: Any, be: Any, flushes: Any) -> dict[str, Any]:
    return {
        "kg": {str(name): float(value) for name, value in kg},
        "be_pct": {str(name): float(value) for name, value in be},
        "flushes_kg": {f"{name}, flush {int(flush)}": float(value) for name, flush, value in flushes},
    }


YARDSTICKS = {"unchecked": unchecked, "polars": by_polars, "pandas": by_pandas}


def main() -> int:
    """Run the yardstick that is named."""
    name, folder = sys.argv[1:]
    print(json.dumps(YARDSTICKS[name](Path(folder))))
    return 0


if __name__ == "__main__":
    sys.exit(main())
