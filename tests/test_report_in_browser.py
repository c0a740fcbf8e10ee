"""In a real browser every chart draws, nothing is said on the console, nothing leaves, and nothing overflows."""

from __future__ import annotations

import json
import re
import shutil
import time
from collections.abc import Iterator
from datetime import date
from importlib.resources import files
from pathlib import Path

import pytest
from browser import PATIENCE_S, WHY_NOT, Browser, chromium, there
from pypdf import PdfReader
from report_months import CASES, page_of
from test_report_meanings import gathered

from reports.page import appendix, charts, render

pytestmark = pytest.mark.skipif(not there(), reason=WHY_NOT)

WIDTHS = (360, 768, 1280)
# Between the scheme for telephones and the one for desks, where a table has the least room.
TIGHT = 641
A4_WIDTH_PX, A4_HEIGHT_PX = 688, 1001  # what the page's margins leave, at 96 px an inch

RULES = "['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']"
VIOLATIONS = "all => JSON.stringify(all.violations.map(each => [each.id, each.nodes.map(node => node.html)]))"

PROBE = """(() => {
  const tooWide = [], cut = [], idle = [];
  const name = each => each.tagName + "." + each.className + "#" + each.id + ": " + each.textContent.slice(0, 40);
  for (const each of document.body.querySelectorAll("*")) {
    if (each.closest("svg") || each.closest("thead") || !each.getClientRects().length) continue;
    const box = each.getBoundingClientRect();
    if (box.right > innerWidth + 0.5 || (box.left < -0.5 && !each.closest(".skip"))) tooWide.push(name(each));
    if (each.scrollWidth > each.clientWidth + 1 && getComputedStyle(each).display !== "inline") cut.push(name(each));
  }
  for (const each of document.querySelectorAll(".drawing")) {
    const svg = each.querySelector("svg");
    if (!svg) { idle.push(each.id); continue; }
    const box = svg.getBoundingClientRect();
    for (const text of svg.querySelectorAll("text")) {
      const own = text.getBoundingClientRect();
      const out = own.right > innerWidth || own.left < 0 || own.top < box.top - 2 || own.bottom > box.bottom + 2;
      if (out && text.textContent) cut.push(each.id + " text: " + text.textContent);
    }
    const marks = svg.querySelectorAll(".role-mark:not(.mark-text):not(.mark-group) path, .role-mark.mark-rule line");
    const drawn = [...marks].filter(mark => {
      const fill = mark.style.fill || mark.getAttribute("fill") || "";
      const line = mark.style.stroke || mark.getAttribute("stroke") || "";
      const own = mark.getBoundingClientRect();
      return own.width + own.height > 0 && !["var(--paper)", "var(--line)"].includes(fill) && (fill || line);
    });
    if (!drawn.length) idle.push(each.id);
  }
  return JSON.stringify({tooWide, cut, idle, page: document.documentElement.scrollWidth, hit: window.hit ?? null});
})()"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as tab:
        yield tab


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    made = {case: folder / f"{case}.html" for case in CASES}
    for case, page in made.items():
        page.write_text(page_of(case), encoding="utf-8", newline="\n")
    return made


def unfold_all(browser: Browser, charts: int) -> None:
    """Opens all that is folded, and waits until each chart in it is drawn."""
    browser.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true; })")
    until = time.monotonic() + PATIENCE_S
    while browser.evaluate("document.documentElement.dataset.drawn") != str(charts):
        assert time.monotonic() < until
        time.sleep(0.05)


@pytest.mark.parametrize("case", CASES)
def test_the_page_draws_stays_quiet_and_fits(browser: Browser, pages: dict[str, Path], case: str) -> None:
    browser.open(pages[case], WIDTHS[-1])
    month = CASES[case]()
    folded = [chart.id for block in appendix(month) for chart in block.charts]
    expected = [chart.id for chart in charts(month)]
    assert browser.evaluate("document.documentElement.dataset.drawn") == str(len(expected) - len(folded))
    unfold_all(browser, len(expected))
    assert browser.evaluate("document.querySelectorAll('.drawing > [aria-hidden] > svg').length") == len(expected)
    for width in (WIDTHS[-1], WIDTHS[1], TIGHT, WIDTHS[0]):
        browser.widen(width)
        for unfold in ("false", "true"):
            browser.evaluate(f"document.querySelectorAll('details').forEach(each => {{ each.open = {unfold}; }})")
            seen = json.loads(browser.evaluate(PROBE))
            assert seen == {"tooWide": [], "cut": [], "idle": [], "page": width, "hit": None}, (case, width)
    assert browser.log == []
    assert browser.requests == [pages[case].as_uri()]
    assert browser.evaluate("performance.getEntriesByType('resource').length") == 0


@pytest.mark.parametrize("case", ["one_batch", "sixty_batches", "long_names"])
def test_on_paper_tables_stand_as_on_the_page_and_no_chart_is_cut(
    browser: Browser, pages: dict[str, Path], case: str
) -> None:
    browser.open(pages[case], WIDTHS[-1])
    try:
        browser.call("Emulation.setEmulatedMedia", media="print")
        browser.evaluate("dispatchEvent(new Event('beforeprint'))")
        browser.widen(A4_WIDTH_PX)
        # What is folded on the page is not on paper; with all of it open no row is cut either.
        line = "getComputedStyle(document.querySelector('details:not([open])')).display"
        assert browser.evaluate(line) == "none"
        unfold_all(browser, len(charts(CASES[case]())))
        browser.evaluate("dispatchEvent(new Event('beforeprint'))")
        sizes = "[...document.querySelectorAll('.chart')].map(each => each.getBoundingClientRect().height)"
        assert max(browser.evaluate(sizes)) < A4_HEIGHT_PX
        assert browser.log == []
        seen = json.loads(browser.evaluate(PROBE))
        assert seen == {"tooWide": [], "cut": [], "idle": [], "page": A4_WIDTH_PX, "hit": None}
        browser.evaluate("dispatchEvent(new Event('afterprint'))")
    finally:
        browser.call("Emulation.setEmulatedMedia", media="")


PHONE = (390, 844)
DEMO = Path(__file__).resolve().parents[1] / "demo_data"


def with_a_year_before(farm: Path) -> Path:
    """The demo farm with a container that was picked a year before its last month."""
    columns = (farm / "batches.csv").read_text(encoding="utf-8").partition("\n")[0].count(",")
    batch = "Y01,2025-08-05,grey,wheat straw"
    for name, row in (
        ("batches.csv", batch + "," * (columns - batch.count(","))),
        ("fillings.csv", "Y01,Y1,bucket,20,8,5.35,,"),
    ):
        with (farm / name).open("a", encoding="utf-8", newline="") as file:
            file.write(row + "\n")
    picked = "picked_on,fresh_weight_g,container,batch,flush\n2025-09-03,852,Y1,Y01,1\n"
    (farm / "harvests" / "2025-09.csv").write_text(picked, encoding="utf-8")
    return farm


def test_page_one_fits_two_screens_of_a_phone_and_one_sheet(
    browser: Browser, pages: dict[str, Path], tmp_path: Path
) -> None:
    shutil.copytree(DEMO, tmp_path / "demo")
    months = {case: CASES[case]() for case in ("no_tables", "one_batch", "no_dry_mass", "sixty_batches")}
    months |= {f"demo {day}": next(gathered(tmp_path / "demo", [day])) for day in (date(2026, 2, 1), date(2026, 9, 1))}
    shutil.copytree(DEMO, tmp_path / "older")
    months["a year before"] = next(gathered(with_a_year_before(tmp_path / "older"), [date(2026, 9, 1)]))
    assert "Sep 2025: " in render(months["a year before"])
    for name, month in months.items():
        path = tmp_path / f"{name}.html"
        path.write_text(render(month), encoding="utf-8", newline="\n")
        browser.open(path, *PHONE)
        ends = browser.evaluate("document.getElementById('first').getBoundingClientRect().bottom + scrollY")
        assert 300 < ends <= 2 * PHONE[1], name
        path.write_text(render(month, brief=True), encoding="utf-8", newline="\n")
        browser.open(path, WIDTHS[-1])
        browser.print(tmp_path / "brief.pdf")
        assert len(PdfReader(tmp_path / "brief.pdf").pages) == 1, name


def test_the_demo_month_prints_on_four_pages_and_leaves_none_half_empty(browser: Browser, tmp_path: Path) -> None:
    shutil.copytree(DEMO, tmp_path / "demo")
    path = tmp_path / "month.html"
    path.write_text(render(next(gathered(tmp_path / "demo", [date(2026, 9, 1)]))), encoding="utf-8", newline="\n")
    browser.open(path, WIDTHS[-1])
    browser.print(tmp_path / "month.pdf")
    texts = [page.extract_text() for page in PdfReader(tmp_path / "month.pdf").pages]
    assert browser.log == []
    assert len(texts) <= 4
    assert min(map(len, texts)) > 500
    assert "Rows to mend" in texts[-1]
    whole = " ".join(texts)
    assert "not printed" not in whole
    assert "appendix" not in whole.lower()
    assert "Show all" not in whole


def test_no_sheet_is_begun_for_the_caution_alone(browser: Browser, pages: dict[str, Path], tmp_path: Path) -> None:
    for case, most in (("one_batch", 3), ("no_tables", 2), ("sixty_batches", 4)):
        browser.open(pages[case], WIDTHS[-1])
        browser.print(tmp_path / "case.pdf")
        texts = [page.extract_text() for page in PdfReader(tmp_path / "case.pdf").pages]
        assert len(texts) <= most, case
        assert sum("Lime, steam" in text for text in texts) == 1, case
        assert case == "no_tables" or "Picked in each month" in texts[0], case
        assert len(texts[-1]) > 250, case


@pytest.mark.parametrize("case", ["no_tables", "one_batch"])
def test_the_page_is_for_all_narrow_and_wide_light_and_dark(
    browser: Browser, pages: dict[str, Path], case: str
) -> None:
    axe = files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")
    try:
        for width, dark in ((PHONE[0], False), (WIDTHS[-1], True)):
            browser.dark(dark)
            browser.open(pages[case], width)
            unfold_all(browser, len(charts(CASES[case]())))
            browser.evaluate(f"{axe}; true")
            found = json.loads(browser.evaluate(f"axe.run(document, {{runOnly: {RULES}}}).then({VIOLATIONS})"))
            assert found == [], (width, dark)
    finally:
        browser.dark(False)


def test_it_prints_to_vectors(browser: Browser, pages: dict[str, Path], tmp_path: Path) -> None:
    browser.open(pages["one_batch"], WIDTHS[-1])
    browser.print(tmp_path / "page.pdf")
    printed = (tmp_path / "page.pdf").read_bytes()
    assert printed.startswith(b"%PDF")
    assert b"/Subtype /Image" not in printed


def test_the_policy_stops_what_is_not_the_pages_own(browser: Browser, pages: dict[str, Path], tmp_path: Path) -> None:
    page = tmp_path / "tampered.html"
    planted = (
        "<script>window.hit = 1</script><img src='https://example.org/x.png'><p onclick='window.hit = 2' id=p>x</p>"
    )
    page.write_text(pages["one_container"].read_text("utf-8").replace("<main>", f"<main>{planted}"), "utf-8")
    browser.open(page)
    browser.evaluate("document.getElementById('p').click()")
    assert browser.evaluate("window.hit ?? null") is None
    assert any("Content Security Policy" in line for line in browser.log)
    assert browser.evaluate("document.documentElement.dataset.drawn") != "0"


def test_a_chart_has_a_text_alternative_and_a_tooltip(browser: Browser, pages: dict[str, Path]) -> None:
    browser.open(pages["hostile_names"], WIDTHS[-1])
    labels = browser.evaluate("[...document.querySelectorAll('.drawing')].map(each => each.getAttribute('aria-label'))")
    assert labels
    assert all(re.fullmatch(r"Chart\. .{30,}\.", label) for label in labels), labels
    assert set(browser.evaluate("[...document.querySelectorAll('.drawing')].map(each => each.role)")) == {"img"}
    spot = browser.evaluate(
        "(() => { const mark = document.querySelector('#chart-recipes .mark-symbol path');"
        " mark.scrollIntoView({block: 'center'}); const box = mark.getBoundingClientRect();"
        " return [box.x + box.width / 2, box.y + box.height / 2]; })()"
    )
    browser.call("Input.dispatchMouseEvent", type="mouseMoved", x=spot[0], y=spot[1])
    browser.wait("document.querySelector('#vg-tooltip-element.visible') !== null")
    tip = browser.evaluate("document.getElementById('vg-tooltip-element').innerText")
    assert "BE, %" in tip
    assert (
        browser.evaluate("document.querySelectorAll('#vg-tooltip-element script, #vg-tooltip-element img').length") == 0
    )
    assert browser.evaluate("window.hit ?? null") is None


def test_a_finger_brings_the_tooltip_and_takes_it_away_elsewhere(browser: Browser, pages: dict[str, Path]) -> None:
    browser.open(pages["one_batch"], 390, 844)
    browser.touch("#chart-recipes .mark-symbol path")
    browser.wait("document.querySelector('#vg-tooltip-element.visible') !== null")
    # It stays when the finger is lifted.
    browser.evaluate("new Promise(done => setTimeout(done, 400))")
    assert "BE, %" in browser.evaluate("document.querySelector('#vg-tooltip-element.visible').innerText")
    browser.touch("h1")
    browser.wait("document.querySelector('#vg-tooltip-element.visible') === null")


def test_the_dark_scheme_is_dark(browser: Browser, pages: dict[str, Path]) -> None:
    paper = "getComputedStyle(document.body).backgroundColor"
    fill = "getComputedStyle(document.querySelector('#chart-months .mark-rect path, #chart-stages text')).fill"
    browser.open(pages["one_batch"])
    light = [browser.evaluate(paper), browser.evaluate(fill)]
    try:
        browser.dark(True)
        assert all(a != b for a, b in zip(light, [browser.evaluate(paper), browser.evaluate(fill)], strict=True))
    finally:
        browser.dark(False)
