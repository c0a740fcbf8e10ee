"""What is logged on the weigh page is kept through reloads, crashes, full disks; where it is not, the page says so."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import WHY_NOT, Browser, chromium, there
from weigh_pages import cells, count, exported, page_of, small_farm, weigh
from weigh_pages import opened as open_empty

pytestmark = pytest.mark.skipif(not there(), reason=WHY_NOT)


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


def test_where_storage_is_refused_it_says_so_and_still_exports(browser: Browser, opened: Path, tmp_path: Path) -> None:
    assert browser.evaluate("document.getElementById('unkept').hidden") is True
    # A page without an origin, as previewers show it: the browser refuses it storage.
    text = base64.b64encode((opened / "weigh.html").read_bytes()).decode()
    browser.open(f"data:text/html;base64,{text}", 360, 640)
    refused = "(() => { try { return String(localStorage) } catch (problem) { return problem.name } })()"
    assert browser.evaluate(refused) == "SecurityError"
    leaving = "!dispatchEvent(new Event('beforeunload', { cancelable: true }))"
    assert browser.evaluate("document.getElementById('unkept').innerText").startswith("Entries are not kept here")
    assert browser.evaluate(leaving) is False
    weigh(browser, "2", "412")
    assert browser.evaluate(leaving) is True
    assert [row["fresh_weight_g"] for row in cells(exported(browser, tmp_path / "downloads"))] == ["412"]
    assert browser.evaluate(leaving) is False


def test_where_storage_is_full_it_says_so_and_holds_the_entry(browser: Browser, opened: Path, tmp_path: Path) -> None:
    browser.call("Storage.overrideQuotaForOrigin", origin="file://", quotaSize=1)
    try:
        weigh(browser, "2", "412")
        assert browser.evaluate("document.getElementById('unkept').hidden") is False
        assert count(browser) == "1 to export"
    finally:
        browser.call("Storage.overrideQuotaForOrigin", origin="file://")
    weigh(browser, "10", "300")  # takes along what could not be kept
    assert browser.evaluate("document.getElementById('unkept').hidden") is True
    browser.open(opened / "weigh.html", 360, 640)
    assert [row["fresh_weight_g"] for row in cells(exported(browser, tmp_path / "downloads"))] == ["412", "300"]


def test_what_it_says_is_logged_is_there_after_the_browser_crashed(tmp_path: Path) -> None:
    page = page_of(small_farm(tmp_path / "farm"))
    with chromium(tmp_path / "profile") as tab:
        tab.open(page, 360, 640)
        assert weigh(tab, "2", "412").startswith("Logged 2, 412 g.")
        with pytest.raises(AssertionError, match="the browser is gone"):
            tab.call("Browser.crash")
    with chromium(tmp_path / "profile") as tab:
        tab.open(page, 360, 640)
        assert count(tab) == "1 to export"


def test_no_entry_is_lost_when_pages_follow_each_other(browser: Browser, opened: Path, tmp_path: Path) -> None:
    # localStorage, asked for while a page from disk loads, lost an entry in each twenty loads of this Chromium (156).
    other = page_of(small_farm(tmp_path / "same name"))
    for at in range(20):
        assert weigh(browser, "2", str(300 + at)).startswith(f"Logged 2, {300 + at} g.")
        browser.open(opened / "weigh.html" if at % 2 else other, 360, 640)
        assert count(browser) == f"{at + 1} to export"


def test_without_scripts_it_says_so(browser: Browser, opened: Path) -> None:
    browser.call("Emulation.setScriptExecutionDisabled", value=True)
    try:
        browser.call("Page.navigate", url=(opened / "weigh.html").as_uri())
        seen = ""
        while "cannot log anything" not in seen:
            seen = json.dumps(browser.call("Accessibility.getFullAXTree"))
    finally:
        browser.call("Emulation.setScriptExecutionDisabled", value=False)


def test_two_farms_and_two_pages_of_one_farm_keep_their_entries(browser: Browser, opened: Path, tmp_path: Path) -> None:
    weigh(browser, "2", "412")
    for name, kept in (("A farm/", "Nothing logged"), ("A farm", "1 to export")):
        browser.open(page_of(small_farm(tmp_path / name.replace("/", "_"), name)), 360, 640)
        assert count(browser) == kept
