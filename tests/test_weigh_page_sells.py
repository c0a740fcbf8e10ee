"""What leaves the farm is logged on the weigh page: with the promises of a picking there, and money as exact text."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import WHY_NOT, Browser, chromium, there
from ledgers import here, rows
from open_farms import serving
from test_weigh_page_for_all import AXE, OUTSIDE, RULES, SMALL_TARGETS, TARGET_PX
from weigh_pages import ago, cells, count, opened, page_of, question, small_farm, weigh, write_csv

pytestmark = pytest.mark.skipif(not there(), reason=WHY_NOT)

ANSWERED = """["sale-said", "sale-trouble"].some((id) => document.getElementById(id).textContent)
  || document.getElementById("ask").open"""
SALES = "sold_on,weight_g,buyer,strain,price_per_kg"
LOCAL = "127.0.0.4"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as tab:
        yield tab


def selling_farm(folder: Path, currency: str = "EUR", more: str = "") -> Path:
    """The small farm, which sold to three buyers."""
    farm = small_farm(folder)
    (farm / "farm.toml").write_text(f'name = "A farm"\ncurrency = "{currency}"\n{more}', encoding="utf-8")
    write_csv(
        farm / "sales.csv",
        SALES,
        (ago(9), 2500, "Blue Inn", "grey", "12.50"),
        (ago(20), 2500, "Blue Inn", "grey", "11"),
        (ago(8), 1500, "Market on Saturday", "", "11"),
        (ago(3), 700, "Neighbours", "grey", ""),
    )
    return farm


@pytest.fixture
def farm(tmp_path: Path) -> Path:
    (tmp_path / "downloads").mkdir()
    return selling_farm(tmp_path / "farm")


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of such a farm."""
    return page_of(selling_farm(tmp_path_factory.mktemp("sells") / "farm"))


@pytest.fixture
def page(browser: Browser, written: Path) -> Path:
    """That page, open at its sales, with nothing in the browser's storage."""
    opened(browser, written)
    browser.tap("#mode-sell")
    return written


def text(browser: Browser, selector: str) -> str:
    return str(browser.evaluate(f"document.querySelector({selector!r}).textContent"))


def field(browser: Browser, name: str) -> str:
    return str(browser.evaluate(f"document.getElementById('sale-{name}').value"))


def put(browser: Browser, **fields: str) -> None:
    """Writes into fields of the form as a hand at a keyboard does."""
    for name, value in fields.items():
        browser.evaluate(
            f"""(() => {{ const one = document.getElementById("sale-{name}"); one.value = {value!r};
            one.dispatchEvent(new Event("input", {{ bubbles: true }})); }})()"""
        )


def keys(browser: Browser, digits: str) -> None:
    for key in digits:
        browser.tap(f"#sale-pad [data-key='{key}']")


def buyer(browser: Browser, name: str) -> None:
    """Taps on a buyer that is proposed."""
    at = browser.evaluate(
        f"[...document.querySelectorAll('#sale-buyers button')].findIndex(e => e.innerText === {name!r})"
    )
    browser.tap(f"#sale-buyers button:nth-child({at + 1})")


def press(browser: Browser, selector: str = "#sale-log") -> str:
    """Taps, and gives what the form says then; blank where it asks or finds something wrong instead."""
    browser.evaluate("document.getElementById('sale-said').textContent = ''")
    browser.tap(selector)
    browser.wait(ANSWERED)
    return text(browser, "#sale-said")


def exported(browser: Browser, downloads: Path, button: str) -> Path:
    before = set(downloads.iterdir())
    browser.keep_downloads(downloads)
    browser.tap(button)
    for _ in range(500):
        if found := {*downloads.glob("*.csv")} - before:
            file = found.pop()
            # Said once the entries are noted as exported.
            browser.wait(f"document.getElementById('where').textContent.includes({file.name!r})")
            return file
        browser.evaluate("new Promise(done => setTimeout(done, 10))")
    raise AssertionError("nothing was exported")


def sold_today(farm: Path) -> list[dict[str, str]]:
    """The rows of today's sales in the farm's files."""
    files = [*farm.glob("sales*.csv"), *farm.glob("sales/*.csv")]
    return [row for file in files for row in cells(file) if row["sold_on"] == ago(0)]


def test_a_farm_without_sales_and_prices_sees_no_such_button(browser: Browser, tmp_path: Path) -> None:
    opened(browser, page_of(small_farm(tmp_path / "none")))
    assert browser.evaluate("document.querySelector('#mode-sell, #sale-form')") is None
    assert browser.evaluate("document.getElementById('title').className") == ""
    for name, price in (("table", None), ("setting", "price_per_kg = 12\n")):
        farm = small_farm(tmp_path / name)
        if price:
            (farm / "farm.toml").write_text(price, encoding="utf-8")
        else:
            write_csv(farm / "prices.csv", "from_on,item,price,per", (ago(90), "fresh", 12, "kg"))
        opened(browser, page_of(farm))
        assert browser.evaluate("!!document.querySelector('#mode-sell')") is True, name


