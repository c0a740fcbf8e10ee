"""Our cell checks beside the reference Python implementation of the open Table Schema format (development only).

Both judge the same CSV files by the same contract, cell by cell. Every difference found is explained below, and every
explanation is needed.
"""

from __future__ import annotations

import csv
import json
from importlib.resources import files
from pathlib import Path

import pytest

from pipeline.farm.folder import TableFile, table_files
from pipeline.files.read import read_table
from pipeline.files.validate import validate
from schemas.cell_format import BLANK_WORDS
from schemas.contract import INPUTS, contract

DEMO = Path(__file__).parent.parent / "demo_data"
# The version 2 of the standard has the exclusive bounds; this names it, and nothing is fetched from there.
STANDARD = "https://datapackage.org/profiles/2.0/dataresource.json"
TYPES = ("date", "number", "integer", "date_order", "date_two_ways", "decimal_mark")
BOUNDS = ("minimum", "exclusiveMinimum", "maximum", "exclusiveMaximum")

# (row, column) -> the rules that its cell breaks; a cell in order is not in it.
Verdicts = dict[tuple[int, str], set[str]]


def ours(source: TableFile) -> Verdicts:
    """What do we find wrong with the file's cells, as to type and constraints? What only warns is not asked here."""
    done = validate([read_table(source, source.path.read_bytes())])
    told: Verdicts = {}
    for row, column, rule, level in done.findings.select("row", "column_name", "rule", "level").rows():
        if level in ("set_aside", "dropped") or rule == "required":
            told.setdefault((row, column), set()).add("type" if rule in TYPES else rule)
    return told


def theirs(source: TableFile) -> Verdicts:
    """What does the reference implementation find wrong with them?"""
    from frictionless import Resource

    schema = json.loads(files("schemas").joinpath(f"inputs/{source.table}.json").read_text(encoding="utf-8"))
    fields = [{key: each[key] for key in ("name", "type", "constraints") if key in each} for each in schema["fields"]]
    header = source.path.read_text(encoding="utf-8").lstrip().splitlines()[0].split(",")
    fields = [next(each for each in fields if each["name"] == name) for name in header]
    resource = Resource.from_descriptor(
        {
            "$schema": STANDARD,
            "name": source.table,
            "path": source.path.name,
            "encoding": "utf-8",
            "schema": {"fields": fields, "missingValues": ["", *BLANK_WORDS]},
        },
        basepath=str(source.path.parent),
    )
    told: Verdicts = {}
    for task in resource.validate().tasks:
        for error in task.errors:
            if error.type == "blank-row":
                continue
            rule = "type" if error.type == "type-error" else error.note.split('"')[1]
            place = error.to_descriptor()
            told.setdefault((place["rowNumber"], place["fieldName"]), set()).add(rule)
    return told


