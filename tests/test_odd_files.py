"""Odd files, folders and links that a stranger put into a farm: what is said of each is true, and how to mend it."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest
from ledgers import HARVESTS, THREE_TABLES, here, refreshed

from pipeline.ledger.findings import fitting
from schemas.check import check as judged
from schemas.contract import contract
from schemas.finding import finding

Farm = Callable[..., Path]


@pytest.fixture
def folder(farm: Farm) -> Path:
    made = farm("", **THREE_TABLES)
    refreshed(made)
    return made


def check(folder: Path, *words: str) -> tuple[int, str, str]:
    said = here("check", "--as-of", "2026-02-10", "--farm", folder, *words)
    return said.code, said.out, said.err


def test_files_without_a_mark_in_them_are_not_said_to_be_written_otherwise(farm: Farm) -> None:
    folder = farm("", **THREE_TABLES)
    (folder / "harvests.csv").unlink()
    (folder / "harvests").mkdir()
    for words in (("weigh", "1", "300", "--on", "2026-02-01"), ("note", "1", "pins", "--on", "2026-01-20")):
        assert here(*words, "--insist", "--farm", folder).code == 0
    (folder / "farm.toml").write_text('decimal_mark = ","\n', encoding="utf-8")
    said = here("yields", "--farm", folder).err
    assert '"harvests/2026-02.csv and 1 more file" were written with other marks or units' in said
    assert "are read as they were written. Write them anew: gillbook settings --rewrite." in said
    for mark, more in ((".", ()), (",", ("--keep-files",))):
        assert here("settings", "decimal_mark", mark, "--yes", *more, "--farm", folder).code == 0
        assert "written" not in here("settings", "--farm", folder).err


def test_check_shows_its_findings_where_out_cannot_be_written(folder: Path) -> None:
    (folder / "harvests.csv").write_text(f"{HARVESTS}\nsoon,1,1\n", encoding="utf-8")
    shutil.rmtree(folder / "out", ignore_errors=True)
    (folder / "out").write_text("x", encoding="utf-8")
    code, out, err = check(folder)
    assert (code, 'picked_on: "soon" is not a date' in out) == (3, True)
    assert "out is a file, and a folder of that name is wanted. Rename it or take it away." in err
    assert (folder / "out").read_text(encoding="utf-8") == "x"


def test_a_farm_toml_that_is_gone_is_said_to_be_gone(folder: Path) -> None:
    (folder / "farm.toml").write_text("new_flush_after_days = 5\n", encoding="utf-8")
    refreshed(folder)
    (folder / "farm.toml").unlink()
    (said,) = refreshed(folder).messages
    assert said.startswith(
        "farm.toml is gone: without it every setting is as it comes, and all rows were decided anew."
    )


def test_a_folder_in_place_of_a_file_is_called_one(folder: Path) -> None:
    (folder / "batches.csv").unlink()
    (folder / "batches.csv").mkdir()
    (said,) = refreshed(folder).messages
    assert said.startswith("batches.csv: is no file any more, but a folder, pipe or device")
    assert "its last good row still counts. Put the file back in its place, or give it up:" in said


def test_of_a_line_of_the_history_that_cannot_be_read_no_cause_is_made_up(folder: Path) -> None:
    (folder / "kept/history.jsonl").write_text("x\n", encoding="utf-8")
    said = here("history", "--farm", folder).err
    assert "line 1: cannot be read and is left out. It may have been half written when the machine stopped, or" in said


@pytest.mark.parametrize("data", [f"{HARVESTS}\n2026-02-07,3,1\0\n".encode(), b"\0" * 60])
def test_a_byte_of_zero_is_called_what_it_is(folder: Path, data: bytes) -> None:
    (folder / "harvests").mkdir()
    (folder / "harvests/new.csv").write_bytes(data)
    said = check(folder)[2]
    at = data.index(0)
    assert f"holds a byte of zero (byte {at + 1}), which no text has. Open it in a text editor, take that sign" in said
    assert "UTF-8" not in said


def test_a_link_to_nothing_is_called_one(folder: Path) -> None:
    (folder / "harvests").mkdir()
    (folder / "harvests/new.csv").symlink_to(folder / "nowhere.csv")
    said = check(folder)[2]
    assert "It is a link to a file that is not there. Bring that file back, or take the link away." in said


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        (
            "2026-3-4,100",
            '"2026-3-4" has year, month and day, but not as four, two and two digits with - between them.',
        ),
        ("2026/03/05,100", "but not as four, two and two digits with - between them. Write it like 2026-05-14."),
        ("2026-03-05 12:30 PM,100", "has a time of day that is not written like 14:30. Take the time off, which is"),
        ("2026-13-1,100", "is not in the order of dates that farm.toml tells"),
        ("2026-03-04,12345678901234567890", '"12345678901234567890" is too large a number. Correct or clear'),
    ],
)
def test_what_is_wrong_with_a_day_or_a_number_is_said(cells: str, said: str) -> None:
    day, weight = cells.split(",")
    columns = {"picked_on": day, "fresh_weight_g": weight, "container": "1"}
    frame = pl.DataFrame({"row": [2], **{name: [cell] for name, cell in columns.items()}}).cast({"row": pl.Int32})
    (found,) = judged(frame, contract("harvests")).findings.iter_rows(named=True)
    made = finding(
        contract("harvests"), "n.csv", 2, found["column_name"], found["rule"], found["level"], found["value"]
    )
    assert said in made.sentence()


@pytest.mark.parametrize(("value", "expected"), [("-5", "more than 0"), ("0", "more than 0")])
def test_what_is_expected_leaves_out_a_limit_that_is_refused(value: str, expected: str) -> None:
    rule = "minimum" if value == "-5" else "exclusiveMinimum"
    made = finding(contract("harvests"), "n.csv", 2, "fresh_weight_g", rule, "set_aside", value)
    assert made.expected == expected


def test_a_long_cell_is_cut_in_a_list() -> None:
    made = finding(contract("harvests"), "n.csv", 2, "fresh_weight_g", "number", "set_aside", "4" * 1200)
    assert [each.value for each in fitting([made])] == ["4" * 1000 + "... (200 more letters)"]


def test_init_takes_no_blank_name_and_calls_a_device_no_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for command in ("init", "demo"):
        said = here(command, "")
        assert (said.code, said.err) == (2, "DIR: a blank is no name. Name it; the folder you are in is called .\n")
    assert "/dev/null is no folder, and nothing was written." in here("init", "/dev/null").err
    assert list(tmp_path.iterdir()) == []


def test_a_farm_of_later_days_alone_is_not_said_to_be_empty(folder: Path) -> None:
    said = here("yields", "--as-of", "2025-01-01", "--farm", folder).err
    assert "No batch is loaded that was started by 2025-01-01. Fill in batches.csv, or mend it or its days:" in said
