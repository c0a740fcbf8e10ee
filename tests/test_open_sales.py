"""Selling and promising by `gillbook open`: what a telephone sends and what a form of the desk says."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from datetime import timedelta
from html import unescape
from pathlib import Path

import pytest
from conftest import gillbook, write_table
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


# ---- the desk


@pytest.fixture
def farm(tmp_path: Path) -> Iterator[tuple[Path, Served]]:
    folder = small_farm(tmp_path)
    (folder / "farm.toml").write_text('name = "Invented"\ncurrency = "EUR"\n', encoding="utf-8")
    with serving(folder) as served:
        yield folder, served


SALE = {
    "weight_g": "2.5 kg",
    "buyer": "Blue Inn",
    "price_per_kg": "12.35",
    "kind": "sold",
    "batch": "a",
    "back": "/sell",
}
PROMISE = {"weight_g": "2kg", "buyer": "Blue Inn", "due_on": f"{TODAY}", "repeats": "", "back": "/sell"}


def test_a_form_writes_what_sell_and_promise_write_and_takes_it_back(farm: tuple[Path, Served], tmp_path: Path) -> None:
    folder, served = farm
    assert "Price a kg, EUR" in served.ask("/sell")[2]
    typed = tmp_path / "typed"
    typed.mkdir()
    small_farm(typed)
    words = (("sell", "2.5 kg", "--to", "Blue Inn", "--price", "12.35", "--kind", "sold", "--batch", "a"),
             ("promise", "2kg", "--to", "Blue Inn", "--due", f"{TODAY}"))  # fmt: skip
    for (command, *rest), form, name in zip(words, (SALE, PROMISE), ("sales.csv", "promises.csv"), strict=True):
        assert gillbook(command, *rest, "--farm", typed).code == 0
        status, headers, _ = served.ask(f"/write/{command}", "POST", form)
        assert (status, headers["location"]) == (303, "/sell")
        (row,), (same,) = records(folder, name), records(typed, name)
        entry = row.pop("entry")
        same.pop("entry")
        assert row == same
        page = unescape(served.ask("/sell")[2])
        assert f"(entry {entry})" in page
        assert 'value="Blue Inn"></option>' in page or command == "promise"
        assert served.ask("/write/undo", "POST", {"command": command, "entry": entry, "back": "/sell"})[0] == 303
        assert "Taken back:" in served.ask("/sell")[2]
        assert records(folder, name) == []


def test_what_sell_and_promise_ask_is_asked_and_nothing_is_written_before(farm: tuple[Path, Served]) -> None:
    folder, served = farm
    for kind, form, asked in (
        ("sell", {**SALE, "amount": "5"}, "5 is not weight times price, 30.88; the amount would count"),
        ("sell", {**SALE, "batch": "Z"}, "Batch Z is not in batches.csv"),
        ("promise", {**PROMISE, "due_on": "2020-01-01"}, "2020-01-01 is over"),
    ):
        status, _, text = served.ask(f"/write/{kind}", "POST", form)
        assert status == 409
        assert asked in unescape(text)
        assert not (folder / "sales.csv").exists()
        assert not (folder / "promises.csv").exists()
    assert served.ask("/write/sell", "POST", {**SALE, "batch": "Z", "insist": "yes"})[0] == 303
    assert [row["batch"] for row in records(folder, "sales.csv")] == ["Z"]


@pytest.mark.parametrize(
    ("kind", "form", "said"),
    [
        ("sell", {"weight_g": ""}, "Weight: it is missing."),
        ("sell", {"weight_g": "much"}, "Weight much: that is no amount"),
        ("sell", {"weight_g": "500", "price_per_kg": "dear"}, "Price per kg dear: that is no number"),
        ("sell", {"weight_g": "500", "amount": "-3"}, "Amount -3: amount cannot be -3"),
        ("sell", {"weight_g": "500", "kind": "lent"}, "Kind lent: it is none of sold, given"),
        ("sell", {"weight_g": "500", "sold_on": "2999-01-01"}, "write today or a day before it"),
        ("sell", {"weight_g": "500", "sold_on": "2026-01-01", "picked_on": "2026-01-02"}, "that is after the sale"),
        ("promise", {"weight_g": "500"}, "Due on: the day is missing."),
        ("promise", {"weight_g": "500", "due_on": "soon"}, "Due on soon: that is not a date"),
        ("promise", {"weight_g": "500", "due_on": "2999-01-09", "until_on": "2999-02-01"}, "it is not said how often"),
        ("promise", {"weight_g": "5", "due_on": "2999-01-09", "repeats": "day"}, "day: it is none of week, two_weeks"),
    ],
)  # fmt: skip
def test_a_wrong_form_is_told_what_to_mend(
    farm_served: tuple[Path, Served], kind: str, form: dict[str, str], said: str
) -> None:
    status, _, text = farm_served[1].ask(f"/write/{kind}", "POST", form)
    assert status == 400
    assert said in unescape(text), text
    assert "Traceback" not in text


def test_today_shows_what_is_promised_and_its_button_logs_the_sale(farm: tuple[Path, Served]) -> None:
    """A young farm: what is due is shown, and that no chance can be told."""
    folder, served = farm
    assert "Promised" not in served.ask("/")[2]
    later = TODAY + timedelta(days=5)
    due = [f"{TODAY},Blue <i>Inn</i>,1500,", f"{later},Inn,700,grey", f"{TODAY + timedelta(days=40)},Far,1,"]
    write_table(folder, "promises", "\n".join(["due_on,buyer,weight_g,strain", *due]))
    page = served.ask("/")[2]
    assert "Whether it can be met cannot be told." in page
    lines = re.findall(r"<b>([\d.]+) kg", page)
    assert lines == ["1.50", "0.70"]
    assert "Blue &lt;i&gt;Inn&lt;/i&gt;" in page
    assert "Far" not in page
    # The one that is due today has a button; its weight is in the field already.
    assert page.count('action="/write/sell"') == 1
    assert 'value="1500 g"' in page
    form = {"weight_g": "1500 g", "buyer": "Blue <i>Inn</i>", "strain": "", "back": "/"}
    assert served.ask("/write/sell", "POST", form)[1]["location"] == "/"
    assert [(row["weight_g"], row["buyer"]) for row in records(folder, "sales.csv")] == [("1500", "Blue <i>Inn</i>")]


def test_today_says_the_chances_as_the_terminal_does(tmp_path: Path) -> None:
    """Half a year of batches, one a week, each giving 3 kg a week: 1 kg is there, and 900 kg are not."""
    began = [TODAY - timedelta(days=7 * at + 2) for at in range(30)]
    write_table(tmp_path, "batches", "batch,inoculated_on,strain,substrate,substrate_wet_kg,moisture_pct\n"
                + "\n".join(f"B{at},{day},grey,straw,20,70" for at, day in enumerate(began)))  # fmt: skip
    picked = [
        f"{day + timedelta(days=20 + 7 * week)},{3000 - 40 * week},B{at}"
        for at, day in enumerate(began)
        for week in range(3)
        if day + timedelta(days=20 + 7 * week) < TODAY
    ]
    write_table(tmp_path, "harvests", "\n".join(["picked_on,fresh_weight_g,batch", *picked]))
    soon = TODAY + timedelta(days=6)
    write_table(tmp_path, "promises", f"due_on,buyer,weight_g\n{soon},Inn,1000\n{soon},Zoo,900000")
    told = gillbook("today", "--farm", tmp_path)
    assert told.code == 0, told.err
    chances = re.findall(r"(over 99 %|under 1 %|\d+ %)", told.out.split("Promised for")[1])
    with serving(tmp_path) as served:
        page = unescape(served.ask("/")[2])
    assert [each.removeprefix("Chance ") for each in re.findall(r"Chance (?:over |under )?\d+ %", page)] == chances[:2]
    assert chances[:2] == ["over 99 %", "under 1 %"]
    assert "nothing that can still be begun would make it 80 %" in page
