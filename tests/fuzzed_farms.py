"""Strategies for whole farms and their farm.toml, and what the ledger and the lists of a checked farm tell."""

from __future__ import annotations

import csv
import json
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import duckdb
from fuzzed_cells import own_ways
from fuzzed_files import Written, csv_files, mutated
from fuzzed_reading import BLANK, Own, Plain, columns_of, verdict
from fuzzed_workbooks import workbooks
from hypothesis import strategies as st

from schemas.contract import GROWING, INPUTS, contract

Key = tuple[str, str]  # table, file
NAMES = {
    "batches": ["batches.csv", "batches/old.csv", "batches/it's; new.CSV"],
    "fillings": ["fillings.tsv", "fillings/a.csv", "fillings/K\u00fcche 1,2.csv"],
    "observations": ["observations.csv", "observations/a b.csv"],
    "harvests": ["harvests.csv", "harvests/2026-01.csv", "harvests/2026-02.csv"],
    "prices": ["prices.csv", "prices/a;b.csv"],
    "sales": ["sales.csv", "sales/2026 01.csv"],
    "promises": ["promises.csv", "promises/caf\u00e9.tsv"],
}


def _well(*lines: str) -> Written:
    header, *rows = [line.split(",") for line in lines]
    return Written("\n".join(lines).encode(), Plain(tuple(header), dict(enumerate(rows, start=2))), ",")


# What every farm holds, so that rows of the others belong somewhere.
WELL: Mapping[Key, Written] = {
    ("batches", "batches/well.csv"): _well(
        "batch,inoculated_on,strain,substrate", "W1,2026-01-01,grey,straw", "W2,2026-01-05,pink,straw"
    ),
    ("fillings", "fillings/well.csv"): _well("batch,container", "W1,c1", "W1,c2", "W2,c3"),
}


@dataclass(frozen=True)
class FuzzedFarm:
    """A farm's files and how they are written."""

    own: Own
    # A farm of many files says no more by being printed whole: `write` makes it anew.
    files: Mapping[Key, Written] = field(repr=False)

    def write(self, folder: Path) -> None:
        (folder / "farm.toml").write_text(toml_text(self.own.settings()), encoding="utf-8")
        for (table, name), written in self.files.items():
            (folder / table).mkdir(exist_ok=True)
            (folder / name).write_bytes(written.data)


def toml_text(settings: Mapping[str, Any]) -> str:
    """These settings as TOML writes them; parts of a part stand in braces."""
    return "".join(f"{_quoted(key)} = {_toml(value)}\n" for key, value in settings.items())


def _quoted(text: str) -> str:
    # A basic string of TOML is one of JSON (TOML 1.0, "String"), as long as nothing needs a pair of escapes.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _toml(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_quoted(key)} = {_toml(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return _quoted(value) if isinstance(value, str) else json.dumps(value)


@st.composite
def farms(draw: st.DrawFn, tame: int | None = None) -> FuzzedFarm:
    """A farm of one or more files of each table; of prices, sales and promises it may have none."""
    own = draw(own_ways())
    tame = draw(st.sampled_from([10, 9, 8])) if tame is None else tame
    files = dict(WELL)
    for table in INPUTS:
        least, most = (1, 2) if table in GROWING else (0, 1)
        for name in draw(st.lists(st.sampled_from(NAMES[table]), min_size=least, max_size=most, unique=True)):
            files[table, name] = draw(csv_files(table, own, tame))
        if draw(st.integers(0, 9)) == 0:
            files[table, f"{table}.xlsx"] = draw(workbooks(table, own))
    return FuzzedFarm(own, files)


SEPARATORS = {"semicolons": ";", "tabs": "\t"}


@dataclass(frozen=True)
class Standing:
    """What a checked farm tells of one file: how it stands, the mark between its columns, its counts, its loaded rows
    with their values, the rules told of each cell, and the rows that out/set_aside.csv lists.
    """

    stands: str
    separator: str
    counts: tuple[int, ...]
    loaded: Mapping[int, Mapping[str, Any]]
    found: Mapping[tuple[int, str], set[str]]
    aside: frozenset[int]


