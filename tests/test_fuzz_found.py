"""What the fuzz tests found: each once, as literal rows."""

from __future__ import annotations

import csv
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from ledgers import here
from own_files import conventions, load, rules, values

from pipeline.ledger.missing_inputs import ready_line
from pipeline.models.silent import SilentUnit

H = "picked_on,fresh_weight_g,container,note\n"


def notes(text: str) -> list[str | None]:
    return [note for _, note in values(load(text)[1], "note")]


@pytest.mark.parametrize("cell", ["\t=1+1", "\t\t=1+1", "\t'=1+1", "'=1+1", " '=1+1 "])
def test_a_text_is_trimmed_whatever_an_apostrophe_kept_from_running_and_whatever_stands_in_other_rows(
    cell: str,
) -> None:
    guarded = cell if "'" in cell else f"'{cell}"
    alone = notes(f"{H}2026-05-01,400,B1,{guarded}\n")
    beside = notes(f"{H}2026-05-01,400,B1,{guarded}\n2026-05-02,400,B1, padded \n")
    assert alone == ["=1+1"]
    assert beside == ["=1+1", "padded"]


def test_a_tab_within_quotation_marks_is_white_space_also_between_tabs() -> None:
    text = f"{H}2026-05-01,400,B1,x\n".replace(",", "\t").replace("B1\tx", '"\tB1"\t"x\t"')
    assert values(load(text)[1], "container", "note") == [(2, "B1", "x")]


def test_cells_are_trimmed_also_behind_a_quotation_mark_within_a_cell() -> None:
    assert notes(f'{H}2026-05-01,400,5"pot, x\n2026-05-02,400,B1,y\n') == ["x", "y"]


@pytest.mark.parametrize("end", ["\r", "\n", "\r\n"])
def test_a_cell_with_a_line_end_stays_one_cell_in_the_lists_that_check_writes(
    farm: Callable[..., Path], end: str
) -> None:
    folder = farm()
    (folder / "harvests.csv").write_bytes(f'{H}2026-05-01,"4{end}5",B1,x\n2026-05-02,x,B1,y\n'.encode())
    assert here("check", "--farm", folder).code == 1
    for name in ("set_aside.csv", "findings.csv"):
        with open(folder / "out" / name, encoding="utf-8", newline="") as lines:
            found = [row for row in csv.DictReader(lines, strict=True) if row["rule"] == "number"]
        assert [(row["row"], row["value"]) for row in found] == [("2", f"4{end}5"), ("3", "x")]


@pytest.mark.parametrize("end", ["\r", "\n", "\r\n"])
def test_a_container_with_a_line_end_in_its_name_is_quoted_in_the_line_that_ends_it(end: str) -> None:
    unit = SilentUnit("fillings", "fillings.csv", 2, "A", f"B{end}1", "lapsed", None, date(2026, 5, 1))
    assert ready_line(("seen_on", "event", "container"), unit) == f'2026-05-01,emptied,"B{end}1"'


@pytest.mark.parametrize("unit", ["g", "oz"])
def test_a_digit_of_another_script_is_no_number_in_any_unit(unit: str) -> None:
    own = conventions(headings={"harvests": {"Weight": {"column": "fresh_weight_g", "unit": unit}}})
    _, done = load("picked_on,Weight,container\n2026-05-01,\u0665,B1\n", own)
    assert values(done, "fresh_weight_g", "faulty") == [(2, None, True)]
    assert rules(done) == [(2, "fresh_weight_g", "number", "set_aside")]