FILES = {
    "harvests": """
picked_on,fresh_weight_g,container,flush,cap_stage,culled_g
2026-05-01,412.5,B1,2,curled,0

2026-05-01,.5,007,1,turned_up,5.
2026-02-30,400,B1,1,,
2026-5-1,400,B1,1,,
20260501,400,B1,1,,
epoch,400,B1,1,,
infinity,400,B1,1,,
01/05/2026,400,B1,1,,
2026-05-01 10:00,400,B1,1,,
2026-05-01T10:00:00Z,400,B1,1,,
 2026-05-01 ,400,B1,1,,
1899-12-31,400,B1,1,,
1900-01-01,400,B1,1,,
,400,B1,1,,
  ,400,B1,1,,
,,,,,
2026-05-01,+400,B1,1,,
2026-05-01, 400 ,B1,1,,
2026-05-01,1e3,B1,1,,
2026-05-01,INF,B1,1,,
2026-05-01,-Infinity,B1,1,,
2026-05-01,NaN,B1,1,,
2026-05-01,0x10,B1,1,,
2026-05-01,1_000,B1,1,,
2026-05-01,"1,5",B1,1,,
2026-05-01,400 g,B1,1,,
2026-05-01,\u0664\u0660\u0660,B1,1,,
2026-05-01,.,B1,1,,
2026-05-01,-,B1,1,,
2026-05-01,N/A,B1,1,,
2026-05-01,1000000000000000000000,B1,1,,
2026-05-01,0.001,B1,1,,
2026-05-01,0.0004,B1,1,,
2026-05-01,0,B1,1,,
2026-05-01,-0,B1,1,,
2026-05-01,-30,B1,1,,
2026-05-01,,B1,1,,
2026-05-01, ,B1,1,,
2026-05-01,400,"B
1",2.5,,
2026-05-01,400,B1,2.0,,
2026-05-01,400,B1,+2,,
2026-05-01,400,B1,02,,
2026-05-01,400,B1, 2,,
2026-05-01,400,B1,1_0,,
2026-05-01,400,B1,\u0662,,
2026-05-01,400,B1,1e1,,
2026-05-01,400,B1,nan,,
2026-05-01,400,B1,0,,
2026-05-01,400,B1,99,,
2026-05-01,400,B1,100,,
2026-05-01,400,B1,12345678901,,
2026-05-01,400,B1,1,Curled,
2026-05-01,400,B1,1,turned down,
2026-05-01,400,B1,1, flat,
2026-05-01,400,B1,1,inrolled,
2026-05-01,400,B1,1,open,
2026-05-01,400,B1,1,,-0.001
""",
    "observations": """
seen_on,event,container,flush,count
2026-05-01,pins,B1,1,1
2026-05-01,PINS,B1,1,
2026-05-01,,B1,1,
2026-05-01,seen,B1,1,
2026-05-01,emptied,,,0
2026-05-01,emptied,,,1234567890
2026-05-32,emptied,,,-1
""",
    "batches": """
batch,inoculated_on,strain,substrate,ph_start,substrate_wet_kg,moisture_pct,dry_basis,incubation_c
A,2026-04-01,grey,straw,12.4,40,70,oven,22
,2026-04-01,,,14,0.000001,0,air,-20
 ,2026-04-01, ,straw,14.1,0,99.9,Oven,60
B,,grey,straw,-0.1,-1,100,sun,60.5
C,2026-13-01,grey,straw,0,,-1,,-21
D,2026-04-01,grey,straw,1e1,40,7e1,,
""",
    "fillings": """
batch,container,volume_l,holes_open,fill_kg
A,B1,20,6,5
A,,0,0,0
,B1,-1,-1,0.0000001
A,B2,20 L,6.0,5 kg
A,B3,0.01,1234567890,
""",
}

NO_GUESS = "a cast's guess: exponents, INF, NaN, underscores and digits of other scripts are no cells of a farm"
WORDS = "coded words are known whatever their case, spaces and hyphens, and by their synonyms"
TRIMMED = "cells are trimmed before they are judged, so that spaces alone are a blank cell"
TIMES = "a time of day after a date is dropped with a notice"
STRICT = "a date has two digits for month and day, as ISO 8601 has it"
ONE_EACH = "one finding a cell: below the minimum says more than not above it"
LEDGER = "the ledger holds 18 digits of a mass and 9 of a whole number"
ROUNDED = "a mass is rounded to 0.001 g (kg: 0.000001) first, and nothing is left of it"

