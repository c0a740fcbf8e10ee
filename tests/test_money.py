"""What pays: a farm of three batches worked by hand, the same in plain Python, and what must hold of any farm."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from pathlib import Path

import pytest
from ledgers import here, refreshed
from recompute_money import money as expected_money
from recompute_units import Unit

from pipeline.demo import LAST_DAY
from pipeline.demo.books import write_books
from pipeline.farm.folder import open_farm
from pipeline.models.measures import months, yields
from pipeline.models.money import money, money_months, unsold
from pipeline.models.view import Ledger, Query, opened
from schemas.result_rows import ResultRows

AS_OF = date(2026, 3, 31)
DEMO = Path(__file__).parent.parent / "demo_data"
SETTINGS = """currency = "EUR"
shelf_days = 5
work_hours_per_container = 0.25
work_hours_per_kg = 0.2
"""
RECIPE = "strain,substrate,treatment,substrate_dry_kg,supplement,supplement_dry_kg,spawn_kg,spawn_form"
BATCHES = f"""batch,inoculated_on,{RECIPE}
A,2026-01-10,grey,straw,cold_lime,4,bran,0.4,0.8,grain
B,2026-01-20,grey,straw,hot_water,3,,,0.6,grain
C,2026-02-01,pink,straw,cold_lime,2,,,0.5,sawdust
"""
FILLINGS = """batch,container,kind,fill_kg
A,1,bucket,5
A,2,bucket,5
B,3,bucket,5
B,4,bag,5
C,5,bag,5
"""
OBSERVATIONS = """seen_on,event,container,batch
2026-03-01,emptied,1,A
2026-01-30,contaminated,2,A
2026-03-11,emptied,3,B
2026-03-11,emptied,4,B
2026-03-13,emptied,5,C
"""
HARVESTS = """picked_on,fresh_weight_g,container
2026-02-10,600,1
2026-02-20,200,1
2026-02-12,500,3
2026-02-12,300,4
2026-03-02,400,5
"""
PRICES = """from_on,item,name,buyer,price,per
2026-01-01,fresh,,,10,kg
2026-02-15,fresh,,,12,kg
2026-01-01,spawn,grain,,5,kg
2026-01-01,spawn,,,4,kg
2026-01-01,substrate,,,0.5,kg
2026-01-15,substrate,,,0.6,kg
2026-01-01,supplement,bran,,0.8,kg
2026-01-01,lime,,,1,batch
2026-01-01,start,,,1,container
2026-01-01,start,bag,,0.4,container
2026-01-01,container_day,,,0.05,day
2026-02-01,container_day,,,0.06,day
2026-01-01,work_hour,,,15,hour
"""
SALES = """sold_on,weight_g,buyer,price_per_kg,amount,kind,batch,picked_on
2026-02-11,500,inn,,,,A,
2026-02-13,800,market,,8.40,,,
2026-02-21,150,inn,11,,,,2026-02-20
2026-03-03,100,,,,given,C,
2026-03-04,250,inn,,,,C,
2026-03-05,50,inn,,,returned,C,
2026-03-06,60,,,,discarded,,
2026-03-30,10,inn,,,,,
"""
# Batch A, two buckets of 2 kg straw, 0.2 kg bran, 0.4 kg spawn each. Each: substrate 2 x 0.50 = 1.00, bran 0.2 x 0.80
# = 0.16, spawn 0.4 x 5 = 2.00, half of one bath 0.50, start 1.00, work 0.25 h x 15 = 3.75: together 8.41. Container-
# days: bucket 1 from 10 January to 1 March 22 x 0.05 + 28 x 0.06 = 2.78, bucket 2 until it was lost 20 x 0.05 = 1.00.
# Picking 0.8 kg x 0.2 h x 15 = 2.40. Cost: 16.82 + 2.78 + 1.00 + 2.40 = 23.00.
# Sold: 500 g at 10 = 5.00 by name; of the 800 g for 8.40 on 13 February, shared over the 1,400 g picked in five days,
# 600 of them bucket 1's: 342.857 g, 3.60; 150 g at 11 = 1.65, picked on 20 February. Revenue 10.25.
# Batch B, bucket and bag: 1.5 kg straw x 0.60 = 0.90, spawn 0.3 x 5 = 1.50, work 3.75, start 1.00 and 0.40, 50 days
# each 12 x 0.05 + 38 x 0.06 = 2.88: 10.03 and 9.43. Picking 0.8 x 3 = 2.40. Cost 21.86. Revenue 8.40 x 800/1400 =
# 4.80.
# Batch C, a bag: 2 x 0.60 = 1.20, spawn of sawdust at the price of any 0.5 x 4 = 2.00, bath 1.00, start 0.40, work
# 3.75, 40 days x 0.06 = 2.40, picking 0.4 x 3 = 1.20. Cost 11.95. Sold 250 - 50 g at 12 = 2.40; 100 g given, 60 g
# discarded.
# Nothing was picked in the five days before 30 March: 10 g at 12 = 0.12 are of no batch.
BY_HAND = {
    "A": {
        "units": 2,
        "units_open": 0,
        "containers": 2,
        "container_days": 70,
        "picked_g": 800.0,
        "sold_g": 992.857,
        "given_g": 0.0,
        "discarded_g": 0.0,
        "left_g": -192.857,
        "revenue": 10.25,
        "revenue_shared": 5.25,
        "sales_unpaid": 0,
        "cost": 23.0,
        "margin": -12.75,
        "cost_per_kg": 28.75,
        "margin_per_container": -6.375,
        "margin_per_kg": -15.9375,
        "margin_per_container_day": -0.182143,
        "lacks": "",
    },
    "B": {
        "units": 2,
        "units_open": 0,
        "containers": 2,
        "container_days": 100,
        "picked_g": 800.0,
        "sold_g": 457.143,
        "given_g": 0.0,
        "discarded_g": 0.0,
        "left_g": 342.857,
        "revenue": 4.8,
        "revenue_shared": 4.8,
        "sales_unpaid": 0,
        "cost": 21.86,
        "margin": -17.06,
        "cost_per_kg": 27.325,
        "margin_per_container": -8.53,
        "margin_per_kg": -21.325,
        "margin_per_container_day": -0.1706,
        "lacks": "",
    },
    "C": {
        "units": 1,
        "units_open": 0,
        "containers": 1,
        "container_days": 40,
        "picked_g": 400.0,
        "sold_g": 200.0,
        "given_g": 100.0,
        "discarded_g": 60.0,
        "left_g": 40.0,
        "revenue": 2.4,
        "revenue_shared": 0.0,
        "sales_unpaid": 0,
        "cost": 11.95,
        "margin": -9.55,
        "cost_per_kg": 29.875,
        "margin_per_container": -9.55,
        "margin_per_kg": -23.875,
        "margin_per_container_day": -0.23875,
        "lacks": "",
    },
    "": {
        "units": 0,
        "units_open": 0,
        "containers": None,
        "container_days": None,
        "picked_g": 0.0,
        "sold_g": 10.0,
        "given_g": 0.0,
        "discarded_g": 0.0,
        "left_g": -10.0,
        "revenue": 0.12,
        "revenue_shared": 0.12,
        "sales_unpaid": 0,
        "cost": 0.0,
        "margin": 0.12,
        "cost_per_kg": None,
        "margin_per_container": None,
        "margin_per_kg": None,
        "margin_per_container_day": None,
        "lacks": "",
    },
}
SUMS = ("picked_g", "sold_g", "given_g", "discarded_g", "left_g", "revenue", "revenue_shared", "cost", "margin")
MONEY = ("revenue", "revenue_shared", "cost", "margin")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("money") / "farm"
    made.mkdir()
    (made / "farm.toml").write_text(SETTINGS, encoding="utf-8")
    tables = {"batches": BATCHES, "fillings": FILLINGS, "observations": OBSERVATIONS, "harvests": HARVESTS}
    for name, text in (tables | {"prices": PRICES, "sales": SALES}).items():
        (made / f"{name}.csv").write_text(text, encoding="utf-8")
    return made


@pytest.fixture
def copy(folder: Path, tmp_path: Path) -> Path:
    return shutil.copytree(folder, tmp_path / "copy", ignore=shutil.ignore_patterns("ledger*", "kept"))


@pytest.fixture(scope="module")
def ledger(folder: Path) -> Iterator[Ledger]:
    refreshed(folder)
    farm = open_farm(folder)
    with opened(farm.ledger, farm.settings) as found:
        yield found


def batches_of(folder: Path) -> ResultRows:
    refreshed(folder)
    farm = open_farm(folder)
    with opened(farm.ledger, farm.settings) as found:
        return money(found.view(Query(AS_OF, ("batch",))))


def whole(rows: ResultRows, name: str) -> float:
    return round(sum(row[name] or 0 for row in rows), 6)


def test_the_farm_worked_by_hand(ledger: Ledger) -> None:
    assert {row.pop("batch"): row for row in money(ledger.view(Query(AS_OF, ("batch",))))} == BY_HAND


def test_kinds_and_months_of_the_farm_worked_by_hand(ledger: Ledger) -> None:
    view = ledger.view(Query(AS_OF, ("kind",)))
    kinds = {row["kind"]: (row["revenue"], row["cost"], row["container_days"]) for row in money(view)}
    # Bags: B's 4 (300 of the 1,400 g: 1.80) and C's 5; picking 0.3 x 3 = 0.90 of B's 2.40.
    assert kinds == {"bag": (4.2, 22.28, 90), "bucket": (13.25, 34.53, 120), "": (0.12, 0.0, None)}
    months = {row["month"]: (row["revenue"], row["cost"], row["container_days"]) for row in money_months(view)}
    # January: starts of A and B 16.82 + 13.70, 66 days x 0.05. February: start of C 8.35, 112 x 0.06, picking 4.80.
    assert months == {"2026-01": (0.0, 33.82, 66), "2026-02": (15.05, 19.87, 112), "2026-03": (2.52, 3.12, 32)}


def test_months_show_the_same_money_where_books_are_kept(ledger: Ledger, folder: Path, copy: Path) -> None:
    view = ledger.view(Query(AS_OF, ()))
    names = ("revenue", "cost", "margin", "cost_per_kg", "lacks")
    paid = {row["month"]: tuple(row[name] for name in names) for row in money_months(view)}
    assert {row["month"]: tuple(row[name] for name in names) for row in months(view)} == paid
    assert "margin: revenue less cost, in EUR." in here("months", "--as-of", AS_OF, "--farm", folder).err
    for name in ("prices", "sales"):
        (copy / f"{name}.csv").unlink()
    said = here("months", "--as-of", AS_OF, "--farm", copy)
    assert "margin" not in said.out + said.err
    assert {row["margin"] for row in here("months", "--as-of", AS_OF, "--farm", copy, "--json").json} == {None}


@pytest.mark.parametrize("as_of", [date(2026, 2, 12), date(2026, 3, 5), AS_OF])
def test_plain_python_says_the_same(ledger: Ledger, folder: Path, as_of: date) -> None:
    groups = {"batch": lambda unit: unit.batch, "kind": _kind}
    for by, group in groups.items():
        expected, months = expected_money(folder, as_of, group)
        view = ledger.view(Query(as_of, (by,)))
        for rows, column, sums in ((money(view), by, expected), (money_months(view), "month", months)):
            for row in rows:
                for name in ("picked_g", "sold_g", "given_g", "discarded_g", "revenue", "cost"):
                    wanted = float(sums.get(row[column], {}).get(name, 0))
                    assert row[name] == pytest.approx(wanted, abs=0.002), (by, row, name)
            assert {name for name, each in sums.items() if any(each.values())} <= {row[column] for row in rows}


def _kind(unit: Unit) -> str:
    return unit.filling_rows[0].words["kind"]


def test_money_by_batch_is_money_by_month_and_by_any_column_and_the_whole(ledger: Ledger) -> None:
    view = ledger.view(Query(AS_OF, ("batch",)))
    tables = [money(view.by(*by)) for by in (("batch",), ("kind",), ("strain", "substrate"), ())]
    tables.append(money_months(view))
    for name in SUMS:
        assert len({whole(rows, name) for rows in tables}) == 1, name
    for row in (row for rows in tables for row in rows):
        gone = row["sold_g"] + row["given_g"] + row["discarded_g"]
        assert gone + row["left_g"] == pytest.approx(row["picked_g"], abs=1e-9)


def times(folder: Path, factor: float, columns: Mapping[str, Sequence[str]]) -> None:
    """Multiply what stands in these columns of a farm's files."""
    for name, multiplied in columns.items():
        with open(folder / f"{name}.csv", encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        more = [
            {**row, **{each: str(factor * float(row[each])) for each in multiplied if row.get(each)}} for row in rows
        ]
        with open(folder / f"{name}.csv", "w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, rows[0])
            writer.writeheader()
            writer.writerows(more)


def test_doubling_all_prices_doubles_money_and_turns_no_margin(copy: Path) -> None:
    before = batches_of(copy)
    times(copy, 2, {"prices": ["price"], "sales": ["price_per_kg", "amount"]})
    after = batches_of(copy)
    order = sorted(range(len(before)), key=lambda at: before[at]["margin"])
    assert order == sorted(range(len(after)), key=lambda at: after[at]["margin"])
    for one, other in zip(before, after, strict=True):
        for name in MONEY:
            assert other[name] == pytest.approx(2 * one[name], abs=3e-6)
        assert {name: one[name] for name in SUMS if name not in MONEY} == {
            name: other[name] for name in SUMS if name not in MONEY
        }


def test_what_is_shared_out_is_shared_alike_in_whichever_rows_and_files_it_stands(copy: Path) -> None:
    with (copy / "sales.csv").open("a", encoding="utf-8") as file:
        # No seven of these can be shared over 600, 500 and 300 g without a rest.
        file.writelines(f"2026-02-1{day},0.007,,,,0.000007,\n" for day in range(2, 5))

    def by_container() -> dict[str, object]:
        refreshed(copy)
        farm = open_farm(copy)
        with opened(farm.ledger, farm.settings) as found:
            rows = money(found.view(Query(AS_OF, ("batch", "container"))))
        return {f"{row['batch']} {row['container']}": row for row in rows}

    before = by_container()
    header, *rows = (copy / "fillings.csv").read_text(encoding="utf-8").splitlines()
    (copy / "fillings.csv").write_text("\n".join([header, *reversed(rows)]) + "\n", encoding="utf-8")
    assert by_container() == before


def test_tons_in_a_currency_of_small_worth_are_added_up(copy: Path) -> None:
    times(copy, 20_000, {"prices": ["price"], "sales": ["price_per_kg", "amount"]})
    times(copy, 5_000, {"sales": ["weight_g"], "harvests": ["fresh_weight_g"], "fillings": ["fill_kg"]})
    times(copy, 5_000, {"batches": ["substrate_dry_kg", "supplement_dry_kg", "spawn_kg"]})
    settings = SETTINGS.replace("work_hours_per_container = 0.25", "work_hours_per_container = 1000")
    (copy / "farm.toml").write_text(settings, encoding="utf-8")
    expected, _ = expected_money(copy, AS_OF, lambda unit: unit.batch)
    for row in batches_of(copy):
        for name in ("picked_g", "sold_g", "revenue", "cost"):
            assert row[name] == pytest.approx(float(expected.get(row["batch"], {}).get(name, 0)), rel=1e-9), (row, name)
    farm = open_farm(copy)
    with opened(farm.ledger, farm.settings) as ledger:
        assert yields(ledger.view(Query(AS_OF, ("batch",))))


def test_what_a_cost_lacks_is_named_with_its_price_or_cell(copy: Path) -> None:
    path = copy / "batches.csv"
    path.write_text(
        path.read_text().replace(
            "A,2026-01-10,grey,straw,cold_lime,4,bran,0.4,0.8", "A,2026-01-10,grey,straw,cold_lime,4,bran,0.4,"
        )
    )
    (copy / "prices.csv").write_text(PRICES.replace("2026-01-01,container_day,,,0.05,day\n", ""))
    lacks = {row["batch"]: row["lacks"] for row in batches_of(copy)}
    assert lacks == {"A": "container_day (price), spawn_kg", "B": "container_day (price)", "C": "", "": ""}
    said = here("money", "--by", "batch", "--as-of", AS_OF, "--farm", copy)
    assert "Cost lacks container_day (price) and spawn_kg, so that it is too low: A." in said.err
    # Of container-days there is a price from 15 February on.
    assert "To price what has none, add to prices.csv: 2026-01-10,container_day,,,PRICE,day." in said.err
    with (copy / "prices.csv").open("a", encoding="utf-8") as file:
        file.write("2026-01-10,container_day,,,0.05,day\n")
    assert "To price what has none" not in here("money", "--as-of", AS_OF, "--farm", copy).err


def test_a_name_without_a_price_among_named_ones_gets_a_row_of_its_own(copy: Path) -> None:
    rows = [row for row in PRICES.splitlines() if ",spawn," not in row]
    (copy / "prices.csv").write_text("\n".join([*rows, "2026-01-01,spawn,grain,,5,kg"]) + "\n", encoding="utf-8")
    said = here("money", "--as-of", AS_OF, "--farm", copy)
    assert "add to prices.csv: 2026-02-01,spawn,sawdust,,PRICE,kg." in said.err


def test_a_farm_that_logs_no_sale_is_shown_what_it_picked_at_its_price(copy: Path) -> None:
    (copy / "sales.csv").unlink()
    shutil.rmtree(copy / "kept", ignore_errors=True)
    rows = {row["batch"]: row for row in batches_of(copy)}
    # 600 g at 10 and 200 g at 12 after 15 February; 800 g at 10; 400 g at 12.
    assert {name: (row["revenue"], row["sold_g"], row["left_g"]) for name, row in rows.items()} == {
        "A": (8.4, 0.0, 800.0),
        "B": (8.0, 0.0, 800.0),
        "C": (4.8, 0.0, 400.0),
    }
    (copy / "prices.csv").unlink()
    shutil.rmtree(copy / "kept", ignore_errors=True)
    (copy / "farm.toml").write_text("price_per_kg = 9.5\nspawn_cost_per_kg = 3\nstart_cost_per_container = 2\n")
    a = batches_of(copy)[0]
    assert (a["revenue"], a["cost"]) == (7.6, 2 * 2 + 0.8 * 3)
    assert a["lacks"] == "container_day (price), substrate (price)"


def test_the_screen_tells_what_pays(folder: Path) -> None:
    said = here("money", "--as-of", AS_OF, "--farm", folder)
    assert said.code == 0
    assert "recipe" in said.out
    assert "As of 2026-03-31, in EUR." in said.err
    assert "10.17 came from packs that name no batch" in said.err
    assert max(len(line) for line in said.out.splitlines()) <= 80
    rows = here("money", "--by", "month", "--json", "--as-of", AS_OF, "--farm", folder).json
    assert [row["month"] for row in rows] == ["2026-01", "2026-02", "2026-03"]


def test_what_lies_there_is_told_by_age_as_the_most_that_it_can_be(ledger: Ledger) -> None:
    rows = unsold(ledger.view(Query(date(2026, 2, 21), ())))
    # 1,600 g picked, 150 g of them named their day, 1,300 g did not: 150 g are left, of whichever day.
    assert [(str(row["picked_on"]), row["age_days"], row["picked_g"], row["left_g"], row["exact"]) for row in rows] == [
        ("None", None, 1400.0, 150.0, False),
        ("2026-02-20", 1, 200.0, 50.0, False),
    ]
    whole_farm = money(ledger.view(Query(date(2026, 2, 21), ())))
    assert sum(row["left_g"] for row in whole_farm) == 150.0


def test_prices_of_the_day_stand_in_place_of_farm_toml(ledger: Ledger, folder: Path) -> None:
    found = {}
    for day in (date(2026, 1, 1), date(2026, 1, 31), AS_OF):
        settings = ledger.view(Query(day)).settings
        found[day] = [settings[name] for name in ("price_per_kg", "spawn_cost_per_kg", "substrate_cost_per_kg")]
        assert settings["start_cost_per_container"] == 1.0
    assert list(found.values()) == [[10.0, 4.0, 0.5], [10.0, 4.0, 0.6], [12.0, 4.0, 0.6]]
    assert ledger.view(Query(date(2025, 12, 31))).settings["price_per_kg"] is None
    said = here("compare", "treatment", "--measure", "margin", "--as-of", AS_OF, "--farm", folder)
    assert (said.code, "price_per_kg" in said.err) == (0, False)


def test_the_demo_farm_sells_what_it_picked_at_prices_with_one_change(tmp_path: Path) -> None:
    shutil.copytree(DEMO, tmp_path / "demo")
    write_books(tmp_path / "demo")
    refreshed(tmp_path / "demo")
    farm = open_farm(tmp_path / "demo")
    with opened(farm.ledger, farm.settings) as found:
        view = found.view(Query(LAST_DAY, ("substrate",)))
        rows, months = money(view), money_months(view)
        books = ("prices", "sales", "promises")
        counts = {row["table_name"]: row for row in found.records("file_counts") if row["table_name"] in books}
    assert {name: (row["loaded"] > 0, row["set_aside"]) for name, row in counts.items()} == dict.fromkeys(
        books, (True, 0)
    )
    assert 0 < sum(row["left_g"] for row in months) < 0.2 * sum(row["picked_g"] for row in months)
    assert sum(row["revenue"] for row in rows) == pytest.approx(sum(row["revenue"] for row in months), abs=1e-5)
    assert {row["sales_unpaid"] for row in rows} == {0}
    assert sum(row["margin"] for row in rows) > 0
