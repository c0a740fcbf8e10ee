"""The weigh page for every hand, eye and ear: one thumb, keyboard alone, screen reader, light and dark."""

from __future__ import annotations

import json
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from browser import WHY_NOT, Browser, chromium, there
from weigh_pages import ANSWERED, choose, opened, page_of, press, question, said, small_farm, trouble, weigh

pytestmark = pytest.mark.skipif(not there(), reason=WHY_NOT)

AXE = files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")
# WCAG 2.2 A and AA with all before it, and what axe-core calls good practice.
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
STATES = ("choosing", "asking", "chosen", "refused", "logged")
# axe-core leaves open what a bar or dialog lies over; for those the ratio of WCAG 2.2 (1.4.3), from its formula.
CONTRAST = """(() => {
  const light = (colour) => colour.match(/[\\d.]+/g).slice(0, 3).map((each) => each / 255)
    .map((each) => (each <= 0.04045 ? each / 12.92 : ((each + 0.055) / 1.055) ** 2.4))
    .reduce((sum, each, at) => sum + each * [0.2126, 0.7152, 0.0722][at], 0.05);
  let each = document.querySelector(%s);
  const text = light(getComputedStyle(each).color);
  while (getComputedStyle(each).backgroundColor === "rgba(0, 0, 0, 0)") each = each.parentElement;
  const paper = light(getComputedStyle(each).backgroundColor);
  return Math.max(text, paper) / Math.min(text, paper);
})()"""
# WCAG 2.2 wants 24 CSS px (2.5.8); 44 is its AAA (2.5.5), for wet thumbs.
TARGET_PX = 44
SMALL_TARGETS = """[...document.querySelectorAll("button, input, summary, a")]
  .filter((each) => each.checkVisibility() && !each.closest(":not(:modal) dialog"))
  .map((each) => [each.id || each.textContent, each.getBoundingClientRect()])
  .filter(([, box]) => box.width < TARGET || box.height < TARGET).map(([name]) => name)"""
