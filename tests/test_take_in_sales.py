"""Sales that telephones logged are taken in at home as `gillbook sell` would write them: once, asked about, exactly."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from ledgers import here, rows
from weigh_pages import ago, small_farm

COLUMNS = "sold_on,weight_g,buyer,strain,price_per_kg,amount,kind,batch,picked_on,entry,note"
DAY = ago(0)
ONE = f"{DAY},2500,Blue Inn,grey,12.35,,,a,{ago(1)},p0000000000000000000a,'=wet"
TWO = f"{DAY},400,,,,,given,,,p0000000000000000000b,"
BACK = f"{DAY},,Blue Inn,grey,12.35,,,a,,p0000000000000000000c,,p0000000000000000000a"


@pytest.fixture
def farm(tmp_path: Path) -> Path:
    return small_farm(tmp_path / "farm")


def export(path: Path, *lines: str, header: str = COLUMNS) -> Path:
    path.write_text("\n".join([header, *lines]) + "\n", encoding="utf-8")
    return path


def sold(farm: Path) -> list[dict[str, str]]:
    if not (farm / "sales.csv").exists():
        return []
    with (farm / "sales.csv").open(encoding="utf-8", newline="") as file:
        return [{name: cell for name, cell in row.items() if cell} for row in csv.DictReader(file)]


def test_a_sale_is_written_as_sell_writes_it_and_once(farm: Path, tmp_path: Path) -> None:
    words = ("2500", "--to", "Blue Inn", "--strain", "grey", "--price", "12.35", "--batch", "a", "--picked", ago(1))
    typed = small_farm(tmp_path / "typed")
    assert here("sell", *words, "--note", "=wet", "--on", DAY, "--farm", typed).code == 0
    first = export(tmp_path / "first.csv", ONE)
    told = here("take-in", first, "--farm", farm)
    assert (told.code, told.out) == (0, "first.csv: 1 entry logged.\n"), told.err
    (row,), (same,) = sold(farm), sold(typed)
    assert row.pop("entry") == "p0000000000000000000a"
    same.pop("entry")
    assert row == same
    again = export(tmp_path / "again.csv", ONE, TWO)
    assert here("take-in", again, "--farm", farm).out == "again.csv: 1 entry logged, 1 known already.\n"
    # 2.5 kg at 12.35 is 30.875, exactly: no amount was a float on the way.
    assert rows(farm, "select kind, weight_g::varchar, paid::varchar from sales order by kind") == [
        ("given", "400.000", "0.000000"),
        ("sold", "2500.000", "30.875000"),
    ]


def test_what_is_taken_back_is_out_and_stays_out(farm: Path, tmp_path: Path) -> None:
    first = export(tmp_path / "first.csv", ONE, TWO)
    assert here("take-in", first, "--farm", farm).code == 0
    back = export(tmp_path / "back.csv", BACK, header=COLUMNS + ",takes_back")
    assert here("take-in", back, "--farm", farm).out == "back.csv: 0 entries logged, 1 taken back.\n"
    assert [row["entry"] for row in sold(farm)] == ["p0000000000000000000b"]
    assert here("take-in", back, first, "--farm", farm).out == (
        "back.csv: 0 entries logged.\nfirst.csv: 0 entries logged, 2 known already.\n"
    )


def test_undo_of_sell_takes_back_what_a_telephone_sold_last(farm: Path, tmp_path: Path) -> None:
    assert here("take-in", export(tmp_path / "first.csv", ONE), "--farm", farm).code == 0
    assert here("sell", "--undo", "--farm", farm).code == 0
    assert sold(farm) == []
    assert (
        here("take-in", tmp_path / "first.csv", "--farm", farm).out == "first.csv: 0 entries logged, 1 known already.\n"
    )


DOUBTED = {
    "two telephones": (ONE.replace("000a", "000e"), "two telephones may have logged one sale"),
    "the amount differs": (f"{DAY},500,,,10,6,,,,p1a,", "6 is not weight times price, 5.00; the amount would count"),
    "a batch that is none": (f"{DAY},500,,,,,,Z,,p1a,", "batch Z is not in batches.csv"),
}


@pytest.mark.parametrize("name", DOUBTED)
def test_what_sell_asks_is_asked_and_left_until_it_is_answered(farm: Path, tmp_path: Path, name: str) -> None:
    line, said = DOUBTED[name]
    assert here("take-in", export(tmp_path / "first.csv", ONE), "--farm", farm).code == 0
    other = export(tmp_path / "other.csv", line, TWO)
    told = here("take-in", other, "--farm", farm)
    assert (told.code, told.out) == (2, "other.csv: 1 entry logged.\n")
    assert said in " ".join(told.err.split())
    assert "other.csv, row 2: left." in told.err
    assert len(sold(farm)) == 2
    assert here("take-in", other, "--insist", "--farm", farm).code == 0
    assert len(sold(farm)) == 3


def test_the_same_twice_from_one_telephone_is_no_question(farm: Path, tmp_path: Path) -> None:
    """The page asked at the time; a stall sells many packs alike."""
    packs = [f"{DAY},500,market,,,,,,,p00{at}," for at in range(3)]
    told = here("take-in", export(tmp_path / "packs.csv", *packs), "--farm", farm)
    assert (told.code, told.out) == (0, "packs.csv: 3 entries logged.\n"), told.err


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (f"{DAY},much,,,,,,,,p1,", "weight_g much: that is no amount"),
        (f"{DAY},500,,,1.2.3,,,,,p1,", "price_per_kg 1.2.3: that is no number"),
        (f"{DAY},500,,,,-3,,,,p1,", "amount -3: amount cannot be -3"),
        (f"{DAY},500,,,,,lent,,,p1,", "kind lent: it is none of sold, given"),
        ("yesterday,500,,,,,,,,p1,", "Invalid isoformat"),
        (",500,,,,,,,,p1,", "sold_on: the day is missing"),
        ("2999-01-01,500,,,,,,,,p1,", "sold_on 2999-01-01: that day lies in the future"),
        (f"{ago(2)},500,,,,,,,{ago(1)},p1,", "that is after the sale"),
    ],
)
def test_a_sale_that_cannot_be_is_named_and_nothing_is_written(
    farm: Path, tmp_path: Path, line: str, said: str
) -> None:
    told = here("take-in", export(tmp_path / "x.csv", line), "--insist", "--farm", farm)
    assert told.code == 2
    assert said in " ".join(told.err.split()), told.err
    assert sold(farm) == []


def test_decimal_commas_and_a_weight_in_another_unit_are_read_as_the_page_writes_them(tmp_path: Path) -> None:
    farm = small_farm(tmp_path / "farm")
    (farm / "farm.toml").write_text(
        'decimal_mark = ","\n[headings.sales]\nweight_g = {column = "weight_g", unit = "kg"}\n', encoding="utf-8"
    )
    file = export(tmp_path / "x.csv", f"{DAY};2,5;;;12,35;;;;;p1;", header=COLUMNS.replace(",", ";"))
    assert here("take-in", file, "--farm", farm).code == 0
    assert here("refresh", "--farm", farm).code == 0
    assert rows(farm, "select weight_g::varchar, paid::varchar from sales") == [("2500.000", "30.875000")]
