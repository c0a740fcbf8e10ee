"""What check says of a farm made of a grower's sheet: the sheet, the row and the heading that the grower knows."""

from __future__ import annotations

from pathlib import Path

import openpyxl
from ledgers import here
from own_files import saved


def checked(folder: Path, name: str, data: bytes) -> str:
    """What check says of the farm that is made of this file, as one line."""
    (folder / name).write_bytes(data)
    assert here("init", folder / "farm", "--from", folder / name, "--yes").code == 0
    return " ".join(here("check", "--farm", folder / "farm", "--as-of", "2026-06-01").out.split())


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
    assert "log.csv, row 2, moisture_pct: would give 1 container BE. One oven test would do:" in said


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
