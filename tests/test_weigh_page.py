"""The weigh page end to end, in a real browser: nothing that was logged is lost, and what is exported counts once."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import WHY_NOT, Browser, chromium, there
from ledgers import here, rows
from weigh_pages import (
    TODAY,
    ago,
    cells,
    choose,
    count,
    exported,
    page_of,
    press,
    question,
    said,
    small_farm,
    trouble,
    weigh,
    write_csv,
)
from weigh_pages import opened as open_empty

from schemas.contract import contract

pytestmark = pytest.mark.skipif(not there(), reason=WHY_NOT)

LATER = ago(-12)  # when a flush of today counts as over (flush_settled_days, 10)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as tab:
        yield tab


@pytest.fixture
def opened(browser: Browser, tmp_path: Path) -> Path:
    """A farm whose page is open, with nothing in the browser's storage."""
    farm = small_farm(tmp_path / "farm")
    open_empty(browser, page_of(farm))
    (tmp_path / "downloads").mkdir()
    return farm


def be_of_a(farm: Path) -> float | None:
    told = here("yields", "--json", "--as-of", LATER, "--farm", farm).json
    return next(row["be_flush1_pct"] for row in told if row["batch"] == "A")


def test_what_is_logged_survives_a_reload_an_undo_and_an_export_and_changes_be(
    browser: Browser, opened: Path, tmp_path: Path
) -> None:
    assert be_of_a(opened) is None
    assert weigh(browser, "2", "412", "turned_down") == "Logged 2, 412 g, turned down. 1 entry today, 0.41 kg."
    assert weigh(browser, "10", "300.5") == "Logged 10, 300.5 g. 2 entries today, 0.71 kg."
    browser.open(opened / "weigh.html", 360, 640)
    assert (count(browser), said(browser)) == ("2 to export", "2 entries kept here, 2 not exported.")
    assert press(browser, "#undo") == "Taken back: 10, 300.5 g. It stands in the fields again."
    assert browser.evaluate("document.getElementById('weight').value") == "300.5"
    for key in ("back", "back", "back", "back", "9"):
        browser.tap(f"[data-key='{key}']")
    assert press(browser, "#log") == "Logged 10, 39 g. 2 entries today, 0.45 kg."
    first = exported(browser, tmp_path / "downloads")
    assert count(browser) == "All exported"
    assert list(cells(first)[0]) == list(contract("harvests").names)
    told = [
        (row["picked_on"], row["fresh_weight_g"], row["container"], row["batch"], row["cap_stage"])
        for row in cells(first)
    ]
    assert told == [(ago(0), "412", "2", "A", "turned_down"), (ago(0), "39", "10", "A", "")]
    shutil.copy(first, opened / "harvests")
    # (412 + 39) g over 3 kg of dry substrate
    assert be_of_a(opened) == pytest.approx(100 * 451 / 3000)
    shutil.copy(first, opened / "harvests" / "the same again.csv")
    assert be_of_a(opened) == pytest.approx(100 * 451 / 3000)
    weigh(browser, "b3", "250")
    everything = exported(browser, tmp_path / "downloads", "#again")
    assert [row["fresh_weight_g"] for row in cells(everything)] == ["412", "39", "250"]
    shutil.copy(everything, opened / "harvests")
    here("refresh", "--farm", opened)
    assert rows(opened, "select sum(fresh_weight_g)::double, count(*) from harvests") == [
        (400 + 380.5 + 412 + 39 + 250, 5)
    ]
    assert here("check", "--farm", opened, "--as-of", LATER).code == 1  # the rows that stand twice, named
    assert browser.log == []
    assert [address for address in browser.requests if not address.startswith("blob:file:")] == [
        (opened / "weigh.html").as_uri()
    ]


def test_the_flush_shown_is_the_one_the_ledger_counts(browser: Browser, opened: Path, tmp_path: Path) -> None:
    shown = {}
    # b3 was picked 20 and 12 days ago (flush 1 and, 8 days later, 2); a new flush begins after 7 days (farm.toml).
    for day in (11, 4, 3, 0):
        choose(browser, "b3")
        browser.evaluate(f"document.getElementById('date').value = '{ago(day)}'")
        browser.evaluate("document.getElementById('date').dispatchEvent(new Event('input'))")
        facts = browser.evaluate("document.getElementById('chosen-facts').textContent")
        shown[ago(day)] = int(facts.split("flush ")[1][0])
        for key in f"2{day:02}":
            browser.tap(f"[data-key='{key}']")
        press(browser, "#log")
    assert shown == {ago(11): 2, ago(4): 3, ago(3): 3, ago(0): 3}
    choose(browser, "b3")
    browser.evaluate("document.getElementById('flush').value = '4'")
    browser.tap("[data-key='9']")
    browser.tap("[data-key='9']")
    press(browser, "#log")
    shown[ago(0)] = 4
    shutil.copy(exported(browser, tmp_path / "downloads"), opened / "harvests")
    here("refresh", "--farm", opened)
    told = rows(opened, f"select picked_on::varchar, max(flush) from harvests where picked_on > '{ago(12)}' group by 1")
    assert dict(told) == shown


