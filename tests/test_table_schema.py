"""Our cell checks beside the reference Python implementation of the open Table Schema format (development only).

Both judge the same CSV files by the same contract, cell by cell. Every difference found is explained below, and every
explanation is needed.
"""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path

import pytest

from pipeline.farm import TableFile, table_files
from pipeline.read import read_table
from pipeline.screen import screen
from schemas.contract import INPUTS, contract

DEMO = Path(__file__).parent.parent / "demo_data"
# The version 2 of the standard has the exclusive bounds; this names it, and nothing is fetched from there.
STANDARD = "https://datapackage.org/profiles/2.0/dataresource.json"
TYPES = ("date", "number", "integer")
BOUNDS = ("minimum", "exclusiveMinimum", "maximum", "exclusiveMaximum")

# (row, column) -> the rules that its cell breaks; a cell in order is not in it.
Verdicts = dict[tuple[int, str], set[str]]


def ours(source: TableFile) -> Verdicts:
    """What do we find wrong with the file's cells, as to type and constraints? What only warns is not asked here."""
    done = screen([read_table(source, source.path.read_bytes())])
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
            "schema": {"fields": fields},
        },
        basepath=str(source.path.parent),
    )
    told: Verdicts = {}
    for task in resource.validate().tasks:
        for error in task.errors:
            if error.type == "blank-row":
                continue
            rule = "type" if error.type == "type-error" else error.note.split('"')[1]
            print(error.type, error.note)
            told.setdefault((error.row_number, error.field_name), set()).add(rule)
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
2026-05-01,emptied,,,9999999999
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
A,B3,0.01,9999999999,
""",
}

@pytest.mark.parametrize("table", INPUTS)
def test_x(table: str, tmp_path: Path) -> None:
    path = tmp_path / f"{table}.csv"
    path.write_text(FILES[table].strip("\n"), encoding="utf-8")
    source = TableFile(table, path.name, path)
    a, b = ours(source), theirs(source)
    import csv
    rows = list(csv.reader(path.open(newline="")))
    for key in sorted(set(a) | set(b)):
        if a.get(key) != b.get(key):
            print(table, key, repr(rows[key[0]-1][rows[0].index(key[1])]), a.get(key), b.get(key))
