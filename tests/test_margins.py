"""Margins compared, with prices and sales in tables of their own: a farm worked by hand, the same in plain Python, what
must hold of any farm, and the arithmetic of a partial budget.
"""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest
from compare_farms import batches, compared, write_farm
from conftest import Said, gillbook
from ledgers import refreshed
from recompute_money import margins as expected_margins
from test_money import AS_OF, BATCHES, FILLINGS, HARVESTS, OBSERVATIONS, PRICES, SALES, SETTINGS, times

from pipeline.compare.comparison import Comparison
from pipeline.demo import LAST_DAY
from pipeline.demo.books import write_books
from pipeline.farm.folder import open_farm
from pipeline.models.compared_units import FarmUnits, farm_units
from pipeline.models.view import Ledger, opened

DEMO = Path(__file__).parent.parent / "demo_data"
TABLES = {
    "batches": BATCHES,
    "fillings": FILLINGS,
    "observations": OBSERVATIONS,
    "harvests": HARVESTS,
    "prices": PRICES,
    "sales": SALES,
}
# The farm of test_money, whose costs of starting are worked out there: 8.41 for a bucket of A, of B 7.15 for the bucket
# and 6.55 for the bag, 8.35 for the bag of C. Through flush 2:
# 1: picked .6 kg at 10 and, after 15 February, .2 kg at 12: 8.40. It stood until the last of it, 20 February: 22 days
#    at .05 and 19 at .06 are 2.24; picking .8 x .2 h x 15 = 2.40. 8.40 - 8.41 - 2.24 - 2.40 = -4.65.
# 2: lost after 20 days: -8.41 - 1.00 = -9.41.
# 3: flush 2 never came, so it stood to its end on 11 March: 12 x .05 + 38 x .06 = 2.88. 5.00 - 7.15 - 2.88 - 1.50.
# 4: 3.00 - 6.55 - 2.88 - .90 = -7.33.
# 5: .4 kg at 12 = 4.80; 40 days x .06 = 2.40 to 13 March; 4.80 - 8.35 - 2.40 - 1.20 = -7.15.
THROUGH_2 = {"1": -4.65, "2": -9.41, "3": -6.53, "4": -7.33, "5": -7.15}
# Through flush 1 the first ends on 10 February: 6.00 - 8.41 - (22 x .05 + 9 x .06) - 1.80, and those that came to it on
# the day of their picking: 3: 5.00 - 7.15 - (12 x .05 + 11 x .06) - 1.50; 4: 3.00 - 6.55 - 1.26 - .90; 5: 29 x .06.
THROUGH_1 = {"1": -5.85, "2": -9.41, "3": -4.91, "4": -5.71, "5": -6.49}


def write_books_farm(folder: Path, **changed: str) -> Path:
    (folder / "farm.toml").write_text(changed.pop("settings", SETTINGS), encoding="utf-8")
    for name, text in (TABLES | changed).items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_books_farm(tmp_path_factory.mktemp("margins"))


@pytest.fixture(scope="module")
def ledger(folder: Path) -> Iterator[Ledger]:
    refreshed(folder)
    farm = open_farm(folder)
    with opened(farm.ledger, farm.settings) as found:
        yield found


def per_unit(ledger: Ledger, units: FarmUnits, measure: str = "margin") -> dict[str, float]:
    """The margin of each container that counts."""
    part, names = (
        units.rows.parts[measure],
        dict(ledger.connection.execute("select unit, container from unit_states").fetchall()),
    )
    return {
        names[unit]: over
        for unit, over, adds in zip(units.rows.unit.tolist(), part.over.tolist(), part.adding.tolist(), strict=True)
        if adds
    }


def margins_of(folder: Path, measure: str = "margin", as_of: date = AS_OF) -> dict[str, float]:
    """The margin of each container that counts, in a farm that was just written."""
    refreshed(folder)
    farm = open_farm(folder)
    with opened(farm.ledger, farm.settings) as found:
        return per_unit(found, farm_units(found, as_of, 2, with_money=True), measure)


def ask(farm: Path, measure: str, *words: object, as_of: object = AS_OF) -> Said:
    return gillbook("compare", *words, "--measure", measure, "--farm", farm, "--as-of", as_of)


