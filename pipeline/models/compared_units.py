"""The units of a farm for a comparison, read from the ledger."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from pipeline.compare.factors import COLUMNS
from pipeline.models.statements import records, statement
from pipeline.models.view import Ledger, Query

if TYPE_CHECKING:
    import duckdb

Rows = list[dict[str, Any]]


@dataclass(frozen=True)
class FarmUnits:
    """The units of a farm at a date: one row per unit, in the columns of compared_units.sql, told through a flush or to
    an age in days. look_gap: the usual days between two looks, None where there were none. With to_day each row also
    has pins_fate, pins_day and pins_batch, as unit_pinning.sql tells them (None without a day of inoculation).
    """

    as_of: date
    through: int
    to_day: int | None
    rows: Rows
    look_gap: float | None


def farm_units(
    con: duckdb.DuckDBPyConnection, settings: Mapping[str, Any], as_of: date, through: int, to_day: int | None = None
) -> FarmUnits:
    """Which units does the farm have, what did each give, and what went into it? Makes the unit tables anew."""
    con = Ledger(con, settings).view(Query(as_of, COLUMNS, through)).connection
    con.execute(statement("unit_waits"))
    rows = unit_rows(con, to_day) if to_day is None else _with_pinning(con, unit_rows(con, to_day))
    gaps = records(con, statement("look_gap"))
    gap = gaps[0]["gap"] if gaps else None
    return FarmUnits(as_of, through, to_day, rows, None if gap is None else float(gap))


def _with_pinning(con: duckdb.DuckDBPyConnection, rows: Rows) -> Rows:
    from pipeline.growth.pins import read_pinning

    table = read_pinning(con)
    cells = [table[name].tolist() for name in ("fate", "days", "batch_line")]
    of_unit = {str(unit): told for unit, *told in zip(table["unit"].tolist(), *cells, strict=True)}
    names = ("pins_fate", "pins_day", "pins_batch")
    return [{**row, **dict(zip(names, of_unit.get(row["unit"], (None,) * 3), strict=True))} for row in rows]


def unit_rows(con: duckdb.DuckDBPyConnection, to_day: int | None = None) -> Rows:
    """What did each unit give, and what went into it? One record per unit, in the columns of compared_units.sql. Needs
    the unit tables, unit_waits, and groups by factors.COLUMNS.
    """
    con.execute(f"set variable to_day = {'null' if to_day is None else int(to_day)}")
    return records(con, statement("compared_units"))
