"""Today in the browser: each line has the buttons of what can be seen there now, and weights are in the farm's unit."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta
from html import unescape
from pathlib import Path

import pytest
from conftest import write_table
from open_farms import TODAY, Served, serving

OUNCE_G = 28.349523125


@pytest.fixture(scope="module")
def farm_served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Served]]:
    """Containers in every state that Today looks at, on a farm that weighs in ounces; one of them is free."""
    folder = tmp_path_factory.mktemp("today")
    (folder / "farm.toml").write_text(
        '[headings.harvests]\n"picked, oz" = {column = "fresh_weight_g", unit = "oz"}\n', encoding="utf-8"
    )
    began = TODAY - timedelta(days=20)
    write_table(folder, "batches", f"batch,inoculated_on\nA,{began}\nB,{TODAY}")
    names = ("waits", "opened", "young", "doubted", "due", "free")
    write_table(folder, "fillings", "\n".join(["batch,container,fill_kg", *(f"A,{name},5" for name in names)]))
    seen = {
        "opened": [(8, "colonised"), (9, "opened")],
        "young": [(8, "colonised"), (9, "opened"), (20, "pins")],
        "doubted": [(18, "suspect")],
        "due": [(8, "colonised"), (9, "opened"), (16, "pins")],
        "free": [(18, "emptied")],
    }
    rows = [f"{began + timedelta(days=at)},{event},{name}" for name, found in seen.items() for at, event in found]
    write_table(folder, "observations", "\n".join(["seen_on,event,container", *rows]))
    (folder / "harvests.csv").write_text(f'picked_on,"picked, oz",container,batch\n{began + timedelta(17)},10,free,A\n')
    with serving(folder) as served:
        yield folder, served


def test_a_line_has_the_buttons_of_what_can_be_seen_there(farm_served: tuple[Path, Served]) -> None:
    page = unescape(farm_served[1].ask("/")[2])
    buttons = re.findall(r'name="event" value="(\w+)" aria-label="(\w+):', page)
    found = {name: [event for event, of in buttons if of == name] for _, name in buttons}
    assert found == {
        "waits": ["colonised", "contaminated"],
        "opened": ["pins", "contaminated"],
        "young": ["contaminated"],
        # Twice: not colonised yet, and suspect.
        "doubted": ["colonised", "contaminated", "colonised", "pins", "contaminated"],
    }


def test_a_weight_without_a_unit_is_in_the_farms_and_so_it_is_said(farm_served: tuple[Path, Served]) -> None:
    folder, served = farm_served
    assert 'placeholder="oz"' in served.ask("/")[2]
    assert "Weight, oz (or with its unit" in served.ask("/weigh")[2]
    form = {"container": "due", "batch": "A", "weight": "12", "back": "/"}
    assert served.ask("/write/weigh", "POST", form)[0] == 303
    assert "12 oz" in unescape(served.ask("/")[2])
    written = [path.read_text().splitlines()[-1] for path in sorted(folder.glob("harvests*/*.csv"))]
    last = written or [(folder / "harvests.csv").read_text().splitlines()[-1]]
    assert last[0].split(",")[1] in ("12", str(round(12 * OUNCE_G, 3)))


def test_what_is_free_is_filled_from_its_line(farm_served: tuple[Path, Served]) -> None:
    folder, served = farm_served
    page = served.ask("/")[2]
    assert re.search(r"Free to be filled.*<bdi>free</bdi>.*action=\"/write/fill\"", page, re.DOTALL)
    form = {"containers": "free", "batch": "B", "back": "/", "insist": "yes"}
    status, headers, text = served.ask("/write/fill", "POST", form)
    assert status == 303, text
    assert headers["location"] == "/"
    assert (folder / "fillings.csv").read_text().count("free") == 2
