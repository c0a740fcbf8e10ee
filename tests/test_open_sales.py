"""Selling and promising by `gillbook open`: what a telephone sends and what a form of the desk says."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

import pytest
from open_farms import TODAY, Served, serving, small_farm

PHONE = ("--phone", "--address", "127.0.0.3")
COLUMNS = "sold_on,weight_g,buyer,strain,price_per_kg,amount,kind,batch,picked_on,entry,note"


@pytest.fixture(scope="module")
def farm_served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Served]]:
    folder = small_farm(tmp_path_factory.mktemp("selling"))
    with serving(folder, *PHONE) as served:
        yield folder, served


def records(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / name).open(encoding="utf-8", newline="") as file:
        return [{name: cell for name, cell in row.items() if cell} for row in csv.DictReader(file)]


def test_a_telephones_sales_are_on_disk_once_and_one_that_cannot_be_is_named(farm_served: tuple[Path, Served]) -> None:
    folder, served = farm_served
    _, cookie = served.join(served.invitation())
    good, bad = f"{TODAY},2500,Inn,,12.35,,,,,ps1,", f"{TODAY},500,Inn,,dear,,,,,ps2,"
    for _ in range(3):
        status, answer = served.send(cookie, good, bad, header=COLUMNS)
        assert (status, answer["home"]) == (200, ["ps1"])
        assert "dear" in answer["left"]["ps2"]
    kept = records(folder, "sales.csv")
    assert kept == [
        {"sold_on": f"{TODAY}", "weight_g": "2500", "buyer": "Inn", "price_per_kg": "12.35", "entry": "ps1"}
    ]
    back = f"{TODAY},,Inn,,12.35,,,,,ps3,,ps1"
    assert served.send(cookie, back, header=COLUMNS + ",takes_back")[1]["home"] == ["ps3"]
    assert served.send(cookie, good, header=COLUMNS)[1]["home"] == ["ps1"]
    assert records(folder, "sales.csv") == []
