"""report.json says what the page says: it keeps its contract, and every figure in it follows from its own tables."""

from __future__ import annotations

import json
import shutil
from collections.abc import Mapping
from datetime import date
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from conftest import gillbook
from report_months import CASES, page_of
from report_reader import read_page, told_by

from reports.report_json import report_json
from schemas.contract import RESULTS, contract

DEMO = Path(__file__).resolve().parents[1] / "demo_data"
JSON_TYPES: Mapping[str, type | tuple[type, ...]] = {
    "number": (int, float),
    "integer": int,
    "string": str,
    "boolean": bool,
    "date": str,
}


def kept(text: str) -> dict[str, Any]:
    """Reads a report.json. Fails where it does not keep its contract, or a row of its tables not theirs."""
    rules = json.loads(files("schemas").joinpath("report.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(rules)
    data: dict[str, Any] = json.loads(text)
    jsonschema.Draft202012Validator(rules).validate(data)
    for name, rows in data["tables"].items():
        assert name in RESULTS
        types = {each.name: each.type for each in contract(name).fields}
        for row in rows:
            for column, value in row.items():
                assert value is None or isinstance(value, JSON_TYPES[types[column]] if column in types else object), (
                    name,
                    column,
                )
                if value is not None and types.get(column) == "date":
                    assert date.fromisoformat(value).isoformat() == value
    return data


def place_of(data: Mapping[str, Any], table: str, row: int) -> int:
    """Where a row of a table stands, of which some rows may be left out. Fails where it is left out itself."""
    before = 0
    for first, last in data.get("cut", {}).get(table, {}).get("kept", [[0, row]]):
        if first <= row <= last:
            return before + row - first
        before += last - first + 1
    raise AssertionError(f"{table}/{row} is left out")


def value_of(data: Mapping[str, Any], figure: Mapping[str, Any]) -> float | None:
    """The value that a figure should have, by the tables of the same file alone."""
    tables = {**data["tables"], "month": [data["counts"]]}
    cells = [place.split("/") for place in figure["inputs"]]
    if figure["formula"] in ("sum", "count", "count_positive"):
        (table, _, column) = cells[0]
        if figure["formula"] == "count":
            return len(tables[table])
        values = [row[column] for row in tables[table]]
        return sum(values) if figure["formula"] == "sum" else sum(1 for each in values if each)
    values = [tables[table][place_of(data, table, int(row))][column] for table, row, column in cells]
    if figure["formula"] == "cell":
        (value,) = values
        return value
    left, right = values
    return left - right if figure["formula"] == "difference" else 100 * (left - right) / right


@pytest.mark.parametrize("case", CASES)
def test_it_keeps_its_contract_and_each_figure_follows_from_its_tables(case: str) -> None:
    data = kept(report_json(CASES[case]()))
    assert data["says"]
    for said in data["says"]:
        for figure in said["figures"]:
            assert figure["value"] == pytest.approx(value_of(data, figure)), figure
            assert figure["shown"] in said["text"]


@pytest.mark.parametrize("case", CASES)
def test_every_figure_in_the_words_of_the_page_is_in_it_and_none_else(case: str) -> None:
    month = CASES[case]()
    data = kept(report_json(month))
    tables = {f"data-{key}" for key in ("cell", "formula")}
    of_page = {(json.loads(attributes["data-value"]), text) for attributes, text in read_page(page_of(case)).figures}
    said = {(each["value"], each["shown"]) for one in data["says"] for each in one["figures"]}
    # A tile shows its unit beside its figure.
    shown = {(value, text.partition("\u00a0")[0]) for value, text in of_page}
    assert {(value, text.partition("\u00a0")[0]) for value, text in said} - shown == set()
    in_words = [
        json.loads(attributes["data-value"])
        for attributes, text in read_page(page_of(case)).figures
        if tables & attributes.keys() and "number" not in attributes["class"].split()
    ]
    values = {each["value"] for one in data["says"] for each in one["figures"]}
    cells = {cell for rows in data["tables"].values() for row in rows for cell in row.values() if cell is not True}
    assert [value for value in in_words if value not in values | cells] == []


def test_the_brief_one_says_its_first_page_alone() -> None:
    month = CASES["first_month"]()
    whole, brief = kept(report_json(month)), kept(report_json(month, brief=True))
    assert {each["section"] for each in brief["says"]} == {"first"}
    assert whole["says"][: len(brief["says"])] == brief["says"]
    assert len(whole["says"]) > len(brief["says"])
    assert brief["tables"] == whole["tables"]


def test_a_figure_that_follows_wrongly_is_seen() -> None:
    data = kept(report_json(CASES["one_batch"]()))
    figure = next(each for said in data["says"] for each in said["figures"] if each["formula"] == "change_pct")
    attributes = {"data-formula": figure["formula"], "data-inputs": " ".join(figure["inputs"])}
    assert value_of(data, figure) == told_by(CASES["one_batch"](), attributes) != figure["value"] + 1


def test_it_stands_beside_the_page_and_is_named_on_demand(tmp_path: Path) -> None:
    folder = tmp_path / "farm"
    shutil.copytree(DEMO, folder)
    (record,) = gillbook("report", "--month", "2026-09", "--json", "--farm", folder).json
    out = folder / "out"
    assert record == {
        "period": "2026-09",
        "html": str(out / "report-2026-09.html"),
        "json": str(out / "report-2026-09.json"),
        "pdf": None,
    }
    data = kept((out / "report-2026-09.json").read_text(encoding="utf-8"))
    assert (data["from"], data["to"], data["as_of"], data["over"]) == ("2026-09-01", "2026-09-30", "2026-09-30", True)
    months = gillbook("months", "--as-of", "2026-09-30", "--farm", folder, "--json").json
    assert data["tables"]["months"][-1]["fresh_g"] == months[-1]["fresh_g"]
    first = (out / "report-2026-09.json").read_bytes()
    (folder / "ledger.duckdb").unlink()
    assert gillbook("report", "--month", "2026-09", "--farm", folder).code == 0
    assert (out / "report-2026-09.json").read_bytes() == first
