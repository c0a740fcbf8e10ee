"""What leaves and what is promised is logged as pickings are: on disk, with an id, taken back, asked about twice."""

from __future__ import annotations

import csv
import subprocess
import sys
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest
from conftest import Said
from ledgers import BATCHES, FILLINGS, HARVESTS, here, rows

MakeFarm = Callable[..., Path]
DAY = "2026-02-07"


@pytest.fixture
def folder(farm: MakeFarm) -> Path:
    return farm(batches=BATCHES, fillings=FILLINGS, harvests=HARVESTS)


def run(folder: Path, *words: object) -> Said:
    return here(*words, "--farm", folder)


def records(path: Path) -> list[dict[str, str]]:
    with open(path, encoding="utf-8", newline="") as file:
        return [{name: cell for name, cell in row.items() if cell} for row in csv.DictReader(file)]


def test_a_sale_stands_in_its_file_and_in_the_ledger(folder: Path) -> None:
    words = ("0.3", "kg", "--to", "Blue Inn", "--price", "12,50", "--strain", "grey", "--batch", "a", "--on", DAY)
    said = run(folder, "sell", *words)
    assert (said.code, said.err) == (0, "")
    (row,) = records(folder / "sales.csv")
    assert said.out.splitlines() == [
        f"Logged: {DAY}: 300 g, of grey, to Blue Inn, at 12.5 a kg, batch A.",
        f"Written to sales.csv, row 2 (entry {row['entry']}). Take it back: gillbook sell --undo",
    ]
    cells = {"sold_on": DAY, "weight_g": "300", "buyer": "Blue Inn", "price_per_kg": "12.5"}
    assert row == {**cells, "strain": "grey", "batch": "A", "entry": row["entry"]}
    assert run(folder, "refresh").code == 0
    assert rows(folder, "select weight_g::double, paid::double, kind from sales") == [(300.0, 3.75, "sold")]


def test_the_same_again_is_asked_about_and_the_last_is_taken_back(folder: Path) -> None:
    for command, words in (
        ("sell", ("500", "--to", "inn", "--kind", "given", "--on", DAY)),
        ("promise", ("2kg", "--to", "inn", "--due", "2090-02-03")),
    ):
        file = folder / ("sales.csv" if command == "sell" else "promises.csv")
        assert run(folder, command, *words).code == 0
        before = file.read_bytes()
        again = run(folder, command, *words)
        assert (again.code, again.out) == (2, "")
        assert "to inn" in again.err
        assert "was entered a moment ago" in again.err
        assert file.read_bytes() == before
        assert run(folder, command, *words, "--insist").code == 0
        assert len(records(file)) == 2
        said = run(folder, command, "--undo")
        assert said.code == 0
        assert said.out.startswith("Taken back: ")
        assert file.read_bytes() == before
        assert run(folder, command, "--undo").code == 0
        assert records(file) == []


def test_an_entry_that_a_spreadsheet_took_away_is_named_and_put_back(folder: Path) -> None:
    run(folder, "sell", "500", "--to", "inn", "--amount", "6", "--on", DAY)
    file = folder / "sales.csv"
    file.write_text(file.read_text().splitlines()[0] + "\n")
    assert [each["what"] for each in run(folder, "lost", "--json").json] == [f"{DAY}: 500 g, to inn, for 6"]
    run(folder, "lost", "--put-back")
    assert records(file)[0]["amount"] == "6"


def test_promises_repeat_until_a_day(folder: Path) -> None:
    friday = date.today() + timedelta((4 - date.today().weekday()) % 7)
    said = run(
        folder, "promise", "12kg", "--to", "inn", "--due", "fri", "--every", "two weeks", "--until", "2090-01-01"
    )
    assert said.code == 0, said.err
    (row,) = records(folder / "promises.csv")
    assert (row["due_on"], row["weight_g"], row["repeats"]) == (friday.isoformat(), "12000", "two_weeks")
    assert (row["until_on"], row["buyer"]) == ("2090-01-01", "inn")


