"""What do the rows of a farm's CSV files say? The first third of the oracle: text to values, in plain Python.

Nothing is taken from the program: the contract files are read for the columns' names, types, constraints and
words only.
"""

import csv
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction
from operator import ge, gt, le, lt
from pathlib import Path
from typing import Any

CONTRACTS = Path(__file__).resolve().parents[1] / "schemas" / "inputs"
DATE = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})([T ][0-9]{2}:[0-9]{2}(:[0-9]{2})?)?")
NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)")
INTEGER = re.compile(r"[0-9]+")
LIMITS = {"minimum": ge, "exclusiveMinimum": gt, "maximum": le, "exclusiveMaximum": lt}
# A row without one of these cells cannot be counted; any other faulty cell is only emptied.
NEEDED = {
    "batches": ("batch",),
    "fillings": ("batch", "container"),
    "observations": ("seen_on", "event"),
    "harvests": ("picked_on", "fresh_weight_g"),
}
UNIQUE = {
    "batches": ("batch",),
    "fillings": ("batch", "container"),
    "observations": (),  # an entry that stands twice is warned of; its kilograms stay
    "harvests": (),
}


@dataclass(frozen=True, eq=False)
class Row:
    """What does one line of a CSV file say? `texts` as written but trimmed, the rest as read; by column."""

    file: str
    number: int
    texts: Mapping[str, str]
    words: dict[str, str] = field(default_factory=dict)
    dates: dict[str, date] = field(default_factory=dict)
    numbers: dict[str, Fraction] = field(default_factory=dict)

    def has(self, column: str) -> bool:
        """Does the column hold a cell that could be read and keeps its constraints?"""
        return column in self.words or column in self.dates or column in self.numbers


def columns_of(table: str) -> list[dict[str, Any]]:
    """Which columns does the table have, with their types and constraints?"""
    contract = json.loads((CONTRACTS / f"{table}.json").read_text(encoding="utf-8"))
    columns: list[dict[str, Any]] = contract["fields"]
    return columns


def rows_of(farm: Path, table: str) -> list[Row]:
    """Which rows does the table have, blank ones (without texts) included, ordered by file and row?"""
    columns = columns_of(table)
    paths = [*farm.glob(f"{table}.csv"), *farm.glob(f"{table}/*.csv")]
    rows = []
    for file, path in sorted((path.relative_to(farm).as_posix(), path) for path in paths):
        with path.open(encoding="utf-8-sig", newline="") as handle:
            records = [[cell.strip() for cell in record] for record in csv.reader(handle)]
        header = records[0] if records else []
        rows += [read_row(columns, file, at, header, cells) for at, cells in enumerate(records[1:], start=2)]
    return rows


def read_row(columns: list[dict[str, Any]], file: str, number: int, header: list[str], cells: list[str]) -> Row:
    """What do the cells of one record mean?"""
    # Cells without a heading go by their position, so that a repeat is told by every cell.
    names = [name or f"cell {at}" for at, name in enumerate(header)]
    names += [f"cell {at}" for at in range(len(names), len(cells))]
    row = Row(file, number, {name: cell for name, cell in zip(names, cells, strict=False) if cell})
    for column in columns:
        text = row.texts.get(column["name"])
        value = None if text is None else value_of(column, text)
        if isinstance(value, str):
            row.words[column["name"]] = value
        elif isinstance(value, date):
            row.dates[column["name"]] = value
        elif value is not None:
            row.numbers[column["name"]] = value
    return row


def value_of(column: dict[str, Any], text: str) -> str | date | Fraction | None:
    """What does the cell mean? None: it cannot be read, or breaks a constraint."""
    limits = column.get("constraints", {})
    if column["type"] == "string":
        word = word_of(column, text)
        return word if word in limits.get("enum", [word]) else None
    if column["type"] == "date":
        day = day_of(text)
        earliest = date.fromisoformat(limits.get("minimum", "0001-01-01"))
        return day if day is not None and day >= earliest else None
    pattern = INTEGER if column["type"] == "integer" else NUMBER
    if not pattern.fullmatch(text):
        return None
    exact = Fraction(Decimal(text))
    if not all(holds(exact, Fraction(str(limits[name]))) for name, holds in LIMITS.items() if name in limits):
        return None
    if "decimals" not in column:
        return exact
    scale = 10 ** int(column["decimals"])  # the ledger keeps masses, none below 0, to so many decimals
    return Fraction(int(exact * scale + Fraction(1, 2)), scale)


def word_of(column: dict[str, Any], text: str) -> str:
    """Which of the column's own words is meant, if it has any? Other text stays as it is."""
    synonyms = column.get("synonyms", {})
    ours = [*column.get("constraints", {}).get("enum", []), *column.get("expect", {}).get("enum", [])]
    plain = text.lower().replace(" ", "_").replace("-", "_")
    plain = synonyms.get(plain, plain)
    return plain if plain in ours else text


def day_of(text: str) -> date | None:
    """Which day is written, YYYY-MM-DD with or without a time of day?"""
    match = DATE.fullmatch(text)
    try:
        return date.fromisoformat(match[1]) if match else None
    except ValueError:  # such as 2026-02-30
        return None


def faulty_rows(table: str, rows: list[Row]) -> set[Row]:
    """Which rows are set aside for their own cells: unreadable, repeated, or at odds with another row?"""
    faulty = {row for row in rows if not all(row.has(column) for column in NEEDED[table])}
    contents: dict[tuple[str, ...], set[frozenset[tuple[str, str]]]] = {}
    met = set()
    for row in rows:  # by file and row, so that the first of equal rows is the one that stays
        content = frozenset(row.texts.items())
        if content in met:
            faulty.add(row)
        met.add(content)
        contents.setdefault(key_of(table, row), set()).add(content)
    if not UNIQUE[table]:
        return faulty
    return faulty | {row for row in rows if all(key_of(table, row)) and len(contents[key_of(table, row)]) > 1}


def key_of(table: str, row: Row) -> tuple[str, ...]:
    """Which cells may stand only once in the table?"""
    return tuple(row.words.get(column, "") for column in UNIQUE[table])
