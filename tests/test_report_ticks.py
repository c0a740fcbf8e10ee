"""In a real browser, at the widths of telephones and desks: labels of ticks never lie upon each other."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import WHY_NOT, Browser, chromium, there
from report_months import CASES, page_of
from test_report_in_browser import unfold_all

from reports.page import charts

pytestmark = pytest.mark.skipif(not there(), reason=WHY_NOT)

WIDTHS = (360, 390, 768, 1280, 1600)
# The labels of each axis whose boxes overlap by more than half a pixel; and how many labels were looked at.
TICKS = """(() => {
  const bad = [];
  let looked = 0;
  for (const place of document.querySelectorAll(".drawing")) {
    for (const axis of place.querySelectorAll(".role-axis-label")) {
      const shown = [...axis.querySelectorAll("text")].filter(each => each.textContent.trim()
        && getComputedStyle(each).opacity !== "0" && each.getAttribute("opacity") !== "0");
      const boxes = shown.map(each => [each.textContent, each.getBoundingClientRect()]);
      looked += boxes.length;
      boxes.forEach(([text, a], at) => boxes.slice(at + 1).forEach(([other, b]) => {
        const across = Math.min(a.right, b.right) - Math.max(a.left, b.left);
        const down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
        if (across > 0.5 && down > 0.5) bad.push(place.id + ": " + text + " / " + other);
      }));
    }
  }
  return JSON.stringify([looked, bad]);
})()"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as tab:
        yield tab


@pytest.mark.parametrize("case", ["sixty_batches", "whole_batch"])
def test_labels_of_ticks_never_lie_upon_each_other(browser: Browser, tmp_path: Path, case: str) -> None:
    page = tmp_path / "page.html"
    page.write_text(page_of(case), encoding="utf-8", newline="\n")
    browser.open(page, WIDTHS[0])
    unfold_all(browser, len(charts(CASES[case]())))
    for width in WIDTHS:
        browser.widen(width)
        looked, bad = json.loads(browser.evaluate(TICKS))
        assert looked > 20
        assert bad == [], (case, width)


def test_labels_upon_each_other_would_be_seen(browser: Browser, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    page.write_text(page_of("whole_batch"), encoding="utf-8", newline="\n")
    browser.open(page, WIDTHS[-1])
    browser.evaluate(
        "document.querySelectorAll('#chart-months .role-axis-label text')"
        ".forEach(each => each.setAttribute('transform', 'translate(0,0)'))"
    )
    assert any(each.startswith("chart-months") for each in json.loads(browser.evaluate(TICKS))[1])