@pytest.mark.parametrize(("through", "by_hand"), [(1, THROUGH_1), (2, THROUGH_2)])
def test_margin_of_each_container_by_hand(ledger: Ledger, through: int, by_hand: dict[str, float]) -> None:
    assert per_unit(ledger, farm_units(ledger, AS_OF, through, with_money=True)) == pytest.approx(by_hand, abs=1e-9)


def test_margin_of_100_container_days_by_hand(ledger: Ledger) -> None:
    units = farm_units(ledger, AS_OF, 2, with_money=True)
    # What sales brought, less all costs, as money --by batch says; what no batch brought is in none.
    whole = {"A": 10.25 - 23.00, "B": 4.80 - 21.86, "C": 2.40 - 11.95}
    found = per_unit(ledger, units, "margin-per-day")
    of_batch = {"A": found["1"] + found["2"], "B": found["3"] + found["4"], "C": found["5"]}
    assert of_batch == pytest.approx(whole, abs=1e-6)
    # Days to their ends, and an empty one after each: 51 + 21, 51 + 51, 41.
    days = units.rows.parts["margin-per-day"].under
    assert sorted(days.tolist()) == [21, 41, 51, 51, 51]


def test_the_command_says_so_too(folder: Path) -> None:
    rows = {row["level"]: row for row in ask(folder, "margin", "treatment", "--levels", "--json").json}
    # The mean of soaks: A (-4.65 - 9.41) / 2 and C; B (-6.53 - 7.33) / 2.
    assert rows["cold_lime"]["estimate"] == pytest.approx((-7.03 - 7.15) / 2)
    assert rows["hot_water"]["estimate"] == pytest.approx(-6.93)
    rows = {row["level"]: row for row in ask(folder, "margin-per-day", "treatment", "--levels", "--json").json}
    assert rows["cold_lime"]["estimate"] == pytest.approx(100 * (-12.75 / 72 - 9.55 / 41) / 2, abs=1e-4)
    assert rows["hot_water"]["estimate"] == pytest.approx(100 * -17.06 / 102, abs=1e-4)
    told = " ".join(ask(folder, "margin", "treatment").err.split())
    assert "A margin is what was picked, at the price of its day, less all costs, both up to flush 2." in told
    told = " ".join(ask(folder, "margin-per-day", "treatment").err.split())
    assert "A margin is what sales brought, less all costs of the whole cycle." in told


@pytest.mark.parametrize("as_of", [date(2026, 2, 12), date(2026, 3, 5), AS_OF])
@pytest.mark.parametrize(("through", "to_day"), [(1, None), (2, None), (3, None), (1, 25), (2, 45)])
def test_plain_python_says_the_same(
    ledger: Ledger, folder: Path, as_of: date, through: int, to_day: int | None
) -> None:
    units = farm_units(ledger, as_of, through, to_day, with_money=True)
    expected = expected_margins(folder, as_of, through, to_day)
    found = per_unit(ledger, units)
    assert found == {
        name: pytest.approx(float(each), abs=1e-6) for (_, name), each in expected.items() if name in found
    }
    assert len(units.rows) == len(expected)


def demo(folder: Path) -> Path:
    shutil.copytree(DEMO, folder)
    write_books(folder)
    return folder


@pytest.mark.parametrize("measure", ["margin", "margin-per-day"])
def test_doubling_all_prices_doubles_differences_and_turns_no_direction(tmp_path: Path, measure: str) -> None:
    farm = demo(tmp_path / "demo")
    before = ask(farm, measure, "substrate", "--json", as_of=LAST_DAY).json
    times(farm, 2, {"prices": ["price"], "sales": ["price_per_kg", "amount"]})
    double_settings(farm)
    after = ask(farm, measure, "substrate", "--json", as_of=LAST_DAY).json
    assert before
    assert any(row["difference"] for row in before)
    for one, other in zip(before, after, strict=True):
        assert (other["level"], other["against"], other["direction"]) == (
            one["level"],
            one["against"],
            one["direction"],
        )
        for name in ("difference", "low", "high"):
            assert other[name] == (None if one[name] is None else pytest.approx(2 * one[name], rel=1e-4, abs=1e-4))


