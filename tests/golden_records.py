"""The reference records of tests/golden: R's values with the data sets that they were taken from."""

import csv
import json
from collections import defaultdict
from pathlib import Path
from typing import Any

import pytest

GOLDEN = Path(__file__).parent / "golden"
RECORDS: list[dict[str, Any]] = json.loads((GOLDEN / "golden_A.json").read_text(encoding="utf-8"))


def records(method: str, start: str = "") -> list[Any]:
    """The records of a method whose name begins so, as parameters: its name and its values."""
    found = [each for each in RECORDS if each["method"].startswith(method) and each["id"].startswith(start)]
    assert found, method
    return [pytest.param(each["id"], each["value"], id=f"{each['id']}, {each['method']}") for each in found]


def table(name: str) -> list[dict[str, str]]:
    """The rows of a data set."""
    with (GOLDEN / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def grouped(name: str, key: str, value: str) -> dict[str, list[float]]:
    """The values of a data set by one of its columns."""
    found: dict[str, list[float]] = defaultdict(list)
    for row in table(name):
        found[row[key]].append(float(row[value]))
    return dict(found)


def means(name: str, keys: tuple[str, str], value: str) -> dict[str, dict[str, float]]:
    """The mean of a value by two columns: of each batch, and of each level within it."""
    found: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for row in table(name):
        found[row[keys[1]]][row[keys[0]]].append(float(row[value]))
    return {level: {batch: sum(values) / len(values) for batch, values in own.items()} for level, own in found.items()}
