"""`gillbook open`: each page answers, each form writes what its command writes, and Ctrl-C ends it in one line."""

from __future__ import annotations

import json
import re
import signal
from collections.abc import Iterator
from html import unescape
from importlib.resources import files
from pathlib import Path

import pytest
from browser import WHY_NOT, Browser, chromium, there
from open_farms import TODAY, Served, serving, small_farm
from test_commands_on_demand import modules_after

PAGES = ("/", "/weigh", "/sell", "/batches", "/mend", "/months", "/mend/row?file=harvests.csv&row=3", "/phones")
ASKING = ("/compare", "/money", "/plan")
AXE = files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")
RULES = "['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']"
MONTH = f"harvests/{TODAY:%Y-%m}.csv"


@pytest.fixture(scope="module")
def farm_served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Served]]:
    folder = small_farm(tmp_path_factory.mktemp("open"))
    with serving(folder) as served:
        yield folder, served


def harvests(folder: Path) -> str:
    return "".join(each.read_text(encoding="utf-8") for each in sorted(folder.glob("harvests*/*.csv"))) + (
        folder / "harvests.csv"
    ).read_text(encoding="utf-8")


@pytest.mark.parametrize("path", PAGES)
def test_each_page_answers_under_a_strict_policy(farm_served: tuple[Path, Served], path: str) -> None:
    status, headers, text = farm_served[1].ask(path)
    assert status == 200, text
    assert "script-src" not in headers["content-security-policy"]
    assert headers["content-security-policy"].startswith("default-src 'none'")
    assert "Invented &lt;b&gt;farm&lt;/b&gt;" in text
    assert "<script" not in text


def test_today_shows_what_is_due_and_its_button_writes_it(farm_served: tuple[Path, Served]) -> None:
    folder, served = farm_served
    assert "flush 1: pins 3 days ago" in served.ask("/")[2]
    form = {"container": "1", "batch": "A", "weight": "412", "back": "/"}
    status, headers, _ = served.ask("/write/weigh", "POST", form)
    assert (status, headers["location"]) == (303, "/")
    shown = unescape(served.ask("/")[2])
    (entry,) = re.findall(r"\(entry (w[0-9a-z]{14})\)", shown)
    assert entry in harvests(folder)
    assert "flush 1: pins 3 days ago" not in shown
    # Said once, and taken back by its id.
    assert entry not in served.ask("/")[2]
    assert served.ask("/write/undo", "POST", {"command": "weigh", "entry": entry})[0] == 303
    assert "Taken back: " in served.ask("/")[2]
    assert entry not in harvests(folder)


def test_a_doubt_is_asked_and_nothing_is_written_before(farm_served: tuple[Path, Served]) -> None:
    folder, served = farm_served
    before = harvests(folder)
    form = {"container": "1", "batch": "", "weight": "90 kg", "back": "/weigh"}
    status, _, text = served.ask("/write/weigh", "POST", form)
    assert status == 409
    assert "Nothing is written yet." in text
    assert harvests(folder) == before
    assert served.ask("/write/weigh", "POST", {**form, "insist": "yes"})[0] == 303
    assert "90000" in harvests(folder)


def test_a_note_and_a_filling_are_written_as_their_commands_write_them(farm_served: tuple[Path, Served]) -> None:
    folder, served = farm_served
    assert served.ask("/write/note", "POST", {"containers": "3-4", "event": "pins", "back": "/batches"})[0] == 303
    shown = served.ask("/batches")[2]
    assert "Noted: pins" in shown
    assert f"{TODAY},pins,3" in "".join(each.read_text() for each in folder.rglob("*.csv") if "kept" not in each.parts)
    assert served.ask("/write/fill", "POST", {"containers": "9", "batch": "B", "fill_kg": "5"})[0] == 303
    assert "B,9,5" in (folder / "fillings.csv").read_text()
    assert "Take it back" not in served.ask("/batches")[2]


def test_a_batch_is_begun(farm_served: tuple[Path, Served]) -> None:
    folder, served = farm_served
    before = (folder / "batches.csv").read_text()
    form = {"batch": "C9", "strain": "grey", "substrate": "straw", "back": "/batches"}
    assert served.ask("/write/batch", "POST", {**form, "strain": ""})[0] == 400
    assert (folder / "batches.csv").read_text() == before
    assert served.ask("/write/batch", "POST", form)[0] == 303
    shown = served.ask("/batches")[2]
    assert f"Begun: batch C9, inoculated on {TODAY}" in shown
    assert f"C9,{TODAY}" in (folder / "batches.csv").read_text()
    # Nothing is offered that its command cannot do.
    assert "Take it back" not in shown


def test_a_finding_leads_to_its_row_and_is_mended_in_place(farm_served: tuple[Path, Served]) -> None:
    folder, served = farm_served
    shown = unescape(served.ask("/mend")[2])
    assert '"-30" is not above 0' in shown or "-30" in shown
    (path,) = set(re.findall(r'href="(/mend/row\?file=harvests.csv&row=3)"', shown))
    was = unescape(re.findall(r'name="was" value="([^"]*)"', served.ask(path)[2])[0])
    form = {"file": "harvests.csv", "row": "3", "was": was, "cell-fresh_weight_g": "30", "back": "/mend"}
    stale = served.ask("/write/edit", "POST", {**form, "was": was + "x"})
    assert stale[0] == 400
    assert "was changed meanwhile" in stale[2]
    assert served.ask("/write/edit", "POST", form)[0] == 303
    assert "Written to harvests.csv, row 3" in served.ask("/mend")[2]
    assert "-30" not in (folder / "harvests.csv").read_text()
    assert "-30" in (folder / "kept" / "edited.jsonl").read_text()


