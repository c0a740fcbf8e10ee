"""What the tests of the weigh page share: a farm with a history, its page, and hands that log on it."""

from __future__ import annotations

import csv
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from browser import Browser
from ledgers import here

# The page asks the clock, so its farm lives in these days.
TODAY = date.today()
ANSWERED = """["said", "trouble"].some((id) => document.getElementById(id).textContent)
  || document.getElementById("ask").open"""


# A farm at rest in the past: each container with a history of its own.
TABLES = {
    "batches": "batch,inoculated_on\nA,2026-01-01\nB,2026-01-20\nP,2026-01-01\nW,2026-01-01\nN,2026-04-01",
    "fillings": """batch,container,room,position
        A,2,tunnel,1\nA,10,tunnel,1\nA,1,cellar,9\nA,3,,\nB,3,tunnel,10\nB,4,tunnel,2\nP,p1,tunnel,0\nP,p2,tunnel,0\nN,n1,,""",
    "harvests": """picked_on,fresh_weight_g,container,batch,flush
        2026-02-01,300,2,A,\n2026-02-03,200.50,2,A,\n2026-02-09,100,10,A,\n2026-02-17,90,10,A,
        2026-02-17,80,10,A,\n2026-02-18,70,10,A,3\n2026-02-01,900,,P,\n2026-02-05,500,p1,P,\n2026-02-05,500,,W,""",
    "observations": "seen_on,event,container,batch\n2026-02-10,emptied,1,A\n2026-02-12,contaminated,p2,P",
}


def ago(days: int) -> str:
    return (TODAY - timedelta(days=days)).isoformat()


def write_csv(path: Path, header: str, *rows: tuple[object, ...]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as out:
        csv.writer(out).writerows([header.split(","), *rows])


def small_farm(folder: Path, name: str = "A farm") -> Path:
    """Batch A, 3 kg dry in containers 2 and 10 (1.5 kg each), never picked; batch B in b3, picked twice."""
    folder.mkdir(parents=True)
    (folder / "farm.toml").write_text(f'name = "{name}"\n', encoding="utf-8")
    write_csv(
        folder / "batches.csv",
        "batch,inoculated_on,strain,substrate,substrate_wet_kg,moisture_pct",
        ("A", ago(30), "grey", "straw", 10, 70),
        ("B", ago(50), "grey", "straw", 10, 70),
    )
    write_csv(
        folder / "fillings.csv",
        "batch,container,fill_kg,room,position",
        ("A", "10", 5, "tunnel", "shelf 1"),
        ("A", "2", 5, "tunnel", "shelf 1"),
        ("B", "b3", 5, "tunnel", "shelf 2"),
    )
    write_csv(
        folder / "harvests" / "before.csv",
        "picked_on,fresh_weight_g,container,batch,flush",
        (ago(20), "400", "b3", "B", 1),
        (ago(12), "380.5", "b3", "B", ""),
    )
    return folder


def page_of(farm: Path, *words: object) -> Path:
    page = farm / "weigh.html"
    said = here("sheet", "--page", page, "--farm", farm, *words)
    assert (said.code, said.out) == (0, f"{page}\n"), said.err
    return page


def opened(browser: Browser, page: Path, width: int = 360, height: int = 640) -> None:
    """Opens a page, with nothing in the browser's storage."""
    browser.open("about:blank", until="true")
    browser.call("Storage.clearDataForOrigin", origin="file://", storageTypes="all")
    browser.open(page, width, height)


def count(browser: Browser) -> str:
    return str(browser.evaluate("document.getElementById('count').textContent"))


def said(browser: Browser) -> str:
    return str(browser.evaluate("document.getElementById('said').textContent"))


def press(browser: Browser, selector: str) -> str:
    """Taps a button, and gives what the page says then; blank where it asks or finds something wrong instead."""
    browser.evaluate("document.getElementById('said').textContent = ''")
    browser.tap(selector)
    browser.wait(ANSWERED)
    return said(browser)


def trouble(browser: Browser) -> str:
    return str(browser.evaluate("document.getElementById('trouble').textContent"))


def question(browser: Browser) -> str | None:
    """What is asked, if anything is?"""
    asked = browser.evaluate("document.getElementById('ask').open && document.getElementById('question').textContent")
    return asked or None


def choose(browser: Browser, name: str) -> None:
    """Taps a container in the list."""
    at = browser.evaluate(f"[...document.querySelectorAll('.unit bdi')].findIndex(e => e.textContent === {name!r})")
    assert at >= 0, name
    browser.evaluate("document.getElementById('wanted')?.removeAttribute('id')")
    browser.evaluate(f"document.querySelectorAll('.unit')[{at}].id = 'wanted'")
    browser.tap("#wanted")


def weigh(browser: Browser, name: str, weight: str, stage: str = "") -> str:
    """Logs a weight with taps alone; gives what the page said."""
    choose(browser, name)
    for key in weight:
        browser.tap(f"[data-key='{key}']")
    if stage:
        browser.tap(f"label:has([value={stage}])")
    return press(browser, "#log")


def exported(browser: Browser, downloads: Path, button: str = "#export") -> Path:
    """Exports with a tap; gives the file."""
    before = set(downloads.iterdir())
    browser.keep_downloads(downloads)
    named = press(browser, button).rsplit(" in ", 1)[1].rstrip(".")
    for _ in range(500):
        if {*downloads.glob("*.csv")} - before:
            break
        browser.evaluate("new Promise(done => setTimeout(done, 10))")
    (file,) = {*downloads.glob("*.csv")} - before
    assert file.name == named
    return file


def cells(file: Path) -> list[dict[str, Any]]:
    with file.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))
