"""Prices, sales and promises: which price holds, what a sale brought, when a promise is due."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from pathlib import Path

from ledgers import BATCHES, FILLINGS, HARVESTS, refreshed, rows

from pipeline.farm.folder import open_farm
from pipeline.models.promises import Delivery, Promise, deliveries, promises
from pipeline.models.view import opened

MakeFarm = Callable[..., Path]
GROWN = {"batches": BATCHES, "fillings": FILLINGS, "harvests": HARVESTS}
PRICES = """from_on,item,name,buyer,price,per
2026-01-01,fresh,,,10,kg
2026-02-05,fresh,,,12,kg
2026-01-01,fresh,grey,,11,kg
2026-01-01,fresh,,Inn,9,kg
2026-01-01,fresh,grey,Inn,4,lb
2026-01-01,spawn,grain,,0.1,oz"""
SALES = """sold_on,weight_g,buyer,strain,price_per_kg,amount,kind
2026-02-02,100,market,pink,,,
2026-02-07,100,market,pink,,,
2026-02-07,100,market,Grey,,,
2026-02-07,100,inn,pink,,,
2026-02-07,10,inn,grey,,,
2026-02-07,50,inn,grey,8,,
2026-02-07,50,inn,grey,8,0.5,
2026-02-07,50,inn,grey,8,,given
2026-02-07,20,inn,grey,,1,returned
2025-12-31,30,,,,,"""


def test_the_nearest_price_of_the_day_counts_where_the_sale_names_none(farm: MakeFarm) -> None:
    folder = farm(**GROWN, prices=PRICES, sales=SALES)
    refreshed(folder)
    # 4 per lb is 4 x 1000 / 453.59237 = 8.818490... per kg.
    assert rows(folder, "select row, paid, paid_by from sales order by row") == [
        (2, Decimal("1.000000"), "listed"),
        (3, Decimal("1.200000"), "listed"),
        (4, Decimal("1.100000"), "listed"),
        (5, Decimal("0.900000"), "listed"),
        (6, Decimal("0.088185"), "listed"),
        (7, Decimal("0.400000"), "price"),
        (8, Decimal("0.500000"), "amount"),
        (9, Decimal("0.000000"), None),
        (10, Decimal("1.000000"), "amount"),
        (11, None, None),
    ]
    (folder / "farm.toml").write_text("price_per_kg = 7.5\n")
    refreshed(folder)
    assert rows(folder, "select paid, paid_by from sales where row = 11") == [(Decimal("0.225000"), "farm")]
    assert rows(folder, "select round(unit_price, 6) from prices where item = 'spawn'") == [(Decimal("3.527396"),)]


def test_a_pint_weighs_what_farm_toml_says(farm: MakeFarm) -> None:
    folder = farm("pint_g = 250", **GROWN, prices="from_on,item,price,per\n2026-01-01,fresh,3,pint")
    refreshed(folder)
    assert rows(folder, "select unit_price from prices") == [(Decimal("12.000000000"),)]


def test_weights_are_read_in_the_units_of_the_farm(farm: MakeFarm) -> None:
    own = '[headings.sales]\n"Pounds" = {column = "weight_g", unit = "lb"}\n'
    folder = farm(own, **GROWN, sales="sold_on,Pounds,price_per_kg\n2026-02-07,0.5,10")
    refreshed(folder)
    assert rows(folder, "select weight_g, paid from sales") == [(Decimal("226.796"), Decimal("2.267960"))]


def test_promises_come_to_deliveries(farm: MakeFarm) -> None:
    folder = farm(
        **GROWN,
        promises="""due_on,buyer,weight_g,strain,repeats,until_on
        2026-03-06,inn,2000,,week,2026-03-20
        2026-03-01,market,500.5,grey,two_weeks,
        2026-03-07,inn,100,,,""",
    )
    refreshed(folder)
    of_farm = open_farm(folder)
    with opened(of_farm.ledger, of_farm.settings) as ledger:
        found = promises(ledger)
    second = ("market", Decimal("500.5"), "grey", "two_weeks", None, "promises.csv", 3)
    assert found[0] == Promise(date(2026, 3, 1), *second)
    due = deliveries(found, date(2026, 3, 7), date(2026, 3, 29))
    assert due == [
        Delivery(date(2026, 3, 7), "inn", Decimal(100), ""),
        Delivery(date(2026, 3, 13), "inn", Decimal(2000), ""),
        Delivery(date(2026, 3, 15), "market", Decimal("500.5"), "grey"),
        Delivery(date(2026, 3, 20), "inn", Decimal(2000), ""),
        Delivery(date(2026, 3, 29), "market", Decimal("500.5"), "grey"),
    ]
    assert deliveries(found, date(2026, 3, 1), date(2026, 3, 5)) == [
        Delivery(date(2026, 3, 1), "market", Decimal("500.5"), "grey")
    ]


def test_a_promise_that_ends_before_it_begins_is_due_once() -> None:
    odd = Promise(date(2026, 3, 6), "", Decimal(1), "", "week", date(2026, 3, 1), "promises.csv", 2)
    assert [each.due_on for each in deliveries([odd], date(2026, 1, 1), date(2026, 12, 31))] == [date(2026, 3, 6)]