def standings(folder: Path) -> dict[Key, Standing]:
    """What does the ledger tell of each file?"""
    with duckdb.connect(str(folder / "ledger.duckdb"), read_only=True) as con:
        asked = con.execute("select table_name, file, rows_in, loaded, set_aside, waiting, blank from row_counts")
        counts = {(table, file): tuple(told) for table, file, *told in asked.fetchall()}
        found: dict[Key, dict[tuple[int, str], set[str]]] = defaultdict(lambda: defaultdict(set))
        marks: dict[Key, str] = defaultdict(lambda: ",")
        asked = con.execute("select table_name, file, row, column_name, rule, value from findings")
        for table, file, row, column, rule, value in asked.fetchall():
            found[table, file][row, column or ""].add(rule)
            if rule == "separator":
                marks[table, file] = SEPARATORS[value]
        stand = {
            (table, file): how
            for table, file, how in con.execute("select table_name, file, status from files").fetchall()
        }
        loaded: dict[Key, dict[int, dict[str, Any]]] = defaultdict(dict)
        for table in INPUTS:
            cursor = con.execute(f"select * from {table}")
            names = [column[0] for column in cursor.description or ()]
            for record in (dict(zip(names, values, strict=True)) for values in cursor.fetchall()):
                assert record["row"] not in loaded[table, record["file"]], "a row is loaded once"
                loaded[table, record["file"]][record["row"]] = record
    aside: dict[Key, set[int]] = defaultdict(set)
    for told in csv_records(folder / "out" / "set_aside.csv"):
        key = told["table"], unguarded(told["file"])
        # A column that a file lacks is listed once, for all of its rows.
        of_all = {row for (row, _), rules in found[key].items() if row and told["rule"] in rules} - set(loaded[key])
        aside[key] |= {int(told["row"])} if told["row"] else of_all
    return {
        key: Standing(stand[key], marks[key], counts[key], loaded[key], found[key], frozenset(aside[key]))
        for key in counts
    }


def csv_records(path: Path) -> list[dict[str, str]]:
    with open(path, encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines, strict=True))


def unguarded(name: str) -> str:
    return name.removeprefix("'")


def told_of_cells(
    key: Key, written: Written, own: Own, row: int, standing: Standing, filled: frozenset[str]
) -> dict[str, Any]:
    """The values of a loaded row that come from its own cells: none that the ledger works out where a cell is blank, or
    puts in the place of one that it tells of. `filled`: the batches with loaded fillings; of any other, a container
    stands for the batch, once.
    """
    table, plain = contract(key[0]), written.plain
    places = columns_of(table.name, plain, own)
    values = {name: standing.loaded[row][name] for name in table.names}
    if table.name not in ("observations", "harvests"):
        # A sale without a kind is one that was sold.
        return {name: value for name, value in values.items() if name != "kind" or value != "sold"}

    def worked_out(name: str) -> bool:
        text = plain.cell(row, places[name][0]) if name in places else ""
        return verdict(text, table.field(name), own) == BLANK or bool(standing.found.get((row, name)))

    left_out = {name for name in ["batch", "container", "flush", "count"] if name in values and worked_out(name)}
    if values["batch"] not in filled:
        left_out.add("container")
    left_out |= {"count"} if "container" in left_out else set()
    if "culls_above_weight" in standing.found.get((row, "culled_g"), set()):
        left_out.add("culled_g")
    return {name: value for name, value in values.items() if name not in left_out}


A_FARM_TOML = """name = "North \u00fc shed"
decimal_mark = ","
thousands_mark = "."
date_order = "day_month_year"
blank_words = ["-", "none"]
new_flush_after_days = 6
price_per_kg = 12.5
late_from = "flat"

[headings.harvests]
"Weight (oz)" = {column = "fresh_weight_g", unit = "oz"}
"Bucket" = "container"
"Day" = "picked_on"

[words.cap_stage]
"young" = "curled"

[files."log.csv"]
tables = ["harvests", "observations"]
sheet = "2026"
"""
SCALARS = st.one_of(
    st.sampled_from(
        ["", ",", ".", " ", "'", "x", "flat", "day_month_year", "harvests", "../x", "a\nb", "\u202e", "{}"]
    ),
    st.integers(-5, 400),
    st.sampled_from([2**70, -1, 0, 1.5, 1e300, True, False]),
)
WORDS = (
    "nam harvests batches cap_stage event column unit oz tables sheet fresh_weight_g container log.csv harvests.csv "
    "/etc/x.csv C:x.csv harvests/x.xlsx"
)
NAMES_IN_TOML = st.sampled_from([*contract("farm").names, *WORDS.split(), "", "a b"])
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(NAMES_IN_TOML, inner, max_size=3)),
    max_leaves=8,
)
SETTINGS = st.dictionaries(NAMES_IN_TOML, VALUES, max_size=4).map(toml_text).map(str.encode)


def farm_tomls() -> st.SearchStrategy[bytes]:
    """A farm.toml of settings that nobody means, of bytes that were well once, or of any bytes."""
    return st.one_of(SETTINGS, mutated(A_FARM_TOML.encode()), SETTINGS, st.binary(max_size=60))