def test_a_sale_goes_from_the_page_to_the_farm_exactly(
    browser: Browser, farm: Path, page: Path, tmp_path: Path
) -> None:
    buyer(browser, "Blue Inn")
    keys(browser, "2470")
    browser.tap("#sale-price")
    keys(browser, "12.35")
    put(browser, strain="grey", batch="A", picked=ago(1), note="=wet")
    assert press(browser) == ("Logged Blue Inn, 2470 g of grey, at 12.35 EUR a kg, batch A. 1 entry today, 2.47 kg.")
    assert text(browser, "#sale-done") == "Blue Inn: 2470 g"
    assert [field(browser, name) for name in ("weight", "price", "buyer", "strain", "batch")] == [""] * 5
    put(browser, kind="given", weight="400")
    assert press(browser).startswith("Logged 400 g, given. 2 entries today")
    browser.open(page, 360, 640)
    assert count(browser) == "2 to export"
    # A picking beside them is in a file of its own.
    browser.tap("#mode-weigh")
    assert weigh(browser, "2", "412").startswith("Logged 2, 412 g. 1 entry today, 0.41 kg.")
    file = exported(browser, tmp_path / "downloads", "#export-sales")
    assert file.name.startswith("sold-")
    first, second = cells(file)
    assert (first["weight_g"], first["price_per_kg"], first["note"], second["kind"]) == (
        "2470",
        "12.35",
        "'=wet",
        "given",
    )
    other = exported(browser, tmp_path / "downloads", "#export")
    assert other.name.startswith("weighed-")
    assert here("take-in", file, other, "--farm", farm).out == (
        f"{file.name}: 2 entries logged.\n{other.name}: 1 entry logged.\n"
    )
    # 2.47 kg at 12.35 is 30.5045; as binary fractions 2.47 * 12.35 is 30.504500000000004.
    wanted = (
        f"select buyer, strain, paid::varchar, kind, batch, note from sales where sold_on = '{ago(0)}' order by paid"
    )
    assert rows(farm, wanted) == [
        (None, None, "0.000000", "given", None, None),
        ("Blue Inn", "grey", "30.504500", "sold", "A", "=wet"),
    ]


def test_what_is_half_typed_survives_a_reload(browser: Browser, page: Path) -> None:
    buyer(browser, "Neighbours")
    keys(browser, "70")
    put(browser, kind="given", strain="grey", note="for the fair")
    browser.evaluate("new Promise(done => setTimeout(done, 300))")
    browser.open(page, 360, 640)
    assert browser.evaluate("document.getElementById('form').hidden") is True
    shown = {name: field(browser, name) for name in ("buyer", "weight", "kind", "strain", "note")}
    assert shown == {
        "buyer": "Neighbours", "weight": "70", "kind": "given", "strain": "grey", "note": "for the fair",
    }  # fmt: skip
    browser.tap("#mode-weigh")
    browser.evaluate("new Promise(done => setTimeout(done, 300))")
    browser.open(page, 360, 640)
    assert browser.evaluate("document.getElementById('sale-form').hidden") is True