def double_settings(folder: Path) -> None:
    """Double what farm.toml says of prices."""
    lines = []
    for line in (folder / "farm.toml").read_text(encoding="utf-8").splitlines():
        key, mark, value = line.partition("=")
        if mark and (key.strip() == "price_per_kg" or "_cost_per_" in key):
            lines.append(f"{key}= {2 * float(value.split('#')[0])}")
        else:
            lines.append(line)
    (folder / "farm.toml").write_text("\n".join(lines), encoding="utf-8")


def test_prices_of_prices_csv_need_none_in_farm_toml(tmp_path: Path) -> None:
    only = "from_on,item,name,price,per\n2026-01-01,fresh,grey,10,kg\n2026-01-01,fresh,pink,10,kg\n"
    only += "2026-01-01,spawn,grain,5,kg\n2026-01-01,spawn,sawdust,4,kg\n"
    write_books_farm(tmp_path, prices=only, sales="sold_on,weight_g\n", settings="")
    # Of A 8.00 for .8 kg less .4 kg spawn at 5.
    assert margins_of(tmp_path)["1"] == pytest.approx(8.00 - 2.00)
    said = ask(tmp_path, "margin", "treatment")
    told = " ".join(said.err.split())
    assert said.code == 0
    assert "Not written anywhere, so counted as nothing: container_day, lime, start, substrate and work_hour." in told


def test_a_unit_whose_cost_or_price_is_not_known_is_out_and_counted(tmp_path: Path) -> None:
    late_days = PRICES.replace("2026-01-01,container_day,,,0.05,day\n", "")
    write_books_farm(tmp_path, prices=late_days)
    assert set(margins_of(tmp_path)) == {"5"}  # the others stood when no container-day had a price
    rows = {row["level"]: row for row in ask(tmp_path, "margin", "treatment", "--levels", "--json").json}
    assert (rows["cold_lime"]["units"], set(rows)) == (1, {"cold_lime", "hot_water"})
    assert (rows["hot_water"]["units"], rows["hot_water"]["estimate"]) == (0, None)
    told = " ".join(ask(tmp_path, "margin", "treatment").err.split())
    assert "4 containers of the farm are in no margin: a price, a mass or a sale is unknown." in told
    late_price = PRICES.replace("2026-01-01,fresh,,,10,kg\n", "")
    write_books_farm(tmp_path, prices=late_price)
    # Only what was picked from 15 February on has a price; what was lost of A does not stand alone for it.
    assert set(margins_of(tmp_path)) == {"5"}
    nothing_to_pay = PRICES.replace("spawn,grain,,5", "spawn,grain,,0")
    blank = BATCHES.replace("0.4,0.8,grain", "0.4,,grain")
    write_books_farm(tmp_path, prices=nothing_to_pay, batches=blank)
    assert margins_of(tmp_path)["1"] == pytest.approx(-4.65 + 2.00)  # what costs nothing needs no quantity


def test_of_a_whole_cycle_sales_must_be_known(tmp_path: Path) -> None:
    # What the inn paid for A on 11 February is not written, and fresh mushrooms had no price yet.
    unpaid = PRICES.replace("2026-01-01,fresh,,,10,kg\n", "")
    write_books_farm(tmp_path, prices=unpaid)
    assert set(margins_of(tmp_path, "margin-per-day")) == {"3", "4", "5"}
    # What was picked before sales were logged, less the shelf days, left unseen: A and B.
    later = "\n".join(line for line in SALES.splitlines() if not line.startswith("2026-02")) + "\n"
    write_books_farm(tmp_path, sales=later)
    assert set(margins_of(tmp_path, "margin-per-day")) == {"5"}


