"""What init --from makes of a workbook whose cells show their unit by a number format: the workbook stays as it is."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path

import openpyxl
import pytest
from conftest import Said
from ledgers import here
from own_files import saved

ROWS = [("A", 10, 70, 1, date(2026, 5, 1)), ("A", 10, 70, 2, date(2026, 5, 2)), ("B", 12, 71, 3, date(2026, 5, 9))]


def book(weights: list[float], formats: Mapping[str, str], title: str = "", heading: str = "Weight") -> bytes:
    """A sheet for all tables, with these weights; `formats` by column."""
    made = openpyxl.Workbook()
    sheet = made.active
    if title:
        sheet.append([title])
    sheet.append(["Batch", "Substrate", "Wet straw", "Moisture", "Bucket", "Picked", heading])
    first = sheet.max_row + 1
    for (batch, wet, moisture, bucket, day), weight in zip(ROWS, weights, strict=True):
        share = moisture / 100 if "D" in formats else moisture
        sheet.append([batch, "straw", wet, share, bucket, day, weight])
    for column, code in formats.items():
        for row in range(first, sheet.max_row + 1):
            sheet[f"{column}{row}"].number_format = code
    return saved(made)


def adopted(folder: Path, data: bytes) -> Said:
    (folder / "log.xlsx").write_bytes(data)
    return here("init", folder / "farm", "--from", folder / "log.xlsx", "--yes")


def loaded(folder: Path, column: str = "fresh_weight_g", table: str = "harvests") -> list[float]:
    said = here(
        "query", f"select {column}::double as it from {table} order by all", "--json", "--farm", folder / "farm"
    )
    return [each["it"] for each in said.json]


@pytest.mark.parametrize(
    ("weights", "code", "unit", "grams"),
    [
        ([0.411, 0.352, 0.5], '0.000" kg"', "kg", [352, 411, 500]),
        ([14.5, 12, 10], '0.0" oz"', "oz", [283.495, 340.194, 411.068]),
        ([411, 352, 500], '0.000,"kg"', "kg", [352, 411, 500]),
        ([411, 352, 500], '0" g"', "", [352, 411, 500]),
    ],
)
def test_the_unit_of_a_format_is_proposed_and_the_workbook_stays(
    tmp_path: Path, weights: list[float], code: str, unit: str, grams: list[float]
) -> None:
    said = adopted(tmp_path, book(weights, {"G": code, "C": '0" kg"', "D": "0 %"}))
    assert said.code == 0
    settings = (tmp_path / "farm" / "farm.toml").read_text()
    assert (f'"Weight" = {{column = "fresh_weight_g", unit = "{unit}"}}' in settings) == bool(unit)
    assert '[files."log.xlsx"]' in settings
    assert f'"Weight" of log.xlsx is shown in {unit or "g"} by the format of its cells' in " ".join(said.out.split())
    assert loaded(tmp_path) == pytest.approx(grams)
    assert loaded(tmp_path, "moisture_pct", "batches") == [70, 71]
    assert loaded(tmp_path, "substrate_wet_kg", "batches") == [10, 12]


def test_a_sheet_with_a_title_is_straightened_and_has_the_unit_too(tmp_path: Path) -> None:
    adopted(tmp_path, book([14.5, 12, 10], {"G": '0.0" oz"', "D": "0 %"}, title="Our log"))
    assert (tmp_path / "farm" / "sheets" / "log.csv").is_file()
    assert loaded(tmp_path) == pytest.approx([283.495, 340.194, 411.068])
    assert loaded(tmp_path, "moisture_pct", "batches") == [70, 71]


def test_a_heading_that_names_another_unit_than_its_cells_show_is_read_as_shown(tmp_path: Path) -> None:
    adopted(tmp_path, book([0.411, 0.352, 0.5], {"G": '0.000" kg"'}, heading="Weight (g)"))
    assert loaded(tmp_path) == pytest.approx([352, 411, 500])