def test_undo_puts_it_back_into_the_fields_and_after_an_export_a_row_says_so(
    browser: Browser, farm: Path, page: Path, tmp_path: Path
) -> None:
    buyer(browser, "Blue Inn")
    keys(browser, "500")
    browser.tap("#sale-amount")
    keys(browser, "6.2")
    assert press(browser).startswith("Logged Blue Inn, 500 g, for 6.2 EUR.")
    assert press(browser, "#sale-undo").startswith("Taken back: Blue Inn, 500 g")
    assert count(browser) == "Nothing logged"
    assert [field(browser, name) for name in ("buyer", "weight", "amount")] == ["Blue Inn", "500", "6.2"]
    press(browser)
    first = exported(browser, tmp_path / "downloads", "#export-sales")
    browser.tap("#log-list button")
    assert question(browser) == "It is exported already. Take it back by a row in the next export?"
    assert press(browser, "#yes").startswith("Taken back")
    keys(browser, "0")
    press(browser)
    second = exported(browser, tmp_path / "downloads", "#export-sales")
    assert [(row["weight_g"], bool(row["takes_back"])) for row in cells(second)] == [("", True), ("5000", False)]
    here("take-in", first, second, "--farm", farm)
    wanted = f"select weight_g::double, paid::double from sales where sold_on = '{ago(0)}'"
    assert rows(farm, wanted) == [(5000.0, 6.2)]


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({}, "Weight: write grams like 412 or 412.5"),
        ({"weight": "0"}, "Weight: 0 g is nothing."),
        ({"weight": "1.250"}, "Weight: write grams"),
        ({"weight": "500", "price": "ten"}, "Price: write it like 12.5"),
        ({"weight": "500", "price": "1.250"}, "Price: write it like 12.5, with two decimals at most"),
        ({"weight": "500", "amount": "-3"}, "For all: write it like 12.5"),
        ({"weight": "500", "date": ""}, "Date: choose a day."),
        ({"weight": "500", "date": "2999-01-01"}, "Date: that day is still to come."),
        ({"weight": "500", "date": ago(2), "picked": ago(1)}, "Picked on: that is after the day"),
    ],
)
def test_what_cannot_be_is_refused_where_it_stands(
    browser: Browser, page: Path, fields: dict[str, str], said: str
) -> None:
    put(browser, **fields)
    assert press(browser) == ""
    assert text(browser, "#sale-trouble").startswith(said)
    assert browser.evaluate("document.activeElement.ariaInvalid") == "true"
    assert count(browser) == "Nothing logged"


@pytest.mark.parametrize(
    ("fields", "asked"),
    [
        ({"weight": "500", "price": "12.35", "amount": "6.19"}, "6.19 is not weight times price; it would count."),
        ({"weight": "500", "batch": "Z"}, "Z is none of the batches of this page."),
    ],
)
def test_what_is_doubtful_is_asked(browser: Browser, page: Path, fields: dict[str, str], asked: str) -> None:
    put(browser, **fields)
    assert press(browser) == ""
    assert question(browser) == f"{asked} Log it?"
    browser.tap("#no")
    assert count(browser) == "Nothing logged"
    press(browser)
    assert press(browser, "#yes").startswith("Logged 500 g")


def test_a_cent_of_rounding_is_no_doubt_and_the_same_again_is_one(browser: Browser, page: Path) -> None:
    # 0.5 kg at 12.35 is 6.175: 6.17 and 6.18 are both that, rounded.
    for amount in ("6.17", "6.18"):
        put(browser, weight="500", price="12.35", amount=amount)
        assert press(browser).startswith("Logged 500 g")
    put(browser, weight="500", price="12.35", amount="6.18")
    assert press(browser) == ""
    assert question(browser) == ("The same, 500 g, at 12.35 EUR a kg, for 6.18 EUR, was logged a moment ago. Log it?")


def test_what_was_not_sold_has_no_price(browser: Browser, page: Path) -> None:
    put(browser, weight="500", price="12")
    put(browser, kind="own_kitchen")
    assert browser.evaluate("document.getElementById('sale-price').checkVisibility()") is False
    assert press(browser).startswith("Logged 500 g, own kitchen. 1 entry")


def test_buyers_are_proposed_the_latest_first_with_their_last_price(browser: Browser, page: Path) -> None:
    chips = "[...document.querySelectorAll('#sale-buyers button')].map(e => e.innerText)"
    assert browser.evaluate(chips) == ["Neighbours", "Market on Saturday", "Blue Inn"]
    put(browser, buyer="bl")
    assert browser.evaluate(chips) == ["Blue Inn"]
    buyer(browser, "Blue Inn")
    assert text(browser, "#sale-last") == "12.5 a kg, as last time"
    browser.tap("#sale-last")
    assert field(browser, "price") == "12.5"
    put(browser, weight="800", price="13")
    press(browser)
    # A new one is proposed from now on, and a known one with the new price.
    put(browser, buyer="New one", weight="300")
    press(browser)
    assert browser.evaluate(chips) == ["New one", "Blue Inn", "Neighbours"]
    buyer(browser, "Blue Inn")
    assert text(browser, "#sale-last") == "13 a kg, as last time"


def test_twenty_sales_take_seven_taps_each(browser: Browser, page: Path) -> None:
    browser.evaluate("window.taps = 0; addEventListener('pointerdown', () => (taps += 1), true)")
    for at in range(20):
        buyer(browser, ("Blue Inn", "Market on Saturday")[at % 2])
        keys(browser, f"{1500 + at}")
        browser.tap("#sale-last")
        assert press(browser).startswith("Logged ")
    assert count(browser) == "20 to export"
    # A buyer, four figures, the price of last time, Log.
    assert browser.evaluate("taps") == 7 * 20