def test_a_farm_with_decimal_commas_reads_its_export(browser: Browser, tmp_path: Path) -> None:
    farm = small_farm(tmp_path / "farm")
    (farm / "farm.toml").write_text('decimal_mark = ","\n', encoding="utf-8")
    (farm / "harvests" / "before.csv").unlink()
    open_empty(browser, page_of(farm))
    (tmp_path / "downloads").mkdir()
    assert weigh(browser, "2", "412.5") == "Logged 2, 412,5 g. 1 entry today, 0,41 kg."
    file = exported(browser, tmp_path / "downloads")
    assert file.read_text(encoding="utf-8").splitlines()[1].startswith(f"{ago(0)};412,5;2;A;")
    shutil.copy(file, farm / "harvests")
    here("refresh", "--farm", farm)
    assert rows(farm, "select fresh_weight_g::double, container from harvests") == [(412.5, "2")]


@pytest.mark.parametrize(
    ("field", "text", "weight", "told"),
    [
        ("weight", "0", "", "0 g is no picking"),
        ("weight", "-30", "", "write grams like 412"),
        ("weight", "1.250", "", "thousands without a mark"),
        ("weight", "12kg", "", "write grams like 412"),
        ("culled", "413", "412", "it is part of the weight"),
        ("culled", "some", "412", "write grams, like 35"),
        ("flush", "0", "412", "write a whole number"),
        ("date", ago(-1), "412", "still to come"),
        ("date", "", "412", "choose a day"),
    ],
)
def test_what_cannot_be_is_refused_where_it_stands(
    browser: Browser, opened: Path, field: str, text: str, weight: str, told: str
) -> None:
    choose(browser, "2")
    browser.evaluate(f"document.getElementById('weight').value = '{weight}'")
    browser.evaluate(f"document.getElementById('{field}').value = '{text}'")
    browser.evaluate("document.getElementById('date').dispatchEvent(new Event('input'))")
    press(browser, "#log")
    assert told in trouble(browser)
    assert browser.evaluate("document.activeElement.id") == field
    assert count(browser) == "Nothing logged"


def test_what_is_doubtful_is_asked_about(browser: Browser, opened: Path) -> None:
    # 5 kg of fill and no usual weight yet: 500 g a kg is the most (schemas/pickings.py). No history of its own.
    for weight, asked in (("2500", False), ("2501", True), ("16", False)):
        weigh(browser, "2", weight)
        assert bool(question(browser)) is asked, weight
        if asked:
            assert (
                question(browser)
                == "2501 g is more than a container of its fill gives at once, 2500 g at the most. Log it?"
            )
            browser.tap("#no")
            browser.wait("document.activeElement.id === 'weight'")
            browser.evaluate("document.getElementById('weight').value = ''")
            browser.tap("#change")
    assert count(browser) == "2 to export"
    weigh(browser, "2", "16")
    assert question(browser) == "2, 16 g was logged a moment ago. Log it?"
    assert press(browser, "#yes") == "Logged 2, 16 g. 3 entries today, 2.53 kg."


def test_a_container_that_is_not_listed_is_asked_about(browser: Browser, opened: Path, tmp_path: Path) -> None:
    def scan(name: str) -> None:
        browser.evaluate("document.getElementById('container').value = ''")
        browser.tap("#container")
        browser.type(name)
        browser.key("Enter")

    for answer in ("#no", "#yes"):
        scan("B12")
        assert question(browser) == "B12 is not among the containers that are running. Log it all the same?"
        browser.tap(answer)
    browser.wait("document.activeElement.id === 'weight'")
    browser.type("300")
    assert press(browser, "#log") == "Logged B12, 300 g. 1 entry today, 0.30 kg."
    (row,) = cells(exported(browser, tmp_path / "downloads"))
    assert (row["container"], row["batch"], row["fresh_weight_g"]) == ("B12", "", "300")


HOSTILE = (
    "<img src=x onerror=window.hit=1>",
    '"><script>window.hit=2</script>',
    "</script><script>window.hit=3</script>",
    "=1+1",
    "-2",
    'B,"7"',
    "a\u202eb",
    "__proto__",
    "../../x",
    "O'Neill & co; x",
)


def test_hostile_names_are_text_and_come_back_as_they_are(browser: Browser, tmp_path: Path) -> None:
    farm = small_farm(tmp_path / "farm", "</script><script>window.hit=4</script>")
    write_csv(
        farm / "fillings.csv",
        "batch,container,fill_kg,room,position",
        *(("A", name, 1, name, name) for name in HOSTILE),
    )
    page = page_of(farm)
    open_empty(browser, page)
    (tmp_path / "downloads").mkdir()
    number = len(HOSTILE)
    for at in range(number):
        browser.evaluate(f"document.querySelectorAll('.unit')[{at}].click()")
        for key in f"{300 + at}":
            browser.tap(f"[data-key='{key}']")
        if at == 0:
            browser.evaluate("document.getElementById('note').value = '=HYPERLINK(\"x\")'")
        press(browser, "#log")
    file = exported(browser, tmp_path / "downloads")
    assert cells(file)[0]["note"] == '\'=HYPERLINK("x")'
    assert {"'=1+1", "'-2"} <= {row["container"] for row in cells(file)}
    shutil.copy(file, farm / "harvests")
    here("refresh", "--farm", farm)
    assert rows(farm, "select note from harvests where note is not null") == [('=HYPERLINK("x")',)]
    found = rows(farm, f"select container, count(*) from harvests where picked_on = '{TODAY}' group by 1")
    assert dict(found) == dict.fromkeys(HOSTILE, 1)
    assert browser.evaluate("window.hit ?? null") is None
    assert browser.log == []
    assert [address for address in browser.requests if not address.startswith("blob:file:")] == [page.as_uri()]
