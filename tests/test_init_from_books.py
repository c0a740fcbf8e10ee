"""Sheets of what was sold, promised and priced, as people keep them; and sheets that only look like it."""

from __future__ import annotations

import tomllib
from datetime import datetime
from decimal import Decimal
from pathlib import Path

import openpyxl
import pytest
from ledgers import here, rows
from own_files import saved
from test_adopt import matched, proposed, why

from pipeline.adopt.settings_text import settings_text

PICKS = "Date,Batch,Bucket,Weight (g)\n2026-05-01,A,1,400\n2026-05-02,A,2,350\n"
SALES = """\
Market diary

Date,Customer,Weight (kg),Price per kg,Total
2026-05-02,Inn,0.5,\u20ac12.00,\u20ac6.00
,Market,0.1,\u20ac14.00,\u20ac1.40
2026-05-03,Inn,2 lb,,EUR 11
Total,,,,\u20ac18.40
"""


def adopted(folder: Path, *words: object, **files: str) -> Path:
    """A farm of these files, once refreshed."""
    given: list[object] = []
    for name, text in files.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
        given += ["--from", folder / f"{name}.csv"]
    said = here("init", folder / "farm", *given, *words, "--yes")
    assert said.code == 0, said.err
    assert here("refresh", "--farm", folder / "farm").code == 0
    return folder / "farm"


def settings_of(farm: Path) -> dict[str, object]:
    return tomllib.loads((farm / "farm.toml").read_text(encoding="utf-8"))


def test_a_diary_of_sales_with_a_title_signs_totals_and_blank_days_counts_right(tmp_path: Path) -> None:
    farm = adopted(tmp_path, picks=PICKS, diary=SALES)
    assert settings_of(farm)["currency"] == "EUR"
    # 2 lb are 907.18474 g; written in the column's kg, to the gram.
    assert rows(farm, "select sold_on::varchar, weight_g, buyer, price_per_kg, amount from sales order by row") == [
        ("2026-05-02", Decimal("500.000"), "Inn", Decimal("12.000000"), Decimal("6.000000")),
        ("2026-05-02", Decimal("100.000"), "Market", Decimal("14.000000"), Decimal("1.400000")),
        ("2026-05-03", Decimal("907.000"), "Inn", None, Decimal("11.000000")),
    ]
    assert rows(farm, "select sum(fresh_weight_g) from harvests") == [(Decimal("750.000"),)]