REFUSED = {
    "no weight": (["sell", "--to", "inn"], "sell: the weight is missing. Write it like gillbook sell 2.5kg --to NAME."),
    "no day": (["promise", "2kg"], "promise: the day is missing."),
    "a negative amount": (["sell", "500", "--amount", "-3"], "--amount -3: amount cannot be -3. Check it."),
    "another kind": (["sell", "500", "--kind", "solt"], "--kind solt: it is none of sold, given"),
    "a price in letters": (["sell", "500", "--price", "ten"], "--price ten: that is no number."),
    "another currency": (["sell", "500", "--price", "$10"], "--price $10: is not in the currency that farm.toml tells"),
    "an amount a pound": (["sell", "500", "--price", "10 EUR/lb"], "--price 10 EUR/lb: is not in the currency"),
    "a sale to come": (["sell", "500", "--on", "2090-01-01"], "--on 2090-01-01: that day lies in the future"),
    "picked after it": (["sell", "500", "--on", DAY, "--picked", "2026-02-08"], "Picked on 2026-02-08: that is after"),
    "until without every": (
        ["promise", "2kg", "--due", "2090-01-01", "--until", "2090-02-01"],
        "Until 2090-02-01: it is not said how often",
    ),
    "until before": (
        ["promise", "2kg", "--due", "2090-01-09", "--every", "week", "--until", "2090-01-01"],
        "Until 2090-01-01: that is before",
    ),
}
DOUBTED = {
    "an amount that differs": (["sell", "500", "--price", "10", "--amount", "6"], "6 is not weight times price, 5.00"),
    "a batch that is none": (["sell", "500", "--batch", "B"], "batch B is not in batches.csv"),
    "kilograms without their unit": (["sell", "2.5"], "2.5 g is little; kilograms are written 2.5kg"),
    "a promise of kilograms without their unit": (["promise", "12", "--due", "2090-01-01"], "12 g is little"),
    "a day that is over": (["promise", "2kg", "--due", "2020-01-01"], "2020-01-01 is over"),
}


@pytest.mark.parametrize("name", [*REFUSED, *DOUBTED])
def test_slips_are_refused_and_doubts_asked_about(folder: Path, name: str) -> None:
    words, message = {**REFUSED, **DOUBTED}[name]
    said = run(folder, *words)
    assert (said.code, said.out) == (2, "")
    assert message in said.err
    assert not (folder / "sales.csv").exists()
    assert not (folder / "promises.csv").exists()
    insisted = run(folder, *words, "--insist")
    assert insisted.code == (0 if name in DOUBTED else 2)


def test_an_entry_loads_none_of_the_heavy_libraries(folder: Path) -> None:
    code = """
import atexit, sys
from pipeline.cli import run
heavy = ("polars", "duckdb", "numpy", "pandas")
atexit.register(lambda: print([each for each in heavy if each in sys.modules]))
run()
"""
    for words in (("sell", "500", "--on", DAY), ("promise", "500", "--due", "2090-01-01")):
        given = [sys.executable, "-c", code, *words, "--farm", str(folder)]
        said = subprocess.run(given, capture_output=True, text=True, check=True)
        assert said.stdout.splitlines()[-1] == "[]", said


def test_an_amount_may_be_typed_with_the_sign_of_the_farms_currency(folder: Path) -> None:
    (folder / "farm.toml").write_text('currency = "EUR"\n', encoding="utf-8")
    assert run(folder, "sell", "500", "--price", "\u20ac12.50/kg", "--on", DAY).code == 0
    assert run(folder, "sell", "400", "--amount", "5 eur", "--on", DAY).code == 0
    assert [(row.get("price_per_kg"), row.get("amount")) for row in records(folder / "sales.csv")] == [
        ("12.5", None),
        (None, "5"),
    ]
    refused = run(folder, "sell", "300", "--price", "\u00a312", "--on", DAY)
    assert (refused.code, len(records(folder / "sales.csv"))) == (2, 2)
    assert "--price \u00a312: is not in the currency that farm.toml tells" in refused.err
