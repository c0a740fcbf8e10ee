"""The sheet command: what is running, in the order of the shelves, on a page, on paper, and as labels."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ledgers import here, refreshed, rows
from weigh_pages import TABLES, write_csv

from pipeline.demo.write import LAST_DAY, write_demo
from pipeline.farm.shelf_order import in_order_of_shelves, natural
from reports.document import part
from schemas.contract import contract

Farm = Callable[..., Path]


def test_what_is_running_in_the_order_of_the_shelves_with_what_it_gave(farm: Farm) -> None:
    folder = farm(**TABLES)
    told = here("sheet", "--json", "--as-of", "2026-02-20", "--farm", folder).json
    assert [tuple(row.values()) for row in told] == [
        # room, position, container, batch, kind, inoculated; pickings, the last's day, flush, weights, flushes;
        # most in g, flush proposed
        ("tunnel", "0", "p1", "P", None, "2026-01-01", 1, "2026-02-05", 1, "500", "1", 3000.0, 2),
        ("tunnel", "1", "2", "A", None, "2026-01-01", 2, "2026-02-03", 1, "200.5, 300", "1, 1", 3000.0, 2),
        ("tunnel", "1", "10", "A", None, "2026-01-01", 4, "2026-02-18", 3, "70, 80, 90", "3, 2, 2", 3000.0, 3),
        ("tunnel", "2", "4", "B", None, "2026-01-20", 0, None, None, None, None, 3000.0, 1),
        ("tunnel", "10", "3", "B", None, "2026-01-20", 0, None, None, None, None, 3000.0, 1),
        # weighed together: P beside its own container, W without any
        (None, None, None, "P", None, "2026-01-01", 1, "2026-02-01", 1, "900", "1", None, 2),
        (None, None, None, "W", None, "2026-01-01", 1, "2026-02-05", 1, "500", "1", None, 2),
    ]
    assert list(told[0]) == list(contract("running_units").names)
    said = here("sheet", "--as-of", "2026-02-20", "--farm", folder)
    assert [line.split() for line in said.out.splitlines()[1:4:2]] == [
        ["room", "position", "container", "batch", "picked_on", "weights_g", "flush"],
        ["tunnel", "0", "p1", "P", "2026-02-05", "500", "2"],
    ]
    assert here("sheet", "--as-of", "2025-01-01", "--farm", folder).err == "Nothing is running as of 2025-01-01.\n"


def test_the_picking_sheet_has_what_is_due_and_all_only_when_asked(farm: Farm) -> None:
    folder = farm(
        batches="batch,inoculated_on\nA,2026-01-01\nW,2026-01-01",
        fillings="batch,container\nA,1\nA,2\nA,3\nW,9",
        observations="seen_on,event,container,batch\n2026-01-20,pins,1,A\n2026-01-26,pins,2,A\n2026-01-24,pins,,W",
        harvests="picked_on,fresh_weight_g,container,batch\n2026-01-15,500,,W",
    )
    page = folder / "p.html"

    def printed(*words: str) -> list[str]:
        here("sheet", "--print", page, *words, "--farm", folder)
        return re.findall(r'<th scope="row"><bdi>(.*?)</bdi>', page.read_text(encoding="utf-8"))

    # Pins since six days, pins of today, nothing yet; and pins on a batch that is weighed together.
    assert printed("--as-of", "2026-01-26") == ["1", "2", "9", "W, weighed together"]
    assert printed("--as-of", "2026-01-26", "--all") == ["1", "2", "3", "9", "W, weighed together"]
    said = here("sheet", "--print", page, "--as-of", "2026-01-14", "--farm", folder)
    assert "Nothing is due on 2026-01-14: the sheet has empty lines only." in said.err


def test_the_flush_proposed_is_the_one_that_the_ledger_gives(tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    write_demo(folder)
    told = here("sheet", "--json", "--as-of", LAST_DAY, "--farm", folder).json
    assert len(told) > 30
    assert len({row["flush_proposed"] for row in told}) > 2
    new = [(LAST_DAY, f"{at}.125", row["container"] or "", row["batch"]) for at, row in enumerate(told, start=1)]
    write_csv(folder / "harvests" / "new.csv", "picked_on,fresh_weight_g,container,batch", *new)
    refreshed(folder)
    given_by_ledger = rows(folder, "select flush from harvests where file = 'harvests/new.csv' order by row")
    assert [flush for (flush,) in given_by_ledger] == [row["flush_proposed"] for row in told]


def test_numbers_in_names_count_as_numbers() -> None:
    names = ["B10", "b2", "B2", "2", "10", "B02", "", "shelf 2b", "shelf 2a", "9" * 5000, "x²"]
    told = [
        row["container"]
        for row in in_order_of_shelves([{"room": "", "position": "", "batch": "", "container": n} for n in names])
    ]
    assert told == ["2", "10", "9" * 5000, "B02", "B2", "b2", "B10", "shelf 2a", "shelf 2b", "x²", ""]


@given(st.lists(st.text(max_size=6), max_size=8, unique=True))
def test_the_order_of_shelves_never_depends_on_the_order_of_rows(names: list[str]) -> None:
    listed = [{"room": None, "position": name, "container": "1", "batch": "A"} for name in names]
    assert in_order_of_shelves(listed) == in_order_of_shelves(listed[::-1])
    assert all(natural(name) == natural(name) for name in names)


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (["--page", "harvests.csv"], 2, "--page harvests.csv: it is a page, so its name ends in .html."),
        (["--print", "no/such/place.html"], 3, "cannot be written: No such file or directory."),
        (["--all"], 2, "--all goes with --print FILE.html."),
        (["B01"], 2, "B01: names of containers go with --labels FILE.html."),
        (["--labels", "l.html", "--label-width", "nan"], 2, "--label-width nan: give it in mm, from 10 to 300."),
        (["--labels", "l.html", "--label-height", "9"], 2, "--label-height 9: give it in mm, from 10 to 300."),
        (["--labels", "l.html", "--gap", "-1"], 2, "--gap -1: give it in mm, from 0 to 300."),
        (["--labels", "l.html", "9" * 3000], 2, "a container's name is too long for a QR code"),
        (["--page", "p.html", "--as-of", "soon"], 2, "--as-of soon: that is not a date."),
    ],
)
def test_what_cannot_be_written_is_said(
    farm: Farm, monkeypatch: pytest.MonkeyPatch, words: list[str], code: int, told: str
) -> None:
    folder = farm(**TABLES)
    monkeypatch.chdir(folder)
    said = here("sheet", *words)
    assert (said.code, said.out) == (code, "")
    assert told in said.err
    assert not list(folder.glob("*.html*"))


def test_labels_without_containers_are_refused_and_unknown_ones_are_told(farm: Farm) -> None:
    folder = farm(batches=TABLES["batches"])
    said = here("sheet", "--labels", folder / "l.html", "--farm", folder)
    assert said.code == 2
    assert "there are no containers in fillings.csv" in said.err
    said = here(
        "sheet", "--labels", folder / "l.html", "--columns", "4", "--label-width", "12", "--farm", folder, "n2" * 9
    )
    assert said.code == 0
    assert "n2n2n2n2n2n2n2n2n2 is no container of fillings.csv yet." in said.err
    assert "is fine at this size" in said.err
    assert "columns are" not in said.err
    assert (
        "4 columns are 269 mm wide; A4 is 210 mm"
        in here("sheet", "--labels", folder / "l.html", "--columns", "4", "--farm", folder, "1").err
    )


def test_all_containers_get_a_label_in_the_order_of_the_shelves(farm: Farm) -> None:
    folder = farm(**TABLES)
    here("sheet", "--labels", folder / "l.html", "--as-of", "2026-02-20", "--farm", folder)
    found = re.findall(r"QR code of ([^\"]+)\"", (folder / "l.html").read_text(encoding="utf-8"))
    assert found == ["1", "p1", "p2", "2", "10", "4", "3", "n1"]


def test_every_cell_of_the_weigh_pages_form_is_a_column_of_harvests() -> None:
    script = part("sheets/templates/weigh_screen.js")
    form = script[script.index("const cellsOfForm") :]
    cells = re.findall(r"^ +(\w+):", form[: form.index("});")], re.MULTILINE)
    assert {*cells, "entry"} == {*contract("harvests").names}