def test_pickings_and_sales_in_one_workbook_become_both(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    picks = book.active
    assert picks is not None
    picks.title = "Picks"
    sold = book.create_sheet("Sold")
    for row in (("Date", "Batch", "Bucket", "Weight (g)"), (datetime(2026, 5, 1), "A", 1, 400)):
        picks.append(row)
    for row in (("Date", "Weight (g)", "Price"), (datetime(2026, 5, 2), 250, 12.5)):
        sold.append(row)
    sold["C2"].number_format = '"\u20ac"0.00'
    (tmp_path / "log.xlsx").write_bytes(saved(book))
    assert here("init", tmp_path / "farm", "--from", tmp_path / "log.xlsx", "--yes").code == 0
    farm = tmp_path / "farm"
    assert here("refresh", "--farm", farm).code == 0
    # The sheet's name says what no heading does.
    assert rows(farm, "select sold_on::varchar, weight_g, paid from sales") == [
        ("2026-05-02", Decimal("250.000"), Decimal("3.125000"))
    ]
    assert rows(farm, "select fresh_weight_g from harvests") == [(Decimal("400.000"),)]


def test_a_wide_sheet_with_a_weight_picked_and_one_sold_gives_both_their_day(tmp_path: Path) -> None:
    wide = (
        "Date,Batch,Bucket,Picked (g),Sold (g),Buyer,Price\n2026-05-01,A,1,400,,,\n2026-05-02,A,2,350,300,Inn,USD 12\n"
    )
    farm = adopted(tmp_path, wide=wide)
    assert rows(farm, "select picked_on::varchar, fresh_weight_g, container from harvests order by row") == [
        ("2026-05-01", Decimal("400.000"), "1"),
        ("2026-05-02", Decimal("350.000"), "2"),
    ]
    assert rows(farm, "select sold_on::varchar, weight_g, buyer, batch, paid from sales") == [
        ("2026-05-02", Decimal("300.000"), "Inn", "A", Decimal("3.600000"))
    ]


@pytest.mark.parametrize(
    ("text", "tables"),
    [
        ("Date,Batch,Bucket,Weight (g),Buyer\n2026-05-01,A,1,400,Inn\n", ("fillings", "harvests")),
        ("Date,Batch,Bucket,Weight (g),Sold to,Price\n2026-05-01,A,1,400,Inn,12\n", ("fillings", "harvests")),
        ("Picked on,Bag,kg,Customer,Total\n2026-05-01,1,0.4,Inn,5\n", ("harvests",)),
        ("Date,Batch,Weight (g),Customer,Price\n2026-05-01,A,400,Inn,12\n", ("harvests",)),
        # What was bought: a day, a weight and prices, and nobody who took it.
        ("Date,Supplier,Weight (kg),Price per kg,Total\n2026-05-01,Lab,4,3.5,14\n", ()),
        ("Date,Customer,Weight (g)\n2026-05-01,Inn,400\n", ()),
        # A day that is not said to be due makes no promise.
        ("Date,Customer,kg,Every\n2026-05-01,Inn,4,week\n", ()),
        # Containers and what they cost are no price list.
        ("Container,Kind,Price\n1,bucket,4\n2,bag,1\n", ()),
        ("Batch,Inoculated,Strain,Base,Cost\nA,2026-05-01,grey,straw,12\n", ("batches",)),
        ("Date,Bag,Event,Kind\n2026-05-01,1,pins,bucket\n", ("observations",)),
    ],
)
def test_sheets_that_look_like_books_and_are_none(text: str, tables: tuple[str, ...]) -> None:
    found = proposed(text)
    assert found.tables == tables
    assert not {table for table, _ in matched(found)} & {"sales", "prices", "promises"}


def test_a_column_of_buyers_beside_pickings_is_named_and_not_read() -> None:
    found = proposed("Date,Batch,Bucket,Weight (g),Buyer\n2026-05-01,A,1,400,Inn\n")
    assert why(found) == {"Buyer": "may be buyer of sales, which this sheet does not hold"}


def test_rows_of_a_batch_a_buyer_and_a_price_are_asked_about_and_pickings_until_then(tmp_path: Path) -> None:
    sold = "Date,Batch,Customer,Weight (kg),Price\n2026-05-02,A,Inn,0.5,12\n"
    found = proposed(sold)
    assert found.tables == ("harvests",)
    assert [each.text for each in found.questions if each.name == "sales of a.csv"] == [
        "Rows of a.csv name a buyer or a price, and a batch. Is each of them a sale (n: a picking)?"
    ]
    farm = adopted(tmp_path, "--answer", "sales of sold_list.csv=y", picks=PICKS, sold_list=sold)
    assert rows(farm, "select batch, weight_g, paid from sales") == [("A", Decimal("500.000"), Decimal("6.000000"))]
    assert rows(farm, "select count(*) from harvests") == [(2,)]


def test_a_list_of_what_strains_bring_becomes_prices_from_its_year_on(tmp_path: Path) -> None:
    listed = "Price list 2025\nVariety,Customer,Price (EUR/kg)\nGrey oyster,,12.50\nGrey oyster,Inn,\u20ac11\n"
    farm = adopted(tmp_path, picks=PICKS, listed=listed)
    assert rows(farm, "select from_on::varchar, item, name, buyer, price, per from prices order by row") == [
        ("2025-01-01", "fresh", "Grey oyster", None, Decimal("12.500000"), "kg"),
        ("2025-01-01", "fresh", "Grey oyster", "Inn", Decimal("11.000000"), "kg"),
    ]
    assert settings_of(farm)["currency"] == "EUR"


def test_a_list_of_what_things_cost_reads_the_growers_words(tmp_path: Path) -> None:
    costs = (
        "Item,Name,Cost,Unit,Since\nSpawn,grain,$3.50,kg,2026-01-01\nStraw,,$0.45,kg,2026-01-01\n"
        "Bags,,$1,bag,2026-01-01\n"
    )
    farm = adopted(tmp_path, picks=PICKS, costs=costs)
    assert rows(farm, "select item, name, price, per from prices order by row") == [
        ("spawn", "grain", Decimal("3.500000"), "kg"),
        ("substrate", None, Decimal("0.450000"), "kg"),
        ("start", None, Decimal("1.000000"), "container"),
    ]
    assert settings_of(farm)["currency"] == "$"


def test_standing_orders_become_promises(tmp_path: Path) -> None:
    orders = (
        "Standing orders\nCustomer,kg,Every,First delivery,Until\nInn,1.5,week,2026-05-01,2026-12-31\n"
        "Market,4,fortnight,2026-05-08,\n"
    )
    farm = adopted(tmp_path, picks=PICKS, orders=orders)
    assert rows(
        farm, "select due_on::varchar, buyer, weight_g, repeats, until_on::varchar from promises order by row"
    ) == [
        ("2026-05-01", "Inn", Decimal("1500.000"), "week", "2026-12-31"),
        ("2026-05-08", "Market", Decimal("4000.000"), "two_weeks", None),
    ]


def test_a_price_of_a_pound_becomes_one_of_a_kilogram(tmp_path: Path) -> None:
    sold = "Sold on,Customer,Weight (lb),Price per lb\n2026-05-02,Inn,1,$5\n"
    farm = adopted(tmp_path, picks=PICKS, sold=sold)
    ((price, paid),) = rows(farm, "select price_per_kg, paid from sales")
    # 5 a pound of 0.45359237 kg.
    assert price == Decimal("11.023113")
    assert paid == pytest.approx(Decimal("5.000000"), abs=Decimal("0.00001"))


def test_german_sales_are_read(tmp_path: Path) -> None:
    sold = "Datum;Kunde;Menge (kg);Preis \u20ac/kg;Bemerkung\n22.05.2026;Gasthof;0,5;12,00;bar\n"
    farm = adopted(tmp_path, picks=PICKS, verkauf=sold)
    assert rows(farm, "select sold_on::varchar, weight_g, buyer, paid, note from sales") == [
        ("2026-05-22", Decimal("500.000"), "Gasthof", Decimal("6.000000"), "bar")
    ]


def test_names_of_mushrooms_below_a_heading_of_things_get_their_item_and_unit(tmp_path: Path) -> None:
    listed = "Product,Price,Unit,Valid from\nGrey oyster,\u00a36,lb,2026-01-01\nPink oyster,\u00a37,kg,2026-01-01\n"
    farm = adopted(tmp_path, picks=PICKS, listed=listed)
    assert rows(farm, "select item, name, price, per from prices order by row") == [
        ("fresh", "Grey oyster", Decimal("6.000000"), "lb"),
        ("fresh", "Pink oyster", Decimal("7.000000"), "kg"),
    ]
    assert settings_of(farm)["currency"] == "\u00a3"


def test_days_of_delivery_beside_money_are_asked_about(tmp_path: Path) -> None:
    sheet = "Delivery date,Customer,kg,Price\n2026-05-02,Inn,0.5,12\n"
    found = proposed(sheet)
    assert found.tables == ("sales",)
    assert [each.text for each in found.questions if each.name == "deliveries of a.csv"] == [
        '"Delivery date" in a.csv stands beside money. Are these sales (n: promises, still to be kept)?'
    ]
    farm = adopted(tmp_path, "--answer", "deliveries of sent.csv=n", picks=PICKS, sent=sheet)
    assert rows(farm, "select due_on::varchar, buyer, weight_g from promises") == [
        ("2026-05-02", "Inn", Decimal("500.000"))
    ]


MIXED = "Date,Customer,Weight (kg),Amount\n2026-05-02,Inn,0.5,\u20ac6\n2026-05-03,Inn,0.5,$7\n"


def test_of_two_currencies_none_is_taken_by_itself(tmp_path: Path) -> None:
    found = proposed(MIXED)
    asked = next(each for each in found.questions if each.name == "currency")
    assert asked.choices == ("", "\u20ac", "$")
    assert asked.text.startswith(
        '"\u20ac6" in a.csv, row 2 and "$7" in a.csv, row 3 are amounts of different currencies'
    )
    assert "currency" not in settings_text(found).replace("currency.", "")
    farm = adopted(tmp_path, "--answer", "currency=$", picks=PICKS, mixed=MIXED)
    assert settings_of(farm)["currency"] == "$"
    said = here("check", "--farm", farm, "--as-of", "2026-06-01").out
    assert 'mixed.csv, row 2, "Amount": "\u20ac6" is not in the currency' in " ".join(said.split())
    assert rows(farm, "select amount from sales order by row") == [(None,), (Decimal("7.000000"),)]


@pytest.mark.parametrize(
    ("cells", "currency"),
    [
        (("\u20ac6", "7 EUR"), "EUR"),
        (("$6", "7 CAD"), "CAD"),
        (("6", "7"), None),
        (("6 euro", "\u20ac7"), "\u20ac"),
        (("kr 6", "7 DKK"), "DKK"),
        (("\u20ac 1.200,50", "7,25 \u20ac"), "\u20ac"),
    ],
)
def test_signs_and_codes_of_one_currency_are_one(cells: tuple[str, str], currency: str | None) -> None:
    found = proposed(
        "Date;Customer;Weight (kg);Amount\n"
        + "".join(f"2026-05-0{day};Inn;1;{cell}\n" for day, cell in enumerate(cells, 1))
    )
    assert found.tables == ("sales",)
    taken = found.settings.get("currency")
    assert (taken.value if taken else None) == currency
    assert "currency" not in [each.name for each in found.questions]


def test_what_is_wrong_in_a_cell_of_the_books_is_named_with_its_row_and_nothing_is_lost(tmp_path: Path) -> None:
    sold = (
        "Sold on,Customer,Weight (kg),Price per kg,Amount,Kind\n2026-05-02,Inn,-1,12,,\n2026-05-02,Inn,,12,,\n"
        "2026-05-02,Inn,0.1,,-5,\n2026-05-02,Inn,0.1,12,9,\n2026-05-02,Inn,0.1,12,,barter\n2026-05-02,Inn,0.2,12,,gift\n"
    )
    farm = adopted(tmp_path, picks=PICKS, sold=sold)
    said = " ".join(here("check", "--farm", farm, "--as-of", "2026-06-01").out.split())
    for part in (
        'sold.csv, row 2, "Weight (kg)": "-1" is below 0',
        'sold.csv, row 3, "Weight (kg)": the weight is missing',
        'sold.csv, row 4, "Amount": "-5" is below 0',
        'sold.csv, row 5, "Amount"',
        'sold.csv, row 6, "Kind": "barter"',
    ):
        assert part in said
    assert rows(farm, "select row, kind, amount from sales order by row") == [
        (4, "sold", None),
        (5, "sold", Decimal("9.000000")),
        (7, "given", None),
    ]
