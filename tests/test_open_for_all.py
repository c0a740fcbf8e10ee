"""Every page of `gillbook open` for every hand and eye: axe, held upright or across, light and dark, none too wide."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import timedelta
from importlib.resources import files
from pathlib import Path

import pytest
from browser import WHY_NOT, Browser, chromium, there
from compare_farms import batches, write_farm
from conftest import write_table
from open_farms import TODAY, Served, serving

pytestmark = pytest.mark.skipif(not there(), reason=WHY_NOT)

AXE = files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")
RULES = "['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']"
ADDRESS = "127.0.0.5"
LOADED = "document.readyState === 'complete' && location.protocol !== 'about:'"
SIZES = [(360, 640, False), (390, 844, True), (844, 390, False)]
# With what is asked, where a page answers.
PATHS = (
    "/compare?factor=substrate&measure=be",
    "/compare?factor=all+in+brief&measure=margin",
    "/money?by=recipe",
    "/plan?kg=1&every=week",
    "/join?token=x",
    "/",
    "/sell?weight_g=1500&buyer=Inn",
    "/weigh",
    "/batches",
    "/mend",
    "/months",
    "/phones",
)
# WCAG 2.2 wants 24 CSS px (2.5.8) where a target is no part of a sentence; 44 is its AAA, for wet thumbs.
SMALL = """[...document.querySelectorAll("button, input:not([type=hidden]), select")]
  .filter((each) => each.checkVisibility() && each.getBoundingClientRect().height < 44).map((each) => each.outerHTML)"""


@pytest.fixture(scope="module")
def farm_served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Served]]:
    folder = tmp_path_factory.mktemp("all")
    began = TODAY - timedelta(days=300)
    rows = batches("mulch", [50, 52, 55, 51, 53, 50], began, be2=20)
    rows += batches("straw", [80, 82, 84, 81, 83, 80], began + timedelta(days=1), be2=30)
    write_farm(folder, rows, 'name = "Invented"\ncurrency = "EUR"\nprice_per_kg = 10\nspawn_cost_per_kg = 5\n')
    with (folder / "harvests.csv").open("a", encoding="utf-8") as file:
        file.write(f"{TODAY - timedelta(days=3)},-30,N01,,\n")
    write_table(folder, "sales", f"sold_on,weight_g,buyer\n{TODAY - timedelta(days=9)},300,Inn")
    write_table(folder, "promises", f"due_on,buyer,weight_g\n{TODAY},Inn,1500\n{TODAY + timedelta(days=3)},Zoo,9000")
    with serving(folder, "--phone", "--address", ADDRESS) as served:
        yield folder, served


@pytest.fixture(scope="module")
def browser(farm_served: tuple[Path, Served]) -> Iterator[Browser]:
    served = farm_served[1]
    with chromium() as tab:
        tab.open(f"http://{served.host}/enter?key={served.key}", until="document.title.endsWith('Today')")
        yield tab


def check(browser: Browser, width: int) -> None:
    assert browser.evaluate("document.documentElement.scrollWidth") <= width
    browser.evaluate(f"{AXE}; true")
    asked = f"axe.run(document, {{runOnly: {RULES}}}).then(all => JSON.stringify(all.violations))"
    found = json.loads(browser.evaluate(asked))
    assert [(each["id"], [node["html"] for node in each["nodes"]]) for each in found] == []
    assert browser.evaluate(SMALL) == []


@pytest.mark.parametrize("path", PATHS)
def test_a_page_is_for_all_upright_across_light_and_dark(
    browser: Browser, farm_served: tuple[Path, Served], path: str
) -> None:
    try:
        for at, (width, height, dark) in enumerate(SIZES):
            browser.dark(dark)
            if at == 0:
                browser.open(f"http://{farm_served[1].host}{path}", width, height, until=LOADED)
            # The same page held otherwise, as a hand turns it: nothing is asked again.
            size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
            browser.call("Emulation.setDeviceMetricsOverride", **size)
            check(browser, width)
    finally:
        browser.dark(False)


def test_what_is_doubtful_is_asked_on_a_page_for_all(browser: Browser, farm_served: tuple[Path, Served]) -> None:
    for width, height, dark in SIZES:
        browser.dark(dark)
        browser.open(f"http://{farm_served[1].host}/sell?weight_g=500&batch=Z", width, height, until=LOADED)
        browser.tap("form[action='/write/sell'] button")
        browser.wait("document.title.endsWith('Is that right?')")
        check(browser, width)
    browser.dark(False)


def test_axe_would_find_a_field_without_a_name(browser: Browser, farm_served: tuple[Path, Served]) -> None:
    browser.open(f"http://{farm_served[1].host}/sell", 360, 640, until=LOADED)
    browser.evaluate(f"{AXE}; document.querySelector('label[for=weight]').remove()")
    found = browser.evaluate(
        "axe.run(document, {runOnly: ['wcag2a']}).then(all => all.violations.map(each => each.id))"
    )
    assert found == ["label"]
