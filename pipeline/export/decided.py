"""What a ledger has decided, as Parquet files for engines that work out the measures of many farms at once."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.files.replace import replace_file

if TYPE_CHECKING:
    import polars as pl

# The folder of these tables in an export, beside inputs, results and settings.
DECIDED = "decided"


def write_decided(folder: Path, tables: Mapping[str, pl.DataFrame], said: Mapping[str, str]) -> None:
    """Write each table into `decided/`, with its columns beside it. said: by table, what its rows are."""
    home = folder / DECIDED
    home.mkdir(parents=True)
    for name, frame in tables.items():
        frame.write_parquet(home / f"{name}.parquet")
        fields = [{"name": column, "type": _type(kind)} for column, kind in frame.schema.items()]
        schema = {"name": name, "description": said[name], "fields": fields}
        text = json.dumps(schema, ensure_ascii=False, indent=1) + "\n"
        replace_file(home / f"{name}.schema.json", text.encode())


def _type(kind: pl.DataType) -> str:
    """A column's type as Table Schema has it."""
    import polars as pl

    if kind.is_integer():
        return "integer"
    if kind.is_numeric():
        return "number"
    return {pl.Date: "date", pl.Boolean: "boolean", pl.List: "array"}.get(kind.base_type(), "string")
