"""No text of a cell runs on a page of ours, turns its text around or leaves it: from the CSV files to a real browser.

The pages are made by the commands, from a farm whose every text column holds markup, script and marks of direction.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import DRAWN, WHY_NOT, Browser, chromium, there
from ledgers import here
from test_hostile_cells import FORMULAS, HARMLESS, runs
from test_hostile_terminal import STEERING
from weigh_pages import ago, opened, write_csv

from pipeline.files.write_csv import guarded

MARKUP = (
    "<script>window.hit=1</script>",
    "</script><script>window.hit=2</script>",
    "</style></title><img src=x onerror=window.hit=3>",
    "\"'><svg onload=window.hit=4>",
    "<!--<script>",
    "]]><a href='javascript:window.hit=5'>x</a>",
    "{{ 7*7 }}{% raw %}${7*7}",
    "<b>&lt;bold&gt;</b>",
    "https://example.org/?a=<&>",
    "__proto__",
)
NAMES = (*MARKUP, *STEERING)
READY = "document.readyState === 'complete'"
# Marks that turn the direction of text around (UAX 9).
TURNING = {chr(code) for code in (0x61C, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A))}
# All that a reader meets, and what stands in no text: titles, labels for those who hear the page, tips.
SEEN = """document.title + document.body.innerText + [...document.querySelectorAll("*")].flatMap((each) =>
  ["alt", "aria-label", "title", "placeholder"].map((name) => each.getAttribute(name) ?? "")).join("\\n")"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    if not there():
        pytest.skip(WHY_NOT)
    with chromium() as tab:
        yield tab


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The four pages of a hostile farm."""
    folder = tmp_path_factory.mktemp("farm")
    (folder / "farm.toml").write_text(f"name = {json.dumps(NAMES[1] + NAMES[13])}\n", encoding="utf-8")
    columns = (
        "batch,inoculated_on,strain,substrate,species,soak,substrate_wet_kg,moisture_pct,spawn_lot,supplement,note"
    )
    write_csv(
        folder / "batches.csv",
        columns,
        *((n, ago(60), n, NAMES[at // 4], n, n, 10, 70, n, n, n) for at, n in enumerate(NAMES)),
    )
    columns = "batch,container,kind,fill_kg,room,position,note"
    write_csv(folder / "fillings.csv", columns, *((n, n, n, 5, n, n, n) for n in NAMES))
    columns = "seen_on,event,container,batch,cause,note"
    seen = [(ago(2), "contaminated" if at % 5 == 4 else "pins", n, n, n, n) for at, n in enumerate(NAMES)]
    write_csv(folder / "observations.csv", columns, *seen)
    columns = "picked_on,fresh_weight_g,container,batch,picker,note,<img src=x onerror=window.hit=6>"
    sound = [(ago(day), 400 + at, n, n, n, n, n) for at, n in enumerate(NAMES) for day in (20, 3)]
    faulty = [(n, n, n, n, n, n, n) for n in NAMES]
    write_csv(folder / "harvests" / "<i>.csv", columns, *sound, *faulty)
    files = {name: folder / f"{name}.html" for name in ("page", "print", "labels")}
    said = here("sheet", *[word for name, file in files.items() for word in (f"--{name}", file)], "--farm", folder)
    assert said.code == 0, said.err
    said = here("report", "--farm", folder)
    assert said.code == 0, said.err
    return {**files, "report": Path(said.out.strip())}


@pytest.mark.parametrize("name", ["page", "print", "labels", "report"])
def test_nothing_of_a_cell_runs_turns_or_leaves(browser: Browser, pages: dict[str, Path], name: str) -> None:
    browser.open(pages[name], 800, until=DRAWN if name == "report" else READY)
    assert browser.evaluate("window.hit ?? null") is None
    assert browser.evaluate("Object.prototype.hit ?? null") is None
    assert browser.log == []
    assert [address for address in browser.requests if not address.startswith("blob:")] == [pages[name].as_uri()]
    assert (
        browser.evaluate("document.querySelectorAll('img, a[href^=\"javascript:\"], [onerror], [onload]').length") == 0
    )
    seen = str(browser.evaluate(SEEN))
    assert set(seen) & TURNING == set()
    assert {sign for sign in seen if unicodedata.category(sign) == "Cc"} <= {"\n", "\t"}
    # What does not run is there to be read, as it stands in the cell.
    for text in (MARKUP[0], MARKUP[6], "<b>&lt;bold&gt;</b>"):
        assert text in seen


def test_the_page_exports_no_formula_and_what_gillbook_itself_would_write(
    browser: Browser, pages: dict[str, Path]
) -> None:
    opened(browser, pages["page"])
    texts = [*FORMULAS, *HARMLESS, *NAMES, "\t=1", "\r=1", "\n=1", "x\t=1", "x\n@1", "'", "x;;=1", "x;'';=1", 'x;""=1']
    entries = json.dumps([{"note": text, "container": text, "picked_on": "2026-05-01"} for text in texts])
    text = str(browser.evaluate(f"record.csv({entries})"))
    assert runs(text) == []
    told = browser.evaluate(f"{entries}.map((each) => record.csv([each]))")
    for typed, line in zip(texts, told, strict=True):
        assert line.count(guarded(typed).replace('"', '""')) >= 2, typed
