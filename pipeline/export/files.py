"""All tables as files of an open format: one a table, with its contract beside it."""

from __future__ import annotations

import json
import math
import os
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import date
from decimal import Decimal
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.export.table import Cell, ExportTable, records
from pipeline.files.deeds import DEEDS
from pipeline.files.replace import make_folder, replace_file, sync_folder
from pipeline.files.write_csv import write_csv
from schemas.contract import Field

if TYPE_CHECKING:
    import polars as pl


class FileKind(StrEnum):
    """In which format the tables are handed on."""

    xlsx = "xlsx"
    csv = "csv"
    parquet = "parquet"
    json = "json"


@contextmanager
def new_folder(folder: Path) -> Iterator[Path]:
    """Give a folder to write into, which gets its name when the body ends: so it is there whole or not at all. `folder`
    itself must not be there. Raises OSError as the operating system gives it.
    """
    draft = folder.with_name(f".{folder.name}.{os.getpid()}.new")
    make_folder(folder.parent)
    draft.mkdir()
    try:
        yield draft
        os.replace(draft, folder)
        DEEDS.files[:] = [each for each in DEEDS.files if not each.is_relative_to(draft)]
        DEEDS.wrote(folder)
    except BaseException:
        with suppress(OSError):
            shutil.rmtree(draft)
        raise
    sync_folder(folder.parent)


def write_files(folder: Path, tables: Sequence[ExportTable], kind: FileKind) -> None:
    """Write each table into `inputs/`, `results/` or `settings/`, with its contract beside it."""
    for each in tables:
        home = folder / (each.kind if each.kind == "settings" else f"{each.kind}s")
        home.mkdir(parents=True, exist_ok=True)
        write_table(home / f"{each.name}.{kind.value}", each, kind)
        replace_file(home / f"{each.name}.schema.json", each.schema().encode())


def write_table(path: Path, table: ExportTable, kind: FileKind) -> None:
    """Write one table in one format. No cell of a CSV file runs in a spreadsheet."""
    if kind is FileKind.csv:
        plain = [{name: _csv_cell(cell) for name, cell in row.items()} for row in records(table)]
        write_csv(path, plain, [each.name for each in table.columns])
    elif kind is FileKind.parquet:
        frame(table).write_parquet(path)
    else:
        lines = (json.dumps({k: _json_cell(v) for k, v in row.items()}, ensure_ascii=False) for row in records(table))
        replace_file(path, ("[" + ",\n ".join(lines) + "]\n").encode())


def _csv_cell(cell: Cell) -> object:
    """A number as it would be written by hand: without the zeros that end it."""
    if isinstance(cell, float | Decimal):
        if not math.isfinite(cell):
            return None
        return int(cell) if cell == int(cell) else cell.normalize() if isinstance(cell, Decimal) else cell
    return cell


def _json_cell(cell: Cell) -> object:
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, Decimal):
        return float(cell)
    return None if isinstance(cell, float) and not math.isfinite(cell) else cell


def frame(table: ExportTable) -> pl.DataFrame:
    """Return a table as a frame, typed by its contract: masses of entries are decimals."""
    import polars as pl

    return pl.DataFrame(
        list(table.rows), schema={each.name: _type(each) for each in table.columns}, orient="row", strict=True
    )


def _type(column: Field) -> pl.DataType:
    import polars as pl

    if column.type == "number":
        return pl.Float64() if column.decimals is None else pl.Decimal(18, column.decimals)
    return {"string": pl.String(), "date": pl.Date(), "integer": pl.Int64(), "boolean": pl.Boolean()}[column.type]