def test_a_month_is_the_page_that_report_writes(farm_served: tuple[Path, Served]) -> None:
    status, headers, text = farm_served[1].ask(f"/month?month={TODAY:%Y-%m}")
    assert status == 200
    assert '<section id="first" class="first' in text
    assert headers["content-security-policy"] == "frame-ancestors 'none'"
    assert farm_served[1].ask("/month?month=2999-01")[0] == 400


@pytest.mark.parametrize(
    ("path", "said"),
    [
        ("/compare?factor=substrate&measure=be", "substrate"),
        ("/money?by=recipe", "margin: revenue less cost"),
        ("/plan?kg=2.5&every=week", "Cannot tell."),
        *((path, "<form") for path in ASKING),
    ],
)
def test_a_page_answers_what_its_command_answers(farm_served: tuple[Path, Served], path: str, said: str) -> None:
    status, headers, text = farm_served[1].ask(path)
    assert status == 200
    assert said in unescape(text)
    assert headers["content-security-policy"].startswith("default-src 'none'; style-src")


@pytest.mark.parametrize(
    "path",
    ["/compare?factor=--farm", "/compare?measure=x", "/money?by=--out%3Dx", "/plan?kg=--out", "/plan?kg=1&every=day"],
)
def test_no_text_of_a_form_becomes_an_option(farm_served: tuple[Path, Served], path: str) -> None:
    status, _, text = farm_served[1].ask(path)
    assert status == 400
    assert "choose one of" in text or "write how many kg" in text


@pytest.mark.parametrize(
    ("kind", "form", "said"),
    [
        ("weigh", {"container": "1", "weight": "heavy"}, "heavy"),
        ("weigh", {"container": "1", "weight": "400", "on": "2999-01-01"}, "write today or a day before it"),
        ("note", {"event": "pins"}, "Name the containers"),
        ("note", {"containers": "1", "event": "singing"}, "there is no such event"),
        ("fill", {"containers": "1", "batch": ""}, "Name the batch"),
        ("undo", {"command": "weigh", "entry": "w00000000000000"}, "nothing was taken back"),
        ("undo", {"command": "doctor", "entry": ""}, "nothing of that kind"),
        ("edit", {"file": "../farm.toml", "row": "2"}, "../farm.toml"),
        ("edit", {"file": "harvests.csv", "row": "two"}, "that is no row"),
    ],
)
def test_a_wrong_form_is_told_what_to_mend(
    farm_served: tuple[Path, Served], kind: str, form: dict[str, str], said: str
) -> None:
    status, _, text = farm_served[1].ask(f"/write/{kind}", "POST", form)
    assert status == 400
    assert said in unescape(text)
    assert "Traceback" not in text


def test_ctrl_c_ends_it_with_one_plain_line(tmp_path: Path) -> None:
    with serving(small_farm(tmp_path)) as served:
        served.process.send_signal(signal.SIGINT)
        rest, _ = served.process.communicate(timeout=60)
        assert rest == "Closed. What was entered is on disk.\n"
        assert served.process.returncode == 0


def test_a_port_that_is_taken_is_named(tmp_path: Path) -> None:
    from conftest import gillbook

    folder = small_farm(tmp_path)
    with serving(folder) as served:
        said = gillbook("open", "--no-browser", "--port", served.host.split(":")[1], "--farm", folder)
        assert said.code == 3
        assert "is taken" in said.err


def test_other_commands_never_load_what_serves() -> None:
    assert not {"starlette", "uvicorn"} & modules_after("--help")
    assert not {"starlette", "uvicorn"} & modules_after("weigh", "--help")


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    if not there():
        pytest.skip(WHY_NOT)
    with chromium() as tab:
        yield tab


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("path", PAGES)
def test_pages_are_for_all_and_fit_a_telephone(
    browser: Browser, farm_served: tuple[Path, Served], path: str, dark: bool
) -> None:
    served = farm_served[1]
    scheme = [{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}]
    browser.call("Emulation.setEmulatedMedia", features=scheme)
    browser.open(f"http://{served.host}/enter?key={served.key}", until="document.title.endsWith('Today')")
    browser.open(f"http://{served.host}{path}", width=360, until="document.readyState === 'complete'")
    assert browser.evaluate("document.documentElement.scrollWidth") <= 360
    # The policy lets no script of the page's run; the tester's is put in beside it.
    browser.evaluate(AXE)
    found = json.loads(
        browser.evaluate(f"axe.run(document, {{runOnly: {RULES}}}).then(all => JSON.stringify(all.violations))")
    )
    assert [(each["id"], [node["html"] for node in each["nodes"]]) for each in found] == []
    assert {each.split("/")[2] for each in browser.requests if not each.startswith("data:")} <= {served.host}