def test_a_cycle_is_not_over_while_what_it_gave_may_be_sold(tmp_path: Path) -> None:
    write_books_farm(tmp_path, observations=OBSERVATIONS.replace("2026-03-13,emptied", "2026-03-03,emptied"))
    # Picked on 2 March, kept for five days.
    assert "5" not in margins_of(tmp_path, "margin-per-day", date(2026, 3, 6))
    assert "5" in margins_of(tmp_path, "margin-per-day", date(2026, 3, 7))
    rows = ask(tmp_path, "margin-per-day", "treatment", "--levels", "--json", as_of="2026-03-06").json
    assert {row["level"]: row["units_not_yet"] for row in rows}["cold_lime"] == 1
    told = " ".join(ask(tmp_path, "margin-per-day", "treatment", as_of="2026-03-06").err.split())
    assert "still running, or what they gave may still be sold" in told


def test_sales_alone_make_a_margin_of_the_whole_cycle(tmp_path: Path) -> None:
    no_price = "".join(line for line in PRICES.splitlines(keepends=True) if ",fresh," not in line)
    sold = "sold_on,weight_g,amount,batch\n2026-02-11,500,6,A\n2026-02-13,800,8,B\n2026-03-03,400,5,C\n"
    write_books_farm(tmp_path, prices=no_price, sales=sold)
    found = margins_of(tmp_path, "margin-per-day")
    assert found["1"] + found["2"] == pytest.approx(6 - 23.00)
    assert ask(tmp_path, "margin-per-day", "treatment").code == 0
    said = ask(tmp_path, "margin", "treatment")
    told = " ".join(said.err.split())
    assert said.code == 2
    assert "there is no price_per_kg in farm.toml" in told
    assert "Or write fresh into prices.csv, each from a day on." in told


def budgeted(folder: Path) -> Comparison:
    """Three soaks of straw and three of mulch, each of 1 kg dry in 2 containers; nothing varies by luck."""
    first = date(2026, 1, 5)
    rows = [
        *batches("straw", [60, 60, 60], first, containers=2, spawn_kg=0.1),
        *batches("mulch", [75, 75, 75], first + timedelta(9), containers=2, spawn_kg=0.1),
    ]
    write_farm(folder, rows, "work_hours_per_container = 0.5\nwork_hours_per_kg = 0.2\n")
    prices = [
        *(("fresh", "", 10, "kg"), ("spawn", "", 4, "kg"), ("substrate", "straw", 0.5, "kg")),
        *(("substrate", "mulch", 0.2, "kg"), ("start", "", 1, "container"), ("work_hour", "", 15, "hour")),
    ]
    with open(folder / "prices.csv", "w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["from_on", "item", "name", "price", "per"])
        writer.writerows(("2026-01-01", *each) for each in prices)
    return compared(folder, measure="margin")


def test_a_difference_in_margin_is_the_net_change_of_a_partial_budget(tmp_path: Path) -> None:
    # Outside: the partial budget of farm economics: net change = (added income + reduced costs) - (reduced income +
    # added costs). Kay, Edwards and Duffy, Farm Management, the chapter on partial budgeting; from memory. Its boxes,
    # from straw to mulch, for one soak of 1 kg dry; the figures are ours:
    added_income = 0.15 * 10  # .15 kg more
    reduced_costs = 1 * (0.5 - 0.2)  # the cheaper substrate
    reduced_income = 0.0
    added_costs = 0.15 * 0.2 * 15  # picking the more
    net_change = (added_income + reduced_costs) - (reduced_income + added_costs)
    answer = budgeted(tmp_path)
    (pair,) = answer.pairs
    sign = 1 if pair.pair.level == "mulch" else -1
    assert sign * pair.pair.estimate.value == pytest.approx(net_change / 2, abs=1e-9)  # two containers
    # Outside: the partial budget of on-farm trials: net benefit = yield x field price - costs that vary, the field
    # price being the price less what harvesting a kilogram costs. CIMMYT 1988, From agronomic data to farmer
    # recommendations; from memory.
    field_price = 10 - 0.2 * 15
    levels = {each.name: each for each in answer.levels}
    for name, gave_kg, substrate in (("straw", 0.60, 0.5), ("mulch", 0.75, 0.2)):
        alike = 0.1 * 4 + 2 * 1 + 2 * 0.5 * 15
        net_benefit = gave_kg * field_price - substrate - alike
        for cell in levels[name].used:
            assert cell.value == pytest.approx(net_benefit / 2, abs=1e-9)
