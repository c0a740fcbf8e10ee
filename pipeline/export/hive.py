"""The tables of many farms as Parquet files in folders named by site and month, as engines for large data read them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

from pipeline.export.decided import DECIDED
from pipeline.files.replace import replace_file
from pipeline.models.input_rows import DAY_OF
from schemas.contract import BATCHES

if TYPE_CHECKING:
    import polars as pl

# By which day the rows of a table belong to a month. Tables without one are parted by site alone.
MONTH_BY = {BATCHES: "inoculated_on", **DAY_OF}
# What such a folder is called where a row has no day.
NO_MONTH = "__HIVE_DEFAULT_PARTITION__"
PARTED_BY = {
    "site": {"type": "string", "title": "Site", "description": "The farm that the row is of, by its folder's name."},
    "month": {"type": "string", "title": "Month", "description": "Year and month of the row's day."},
}


def add_site(folder: Path, site: str, exported: Path) -> None:
    """Put what one farm exported as Parquet (see write_files) among the files of all, contracts beside them."""
    import polars as pl

    for path in sorted(exported.rglob("*.parquet")):
        home = folder / path.parent.name
        home.mkdir(parents=True, exist_ok=True)
        own = home / path.stem / f"site={quote(site, safe='')}"
        if home.name == DECIDED:
            # One file a site, also of no rows: engines read these tables whole, and by their types.
            own.mkdir(parents=True)
            path.replace(own / "data.parquet")
            _write_schema(home, path, False, ("site",))
            continue
        frame = pl.read_parquet(path)
        _write_months(own, frame, MONTH_BY.get(path.stem))
        _write_schema(home, path, frame.is_empty(), ("site", "month") if path.stem in MONTH_BY else ("site",))


def _write_months(home: Path, frame: pl.DataFrame, day: str | None) -> None:
    """Write the rows into a folder a month, or all into one where no day says which; a table without rows has no file,
    for it does not say by which columns it is grouped.
    """
    import polars as pl

    if frame.is_empty():
        return
    if day is None:
        home.mkdir(parents=True)
        frame.write_parquet(home / "data.parquet")
        return
    months = frame.select(pl.col(day).dt.strftime("%Y-%m").fill_null(NO_MONTH))[day]
    for month in months.unique().sort():
        own = home / f"month={month}"
        own.mkdir(parents=True)
        frame.filter(months == month).write_parquet(own / "data.parquet")


def _write_schema(home: Path, path: Path, empty: bool, parts: Sequence[str]) -> None:
    """Write the contract of the table, with what its files are parted by: of the first farm that has rows."""
    beside = home / f"{path.stem}.schema.json"
    if beside.exists() and empty:
        return
    schema = json.loads(path.with_name(beside.name).read_text(encoding="utf-8"))
    schema["fields"] += [{"name": name, **PARTED_BY[name]} for name in parts]
    replace_file(beside, (json.dumps(schema, ensure_ascii=False, indent=1) + "\n").encode())
