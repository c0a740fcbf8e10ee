"""What check says of a farm made of a grower's sheet: the sheet, the row and the heading that the grower knows."""

from __future__ import annotations

import csv
from pathlib import Path

import openpyxl
from ledgers import here
from own_files import saved


def checked(folder: Path, name: str, data: bytes, farm: str = "farm", *more: str) -> str:
    """What check says of the farm that is made of this file, as one line."""
    (folder / name).write_bytes(data)
    assert here("init", folder / farm, "--from", folder / name, "--yes", *more).code == 0
    return " ".join(here("check", "--farm", folder / farm, "--as-of", "2026-06-01").out.split())


def test_a_cell_of_a_straightened_sheet_is_named_by_sheet_row_and_own_heading(tmp_path: Path) -> None:
    text = "Our log\n\nBatch,Inoculated,Straw,Wet straw (lb),Bucket #,Picked,Weight (g)\n"
    text += "A,2026-04-01,straw,wet,1,2026-05-01,400\nA,,,,1,2026-05-09,-4\n"
    text += "B,2026-04-08,straw,22,2,2026-05-10,300\n"
    said = checked(tmp_path, "log.csv", text.encode())
    assert 'sheets/log.csv, row 2, "Wet straw (lb)" (from log.csv, row 4): "wet" is not a number' in said
    assert 'sheets/log.csv, row 3, "Weight (g)" (from log.csv, row 5): "-4" is below 0' in said
    assert "substrate_wet_kg" not in said


def test_a_cell_that_is_full_is_never_to_be_filled(tmp_path: Path) -> None:
    text = "Batch,Inoculated,Substrate,Wet weight (kg),Moisture %,Bucket,Picked,Weight (g)\n"
    text += "A,2026-04-01,straw,10,dry,1,2026-05-01,400\n"
    text += "B,2026-04-08,straw,12,70,2,2026-05-10,300\n"
    said = checked(tmp_path, "log.csv", text.encode())
    assert 'log.csv, row 2, "Moisture %": "dry" is not a number' in said
    assert "would give 1 container BE" not in said


def test_one_oven_test_is_named_where_only_moisture_is_missing(tmp_path: Path) -> None:
    text = (
        "Batch,Inoculated,Substrate,Wet weight (kg),Bucket,Picked,Weight (g)\nA,2026-04-01,straw,10,1,2026-05-01,400\n"
    )
    said = checked(tmp_path, "log.csv", text.encode())
    assert "log.csv, moisture_pct: would give 1 container BE. One oven test would do:" in said


def test_a_column_that_the_file_lacks_is_to_be_added_once_and_no_cell_filled(tmp_path: Path) -> None:
    text = "Batch,Started,Bucket,Picked,Weight (g)\nA,2026-04-01,1,2026-05-01,400\nB,2026-04-08,2,2026-05-10,300\n"
    said = checked(tmp_path, "log.csv", text.encode())
    assert (
        "log.csv, substrate: the substrate is missing, so this batch is in no comparison of substrates (2 rows)."
        in said
    )
    assert "log.csv, substrate_dry_kg: would give 2 containers BE. The file has no such column: add one, called" in said
    assert "ill in the cell" not in said
    book = openpyxl.Workbook()
    for cells in csv.reader(text.splitlines()):
        book.active.append(cells)
    said = checked(tmp_path, "book.xlsx", saved(book), "other")
    assert "book.xlsx, substrate_dry_kg: would give 2 containers BE. The file has no such column" in said
    assert "ill in the cell" not in said


def test_sentences_and_lists_have_the_growers_headings(tmp_path: Path) -> None:
    text = "Batch,Started,Straw kind,Wet straw (kg),Spawn (kg),Bucket,Filled weight (kg)\n"
    text += "A,2026-04-01,straw,2,0.1,1,9\nA,,,,,2,-1\n"
    (tmp_path / "log.csv").write_text(text)
    said = checked(tmp_path, "log.csv", text.encode())
    assert 'Check "Filled weight (kg)" of the fillings, "Wet straw (kg)" and "Spawn (kg)".' in said
    with (tmp_path / "farm" / "out" / "findings.csv").open(encoding="utf-8-sig") as lines:
        (minus,) = [row for row in csv.DictReader(lines) if row["value"].lstrip("'") == "-1"]
    assert (minus["column"], minus["heading"]) == ("fill_kg", "Filled weight (kg)")
    assert minus["place"] == 'log.csv, row 3, "Filled weight (kg)"'


def test_two_spellings_of_one_word_are_asked_joined_or_named(tmp_path: Path) -> None:
    text = "Batch,Inoculated,Substrate,Strain\nA,2026-04-01,Wheat straw,Blue\nB,2026-04-02,Wheat straw,blue\n"
    text += "C,2026-04-03,whéat straw ,Blue\nD,2026-04-04,wheat  straw,Grey\n"
    said = checked(tmp_path, "log.csv", text.encode())
    assert "counts as another" not in said
    settings = (tmp_path / "farm" / "farm.toml").read_text(encoding="utf-8")
    assert '"whéat straw" = "Wheat straw"' in settings
    words = ("--answer", "spelling Wheat straw=n")
    said = checked(tmp_path, "log.csv", text.encode(), "other", *words)
    assert 'row 4, "Substrate": "whéat straw" (1 row) is written "Wheat straw" in 2 other rows, and counts as' in said
    assert 'under [words.substrate]: "whéat straw" = "Wheat straw"' in said
    assert '"blue"' not in said


def test_the_sheet_of_a_workbook_is_named(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Batches"
    for row in (["Batch", "Substrate", "Wet straw (lb)"], ["A", "straw", "wet"], ["B", "straw", 22]):
        sheet.append(row)
    picks = book.create_sheet("Picks")
    for row in (["Date", "Batch", "Bucket", "Weight (g)"], ["2026-05-01", "A", 1, 400]):
        picks.append(row)
    said = checked(tmp_path, "farm.xlsx", saved(book))
    assert 'farm.xlsx, sheet "Batches", row 2, "Wet straw (lb)": "wet" is not a number' in said
