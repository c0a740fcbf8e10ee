"""The picking sheet and the labels in a real browser: what is on the paper, whether it fits and reads back."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import qr_reader
from browser import WHY_NOT, Browser, chromium, there
from ledgers import here
from weigh_pages import TABLES, write_csv

from pipeline.demo.write import LAST_DAY, write_demo
from reports.cautions import ALL

Farm = Callable[..., Path]
READY = "document.readyState === 'complete'"
A4, LETTER = {"paperWidth": 8.27, "paperHeight": 11.69}, {"paperWidth": 8.5, "paperHeight": 11}

SHOWN = """[...document.querySelectorAll("tbody th[scope=row] > bdi")].map((each) => each.textContent)"""
# Whether a module is dark as the browser draws it, whatever the drawing is made of.
DRAWN = """[...document.querySelectorAll("svg")].map((svg) => {
  const path = svg.querySelector("path"), size = svg.viewBox.baseVal.width - 8;
  const dark = (x, y) => (path.isPointInFill(new DOMPoint(x + 4.5, y + 4.5)) ? 1 : 0);
  return Array.from({ length: size }, (_, y) => Array.from({ length: size }, (_, x) => dark(x, y)));
})"""
HOSTILE = (
    "</style><script>window.hit=1</script>",
    '"><img src=x onerror=window.hit=2>',
    "{{ 7*7 }}",
    "Kübel 7 🍄",
    "a\u202eb",
)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    if not there():
        pytest.skip(WHY_NOT)
    with chromium() as tab:
        yield tab


def test_the_picking_sheet_has_what_runs_its_boxes_and_its_cautions(browser: Browser, farm: Farm) -> None:
    folder = farm('name = "</title><script>window.hit=3</script>"', **TABLES)
    rooms = ["tunnel"] * len(HOSTILE)
    write_csv(
        folder / "fillings.csv",
        "batch,container,room,position,note",
        *(("A", n, r, n, n) for n, r in zip(HOSTILE, rooms, strict=True)),
    )
    here(
        "sheet",
        "--print",
        folder / "p.html",
        "--all",
        "--page",
        folder / "w.html",
        "--as-of",
        "2026-02-20",
        "--farm",
        folder,
    )
    browser.open(folder / "w.html")
    of_page = browser.evaluate("[...document.querySelectorAll('.unit bdi')].map(each => each.textContent)")
    browser.open(folder / "p.html", until=READY)
    assert browser.evaluate(SHOWN) == of_page
    assert {"{{ 7*7 }}", "Kübel 7 🍄", "ab"} <= set(of_page)  # without the mark that turns the text around
    boxes = (
        "[...document.querySelectorAll('tbody tr:not(.room)')].map(row => row.querySelectorAll('.box:empty').length)"
    )
    # date, weight, four stages, culled, note; on the rows for others also container and batch
    assert browser.evaluate(boxes) == [8] * len(of_page) + [10] * 4
    text = browser.evaluate("document.body.innerText")
    for about in ("Spores", "Mould", "Carbon dioxide", "Food"):
        caution = next(each for each in ALL if each.about == about)
        assert caution.text in text
        assert caution.source in text
    assert browser.evaluate("window.hit ?? null") is None
    assert (browser.log, browser.requests) == ([], [(folder / "p.html").as_uri()])


@pytest.mark.parametrize(("paper", "width"), [(A4, 210 - 20), (LETTER, 215.9 - 20)])
def test_the_picking_sheet_fits_its_paper(
    browser: Browser, tmp_path: Path, paper: dict[str, float], width: float
) -> None:
    write_demo(tmp_path / "farm")
    here("sheet", "--print", tmp_path / "p.html", "--all", "--as-of", LAST_DAY, "--farm", tmp_path / "farm")
    browser.open(tmp_path / "p.html", until=READY)
    try:
        browser.call("Emulation.setEmulatedMedia", media="print")
        browser.widen(int(width * 96 / 25.4))
        assert browser.evaluate("document.documentElement.scrollWidth <= innerWidth")
        cut = "[...document.querySelectorAll('th, td')].filter(each => each.scrollWidth > each.clientWidth + 1).length"
        assert browser.evaluate(cut) == 0
        assert (
            browser.evaluate("Math.min(...[...document.querySelectorAll('tbody .box')].map(each => each.clientHeight))")
            >= 30
        )
    finally:
        browser.call("Emulation.setEmulatedMedia", media="")
    browser.print(tmp_path / "p.pdf", **paper)
    printed = (tmp_path / "p.pdf").read_bytes()
    assert len(re.findall(rb"/Type /Page\b", printed)) == 2  # 40 rows
    assert b"/Subtype /Image" not in printed


@pytest.mark.parametrize(
    ("names", "sizes"),
    [
        (("1", "B02", *HOSTILE, "a rather long name of a bucket on the third shelf, left"), {}),
        (("B02",), {"--label-width": 25, "--label-height": 40, "--columns": 7, "--gap": 2, "--margin": 5}),
        (("7",), {"--label-width": 20, "--label-height": 10}),
    ],
)
def test_labels_read_back_and_are_as_large_as_asked(
    browser: Browser, farm: Farm, names: tuple[str, ...], sizes: dict[str, float]
) -> None:
    folder = farm('name = "</style><script>window.hit=4</script>"', batches=TABLES["batches"])
    words = [word for pair in sizes.items() for word in pair]
    said = here("sheet", "--labels", folder / "l.html", *words, "--farm", folder, *names)
    assert (said.code, said.out) == (0, f"{folder / 'l.html'}\n")
    browser.open(folder / "l.html", until=READY)
    assert [qr_reader.read(code) for code in browser.evaluate(DRAWN)] == list(names)
    shown = browser.evaluate("[...document.querySelectorAll('.name')].map(each => each.textContent)")
    assert shown == [name.replace("\u202e", "") for name in names]
    wanted = [sizes.get("--label-width", 60), sizes.get("--label-height", 30)]
    box = "(box => [box.width, box.height])(document.querySelector('.label').getBoundingClientRect())"
    assert [round(px * 25.4 / 96, 1) for px in browser.evaluate(box)] == wanted
    size = "[each.scrollWidth > each.clientWidth, each.scrollHeight > each.clientHeight]"
    cut = f"[...document.querySelectorAll('.label')].flatMap(each => {size}).filter(Boolean).length"
    assert browser.evaluate(cut) == 0
    assert browser.evaluate("window.hit ?? null") is None
    assert (browser.log, browser.requests) == ([], [(folder / "l.html").as_uri()])