# (column, cell): what we say, what they say, and why they differ.
DIFFERENCES = {
    ("fresh_weight_g", "1e3"): ("type", "", NO_GUESS),
    ("fresh_weight_g", "INF"): ("type", "", NO_GUESS),
    ("fresh_weight_g", "-Infinity"): ("type", "exclusiveMinimum minimum", NO_GUESS),
    ("fresh_weight_g", "NaN"): ("type", "exclusiveMinimum minimum", NO_GUESS),
    ("fresh_weight_g", "1_000"): ("type", "", NO_GUESS),
    ("fresh_weight_g", "\u0664\u0660\u0660"): ("type", "", NO_GUESS),
    ("flush", "1_0"): ("type", "", NO_GUESS),
    ("flush", "\u0662"): ("type", "", NO_GUESS),
    ("ph_start", "1e1"): ("type", "", NO_GUESS),
    ("moisture_pct", "7e1"): ("type", "", NO_GUESS),
    ("cap_stage", "Curled"): ("", "enum", WORDS),
    ("cap_stage", "turned down"): ("", "enum", WORDS),
    ("cap_stage", "inrolled"): ("", "enum", WORDS),
    ("event", "PINS"): ("", "enum", WORDS),
    ("dry_basis", "Oven"): ("", "enum", WORDS),
    ("cap_stage", " flat"): ("", "enum", TRIMMED),
    ("picked_on", " 2026-05-01 "): ("", "type", TRIMMED),
    ("picked_on", "  "): ("required", "type", TRIMMED),
    ("fresh_weight_g", " "): ("required", "type", TRIMMED),
    ("batch", " "): ("required", "", TRIMMED),
    ("strain", " "): ("required", "", TRIMMED),
    ("picked_on", "2026-05-01 10:00"): ("", "type", TIMES),
    ("picked_on", "2026-05-01T10:00:00Z"): ("", "type", TIMES),
    ("picked_on", "2026-5-1"): ("date_spelling", "", STRICT),
    ("fresh_weight_g", "-30"): ("minimum", "exclusiveMinimum minimum", ONE_EACH),
    ("fresh_weight_g", "1000000000000000000000"): ("too_large", "", LEDGER),
    ("flush", "12345678901"): ("too_large", "maximum", LEDGER),
    ("holes_open", "1234567890"): ("too_large", "", LEDGER),
    ("count", "1234567890"): ("too_large", "", LEDGER),
    ("fresh_weight_g", "0.0004"): ("exclusiveMinimum", "", ROUNDED),
    ("fill_kg", "0.0000001"): ("exclusiveMinimum", "", ROUNDED),
}


def compare(source: TableFile) -> tuple[dict[tuple[str, str], tuple[str, str]], int]:
    """Where do the two differ: (column, cell) -> (ours, theirs)? And on how many faulty cells do they agree?"""
    with source.path.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.reader(lines))
    header = next(row for row in rows if any(row))
    mine, reference = ours(source), theirs(source)
    agreed = [place for place in mine if mine[place] == reference.get(place)]
    differences = {}
    for row, column in (set(mine) | set(reference)) - set(agreed):
        cell = rows[row - 1][header.index(column)]
        said = [" ".join(sorted(told.get((row, column), ()))) for told in (mine, reference)]
        differences[column, cell] = (said[0], said[1])
    return differences, len(agreed)


def odd_files(folder: Path) -> list[TableFile]:
    for table, text in FILES.items():
        (folder / f"{table}.csv").write_text(text.strip("\n"), encoding="utf-8", newline="\n")
    return table_files(folder)


def test_every_difference_from_the_reference_implementation_is_explained_and_every_explanation_needed(
    tmp_path: Path,
) -> None:
    found: dict[tuple[str, str], tuple[str, str]] = {}
    agreed = 0
    for source in odd_files(tmp_path):
        differences, cells = compare(source)
        found |= differences
        agreed += cells
    assert found == {place: (mine, reference) for place, (mine, reference, _) in DIFFERENCES.items()}
    assert agreed >= 40, "faulty cells of which both say the same"


def test_the_reference_implementation_reads_our_contracts_as_table_schemas() -> None:
    from frictionless import Schema

    for table in INPUTS:
        raw = json.loads(files("schemas").joinpath(f"inputs/{table}.json").read_text(encoding="utf-8"))
        report = Schema.validate_descriptor({**raw, "$schema": STANDARD.replace("dataresource", "tableschema")})
        assert report.valid, report.flatten(["type", "note"])
        assert contract(table).names == tuple(each["name"] for each in raw["fields"])


@pytest.mark.parametrize("source", table_files(DEMO), ids=lambda source: source.name)
def test_on_the_demo_farm_both_say_the_same_of_every_cell(source: TableFile) -> None:
    assert compare(source)[0] == {}