OUTSIDE = """[...document.body.querySelectorAll("*")].filter((each) => {
  const box = each.getBoundingClientRect();
  const outside = box.right > innerWidth + 0.5 || box.left < -0.5;
  return each.checkVisibility() && box.width && outside && !each.closest(".hidden, .gills");
}).map((each) => each.outerHTML.slice(0, 80))"""
IN_SIGHT = """["#chosen", "#weight", "#pad", "fieldset", "#log"].every((each) => {
  const box = document.querySelector(each).getBoundingClientRect();
  const bar = document.querySelector(".bar").getBoundingClientRect();
  return box.top >= 0 && box.bottom <= (each === "#log" ? innerHeight : bar.top);
})"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as tab:
        yield tab


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return page_of(small_farm(tmp_path_factory.mktemp("all") / "farm"))


def bring(browser: Browser, page: Path, state: str, width: int) -> None:
    """Brings the page into one of its states."""
    opened(browser, page, width)
    if state == "asking":
        weigh(browser, "2", "9000")
        assert question(browser)
    if state in ("chosen", "refused"):
        choose(browser, "2")
        browser.evaluate("document.getElementById('more').open = true")
        browser.tap("label:has([value=turned_up])")
    if state == "refused":
        press(browser, "#log")
        assert trouble(browser)
    if state == "logged":
        browser.call("Browser.setDownloadBehavior", behavior="deny")
        weigh(browser, "2", "412")
        press(browser, "#export")
        weigh(browser, "b3", "300")


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("width", [360, 1280])
def test_axe_finds_nothing(browser: Browser, page: Path, width: int, dark: bool) -> None:
    browser.dark(dark)
    try:
        for state in STATES:
            bring(browser, page, state, width)
            # Through the debugging protocol, for the page's own policy lets no foreign script in.
            browser.evaluate(f"{AXE}; true")
            asked = f"axe.run(document, {{runOnly: {RULES}}}).then(found => JSON.stringify(found))"
            found: dict[str, Any] = json.loads(browser.evaluate(asked))
            assert [(each["id"], each["nodes"][0]["html"]) for each in found["violations"]] == [], state
            unsure = [each["nodes"] for each in found["incomplete"] if each["id"] == "color-contrast"]
            for node in (node for nodes in unsure for node in nodes):
                assert browser.evaluate(CONTRAST % json.dumps(node["target"][0])) >= 4.5, node["html"]
            assert len(found["passes"]) > 15
            assert any(each["id"] == "color-contrast" for each in found["passes"])
    finally:
        browser.dark(False)


def test_axe_would_find_a_pale_text(browser: Browser, page: Path) -> None:
    opened(browser, page)
    browser.evaluate(f"{AXE}; document.querySelector('h1').style.color = '#aaa'")
    found = browser.evaluate(
        "axe.run(document, {runOnly: ['wcag2aa']}).then(all => all.violations.map(each => each.id))"
    )
    assert found == ["color-contrast"]


@pytest.mark.parametrize("width", [320, 360, 1280])
def test_nothing_is_too_small_or_beyond_the_edge(browser: Browser, page: Path, width: int) -> None:
    for state in STATES:
        bring(browser, page, state, width)
        assert browser.evaluate(SMALL_TARGETS.replace("TARGET", str(TARGET_PX))) == [], state
        assert browser.evaluate(OUTSIDE) == [], state


def test_one_thumb_needs_no_scrolling_to_weigh(browser: Browser, page: Path) -> None:
    opened(browser, page)
    weigh(browser, "2", "412", "turned_down")
    choose(browser, "10")
    assert browser.evaluate(IN_SIGHT)
    # No keyboard of the phone comes up over the pad, and after a tap none comes up for the next container.
    assert browser.evaluate("document.activeElement.inputMode") == "none"
    for key in "177":
        browser.tap(f"[data-key='{key}']")
    press(browser, "#log")
    assert browser.evaluate("document.activeElement.textContent").startswith("b3")


def test_a_keyboard_or_scanner_alone_logs_undoes_and_exports(browser: Browser, page: Path) -> None:
    browser.call("Browser.setDownloadBehavior", behavior="deny")
    opened(browser, page, 1280)
    browser.type("B3")  # as a scanner does: wherever the focus is
    browser.key("Enter")
    assert browser.evaluate("document.getElementById('chosen-name').textContent") == "b3"
    browser.type("412,5")
    browser.key("Tab")  # past Culled
    browser.key("Tab")
    browser.key("ArrowRight")
    browser.key("ArrowRight")
    browser.evaluate("document.getElementById('said').textContent = ''")
    browser.key("Enter")
    browser.wait(ANSWERED)
    assert said(browser) == "Logged b3, 412.5 g, turned down. 1 entry today, 0.41 kg."
    assert browser.evaluate("document.activeElement.id") == "container"
    browser.type("shelf 1")
    browser.key("Enter")
    assert trouble(browser) == "2 containers fit. Choose one."
    browser.key("ArrowDown")
    browser.key("ArrowDown")
    browser.key("Enter")
    browser.type("9999")
    browser.key("Enter")
    assert "more than a container of its fill" in str(question(browser))
    browser.key("Escape")
    browser.wait("document.activeElement.id === 'weight'")
    walked = walk(browser)
    assert walked[:6] == ["weight", "cull", "stage", "SUMMARY", "undo", "log"]
    assert walked[6:] == ["export", "Take back b3, 412.5 g, turned down", "count", "change"]


def walk(browser: Browser) -> list[str]:
    """Which stops has the Tab key, from where the focus is, and is each of them seen to be one?"""
    name = "(e => e.id || e.name || e.ariaLabel || e.tagName)(document.activeElement)"
    seen = """(() => {
      const each = document.activeElement, drawn = each.matches("[type=radio]") ? each.nextElementSibling : each;
      const box = drawn.getBoundingClientRect(), style = getComputedStyle(drawn);
      const over = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
      return style.outlineStyle === "solid" && parseFloat(style.outlineWidth) >= 2 && box.bottom <= innerHeight
        && (each.contains(over) || each.parentElement.contains(over));
    })()"""
    stops: list[str] = []
    while (stop := browser.evaluate(name)) not in stops and stop != "BODY":
        assert browser.evaluate(seen), stop
        stops.append(stop)
        browser.key("Tab")
        if browser.evaluate(name) == "BODY":
            browser.key("Tab")  # the end of the page: from its beginning again
    return stops


def test_a_screen_reader_is_told_what_each_thing_is_and_what_happened(browser: Browser, page: Path) -> None:
    opened(browser, page)
    choose(browser, "2")
    tree = browser.call("Accessibility.getFullAXTree")["nodes"]
    told = {(node["role"]["value"], node.get("name", {}).get("value", "")) for node in tree if not node["ignored"]}
    assert {
        ("textbox", "Weight g"),
        ("group", "Number pad for the weight"),
        ("button", "delete the last digit"),
        ("group", "Largest caps"),
        ("radio", "turned down"),
        ("button", "Log"),
        ("link", "Nothing logged"),
    } <= told
    for field, role in (("said", "status"), ("trouble", "alert"), ("late", "status")):
        assert browser.evaluate(f"document.getElementById('{field}').role ?? ''") == role
    assert browser.evaluate("document.documentElement.lang") == "en"