def test_each_farm_shows_its_own_currency_and_marks(browser: Browser, tmp_path: Path) -> None:
    for currency in ("EUR", "£"):
        opened(browser, page_of(selling_farm(tmp_path / currency, currency)))
        browser.tap("#mode-sell")
        assert text(browser, "label[for=sale-price]") == f"A kg {currency}"
        assert text(browser, "label[for=sale-amount]") == f"For all {currency}"
        put(browser, weight="500", price="9.5")
        assert press(browser).startswith(f"Logged 500 g, at 9.5 {currency} a kg.")
    farm = small_farm(tmp_path / "comma")
    (farm / "farm.toml").write_text('decimal_mark = ","\nprice_per_kg = 10\n', encoding="utf-8")
    (tmp_path / "downloads").mkdir()
    opened(browser, page_of(farm))
    browser.tap("#mode-sell")
    keys(browser, "500.5")
    browser.tap("#sale-price")
    keys(browser, "12.25")
    assert press(browser).startswith("Logged 500,5 g, at 12,25 a kg.")
    file = exported(browser, tmp_path / "downloads", "#export-sales")
    here("take-in", file, "--farm", farm)
    assert rows(farm, "select weight_g::varchar, price_per_kg::varchar, paid::varchar from sales") == [
        ("500.500", "12.250000", "6.131125")
    ]


@pytest.mark.parametrize(
    ("width", "height", "dark"), [(360, 640, False), (390, 844, True), (844, 390, False), (1280, 800, True)]
)
def test_it_is_for_all_and_fits_every_telephone(
    browser: Browser, page: Path, width: int, height: int, dark: bool
) -> None:
    browser.dark(dark)
    try:
        browser.open(page, width, height)
        for state in ("empty", "refused", "logged"):
            if state == "refused":
                press(browser)
                browser.evaluate("document.getElementById('sale-more').open = true")
            if state == "logged":
                buyer(browser, "Blue Inn")
                keys(browser, "500")
                press(browser)
            browser.evaluate(f"{AXE}; true")
            asked = f"axe.run(document, {{runOnly: {RULES}}}).then(found => JSON.stringify(found.violations))"
            found = json.loads(browser.evaluate(asked))
            assert [(each["id"], each["nodes"][0]["html"]) for each in found] == [], state
            assert browser.evaluate(SMALL_TARGETS.replace("TARGET", str(TARGET_PX))) == [], state
            assert browser.evaluate(OUTSIDE) == [], state
    finally:
        browser.dark(False)


@pytest.mark.parametrize(("width", "height"), [(360, 640), (844, 390)])
def test_all_down_to_log_is_in_sight(browser: Browser, page: Path, width: int, height: int) -> None:
    browser.open(page, width, height)
    browser.tap("#mode-sell")
    seen = """["#sale-buyer", "#sale-weight", "#sale-amount", "#sale-pad", "#sale-log"].filter((each) => {
      const box = document.querySelector(each).getBoundingClientRect();
      const bar = document.querySelector("#sale-form .bar").getBoundingClientRect();
      const inBar = each === "#sale-log" || innerWidth > innerHeight;
      return box.top < 0 || box.bottom > (inBar ? innerHeight : bar.top) || box.right > innerWidth;
    })"""
    assert browser.evaluate(seen) == []
    assert browser.evaluate("document.getElementById('sale-weight').inputMode") == "none"


def test_a_telephone_sends_its_sales_home_and_what_it_takes_back(browser: Browser, tmp_path: Path) -> None:
    farm = selling_farm(tmp_path / "farm")
    home = "document.getElementById('home')?.textContent"
    with serving(farm, "--phone", "--address", LOCAL) as served:
        host = served.host.replace("127.0.0.1", LOCAL)
        browser.open(f"http://{host}/join?token={served.invitation()}", 360, until="!!document.forms[0]")
        browser.evaluate("document.forms[0].requestSubmit()")
        browser.wait(
            f"location.pathname === '/phone' && document.documentElement?.dataset.drawn && {home} === 'All at home'"
        )
        weigh(browser, "2", "412")
        browser.tap("#mode-sell")
        buyer(browser, "Blue Inn")
        keys(browser, "900")
        browser.tap("#sale-last")
        press(browser)
        browser.wait(f"record.fresh().length === 0 && {home} === 'All at home'")
        kept = sold_today(farm)
        assert [(row["weight_g"], row["buyer"], row["price_per_kg"]) for row in kept] == [("900", "Blue Inn", "12.5")]
        assert sum(len(cells(path)) for path in (farm / "harvests").glob("*.csv")) == 3
        browser.tap("#log-list button")
        press(browser, "#yes")
        browser.wait(f"record.fresh().length === 0 && {home} === 'All at home'")
        assert sold_today(farm) == []
