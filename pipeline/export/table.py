"""A table as it is handed on: its columns by contract, its rows, and the contract itself as JSON."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from pipeline.farm.settings import Settings
from schemas.contract import Contract, Field, contract, recipe_columns
from schemas.exported import INPUT, RESULT, SETTINGS, SETTINGS_COLUMNS
from schemas.result_rows import Row

# A cell as it is handed on, None for a blank one.
Cell = str | int | float | bool | Decimal | date | None


@dataclass(frozen=True)
class ExportTable:
    """A table as it is handed on. kind: an input, a result, or the settings; columns: those of its contract, a result's
    after the columns that it is grouped by; rows: one tuple of cells each, in the order of the columns.
    """

    kind: str
    contract: Contract
    columns: tuple[Field, ...]
    rows: Sequence[tuple[Cell, ...]]

    @property
    def name(self) -> str:
        """What it is called."""
        return self.contract.name

    def schema(self) -> str:
        """Its contract as an open Table Schema, in JSON."""
        of = self.contract
        fields = [_described(each) for each in self.columns]
        said = {"name": of.name, "title": of.title, "description": of.description, "grain": of.grain}
        known = {each.name for each in self.columns}
        key = {"primaryKey": list(of.primary_key)} if of.primary_key and known >= set(of.primary_key) else {}
        return json.dumps({**said, **key, "fields": fields}, ensure_ascii=False, indent=1) + "\n"


def _described(column: Field) -> dict[str, str]:
    said = {"name": column.name, "type": column.type, "title": column.title, "description": column.description}
    return {**said, "unit": column.unit} if column.unit else said


def input_table(name: str, rows: Sequence[Row]) -> ExportTable:
    """Return an input table with these rows."""
    return _table(INPUT, name, contract(name).fields, rows)


def result_table(name: str, rows: Sequence[Row]) -> ExportTable:
    """Return a result table with these rows: those that no row has are left out, and those it is grouped by
    come first.
    """
    seen = dict.fromkeys(key for row in rows for key in row)
    known = contract(name)
    grouped = [_label(key) for key in seen if key not in known.names]
    own = [each for each in known.fields if each.name in seen or not rows]
    return _table(RESULT, name, (*grouped, *own), rows)


def settings_table(settings: Settings) -> ExportTable:
    """Return the farm's settings as a table: by name, the value as text."""
    known = contract("farm")
    columns = tuple(Field(name, "string", title, title) for name, title in SETTINGS_COLUMNS.items())
    rows = [(each.name, _text(settings[each.name]), each.description) for each in known.fields]
    return ExportTable(SETTINGS, replace(known, name=SETTINGS, primary_key=()), columns, rows)


def _text(value: object) -> str:
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False, default=str)


def _label(name: str) -> Field:
    """The column of the labels that a result is grouped by: the texts of a column of batches or fillings."""
    found = next((each for each in recipe_columns() if each.name == name), None)
    if found is None:
        return Field(name, "string", name.replace("_", " ").capitalize(), "What the row is of.")
    return Field(name, "string", found.title, f"What the row is of: {found.description}")


def _table(kind: str, name: str, columns: Sequence[Field], rows: Sequence[Row]) -> ExportTable:
    cells = [tuple(cell_of(each, row.get(each.name)) for each in columns) for row in rows]
    return ExportTable(kind, contract(name), tuple(columns), cells)


def cell_of(column: Field, value: object) -> Cell:
    """Return a cell as its column holds it. Raises TypeError for what no column holds."""
    if value is None:
        return None
    if column.type == "string":
        return value if isinstance(value, str) else str(value)
    if column.type == "number" and column.decimals is None and isinstance(value, int | float | Decimal):
        return float(value)
    if isinstance(value, bool | int | float | Decimal | date):
        return value
    raise TypeError(f"{column.name} holds no {column.type}: {value!r}")


def records(table: ExportTable) -> list[Mapping[str, Cell]]:
    """Return the rows of a table by the names of its columns."""
    names = [each.name for each in table.columns]
    return [dict(zip(names, row, strict=True)) for row in table.rows]
