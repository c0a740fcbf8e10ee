"""The weigh page in hurried hands: a double tap, a picking taken back with its picker, the way to share an export."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browser import MIDDLE, WHY_NOT, Browser, chromium, there
from weigh_pages import choose, count, opened, page_of, press, small_farm, weigh

pytestmark = pytest.mark.skipif(not there(), reason=WHY_NOT)

# Chromium on a desktop shares no files, as telephones do: this stands in for what the browser would offer there, and is
# in place before the page loads. `refuse` is set where the one who shares changes their mind (W3C, Web Share).
SHARES = """
Object.defineProperty(navigator, "canShare", { value: (data) => data.files.length > 0 });
Object.defineProperty(navigator, "share", { value: async (data) => {
  if (window.refuse) throw new DOMException("", "AbortError");
  const [file] = data.files;
  window.shared = { name: file.name, type: file.type, text: await file.text() };
} });
"""


@pytest.fixture
def browser() -> Iterator[Browser]:
    with chromium() as tab:
        yield tab


def tap_twice(browser: Browser, selector: str, right: int = 0) -> None:
    """Taps the same spot twice, so quickly that it is one double tap; so many px right of the element's middle."""
    x, y = browser.evaluate(MIDDLE % json.dumps(selector))
    for number in (1, 2):
        for kind in ("mousePressed", "mouseReleased"):
            spot: dict[str, Any] = {"x": x + right, "y": y, "button": "left", "clickCount": number}
            browser.call("Input.dispatchMouseEvent", type=kind, **spot)


def test_a_double_tap_logs_once_and_takes_nothing_back(browser: Browser, tmp_path: Path) -> None:
    opened(browser, page_of(small_farm(tmp_path / "farm")), height=740)
    choose(browser, "2")
    browser.tap("[data-key='4']")
    # The same key twice is two digits, also when tapped quickly.
    tap_twice(browser, "[data-key='1']")
    # At its right end, Undo appears under the thumb.
    tap_twice(browser, "#log", right=140)
    browser.wait("document.getElementById('said').textContent.includes('Logged')")
    assert count(browser) == "1 to export"
    assert browser.evaluate("record.all().map((each) => each.fresh_weight_g).join()") == "411"
    # A container that is tapped twice types no digit into the weight.
    browser.evaluate("document.querySelectorAll('.unit')[1].id = 'wanted'")
    tap_twice(browser, "#wanted")
    assert browser.evaluate("document.getElementById('weight').value") == ""


def test_what_is_taken_back_after_a_reload_keeps_its_picker(browser: Browser, tmp_path: Path) -> None:
    page = page_of(small_farm(tmp_path / "farm"))
    opened(browser, page)
    browser.evaluate("document.getElementById('picker').value = 'Mo'")
    assert weigh(browser, "2", "300").startswith("Logged 2, 300 g")
    browser.open(page, 360, 640)
    press(browser, "#undo")
    press(browser, "#log")
    assert browser.evaluate("record.all().map((each) => each.picker).join()") == "Mo"


def test_the_browser_is_asked_to_keep_the_storage_when_something_is_logged(browser: Browser, tmp_path: Path) -> None:
    # What a browser answers depends on its own habits; that it is asked does not, so the asking is counted.
    asked = """
    window.asked = 0;
    StorageManager.prototype.persist = async () => { window.asked += 1; return false; };
    """
    browser.call("Page.addScriptToEvaluateOnNewDocument", source=asked)
    opened(browser, page_of(small_farm(tmp_path / "farm")))
    assert browser.evaluate("window.asked") == 0
    assert weigh(browser, "2", "300").startswith("Logged 2, 300 g")
    assert browser.evaluate("window.asked") == 1


def test_an_export_is_shared_where_the_browser_can(browser: Browser, tmp_path: Path) -> None:
    page = page_of(small_farm(tmp_path / "farm"))
    opened(browser, page)
    weigh(browser, "2", "300")
    # This browser cannot, and so the button is not there.
    assert browser.evaluate("document.getElementById('share').hidden") is True
    browser.call("Page.addScriptToEvaluateOnNewDocument", source=SHARES)
    browser.open(page, 360, 640)
    browser.evaluate("window.refuse = true")
    assert press(browser, "#share") == "Not shared. The entries are still here."
    assert count(browser) == "1 to export"
    browser.evaluate("window.refuse = false")
    said = press(browser, "#share")
    shared = browser.evaluate("window.shared")
    assert (said, shared["type"]) == (f"1 entry in {shared['name']}.", "text/csv")
    assert shared["name"].startswith("weighed-")
    assert shared["text"].splitlines()[1].split(",")[1:3] == ["300", "2"]
    assert count(browser) == "All exported"
