"""Sheets as people keep them: each becomes a farm with nothing but answers to short questions, and counts right."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from pathlib import Path
from typing import cast

import pytest
from ledgers import refreshed, rows
from sheets_kept import KeptSheet, answered, kept_sheets

from pipeline.adopt.dialogue import Question
from pipeline.adopt.make import FarmToBe, make_farm, source_files
from pipeline.adopt.one_batch import ONE
from pipeline.farm.folder import open_farm, table_files
from pipeline.files.read import read_table
from pipeline.files.validate import validate

SHEETS = kept_sheets()
Cells = tuple[str, ...]
# One sheet leaves more open than four questions.
MOST_QUESTIONS = {"51-porch-buckets": 6}
# The questions that each sheet took, once it was read.
MET: dict[str, list[Question]] = {}


def farm_of(sheet: KeptSheet, folder: Path) -> Path:
    """The farm that is made of the sheet."""
    proposal, MET[sheet.name] = answered(sheet, folder)
    farm = folder / "farm"
    make_farm(farm, FarmToBe.of(source_files(farm, [folder / sheet.file]), proposal))
    return farm


def shown(values: Sequence[object]) -> Cells:
    return tuple(
        "-" if each is None else f"{each.normalize():f}" if isinstance(each, Decimal) else str(each) for each in values
    )


def usable(farm: Path, table: str, *columns: str) -> Iterator[Cells]:
    """The rows of this table that can be used, as its files read."""
    opened = open_farm(farm)
    for source in table_files(farm, opened.conventions.files):
        if source.table == table:
            frame = validate(
                [read_table(source, source.path.read_bytes(), opened.conventions)], opened.conventions
            ).frame
            yield from (shown(row) for row in frame.filter(~frame["faulty"]).select(columns).rows())


def said_of(sheet: KeptSheet, key: str) -> list[Cells]:
    """The rows as they are read: where no batch is named, all containers are of one."""
    found = sheet.comes.get(key, [])
    if "batch" in sheet.comes:
        return sorted(found)
    return sorted((*row[:3], ONE, *row[4:]) if row[3] == "-" and row[2] != "-" else row for row in found)


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda each: cast(KeptSheet, each).name)
def test_a_sheet_as_people_keep_it_becomes_the_rows_that_it_says(sheet: KeptSheet, tmp_path: Path) -> None:
    farm = farm_of(sheet, tmp_path)
    picked = list(usable(farm, "harvests", "picked_on", "fresh_weight_g", "container", "batch"))
    assert sorted(picked) == said_of(sheet, "pick")
    events = usable(farm, "observations", "seen_on", "event", "container", "batch")
    assert sorted(events) == said_of(sheet, "event")
    batches = list(usable(farm, "batches", "batch", "inoculated_on", "substrate_wet_kg"))
    if "batch" in sheet.comes:
        assert sorted(batches) == sorted(sheet.comes["batch"])
    # No picking is left without its batch.
    assert {batch for _, _, _, batch in picked} - {"-"} <= {batch for batch, _, _ in batches}
    fillings = set(usable(farm, "fillings", "batch", "container"))
    assert {(batch, container) for _, _, container, batch in picked if "-" not in (container, batch)} <= fillings
    assert {container for _, _, container, _ in picked} - {"-"} <= {container for _, container in fillings}
    assert ("filled" not in sheet.comes) or str(len(fillings)) == sheet.comes["filled"][0][0]
    if "treated" in sheet.comes:
        assert [each for (each,) in usable(farm, "batches", "treatment")] == list(sheet.comes["treated"][0])


@pytest.mark.parametrize(
    ("name", "rows_said"),
    [
        ("01-title-above", ['row 1 "Oyster harvest log - Shed 2": stands outside of the tables']),
        ("38-headings-on-each-page", ['row 3 "Page 2": stands outside of the tables']),
        ("35-totals-between", ["row 4", "row 6", "row 7"]),
    ],
)
def test_rows_that_are_not_read_are_listed_with_the_reason(name: str, rows_said: list[str], tmp_path: Path) -> None:
    proposal, _ = answered(next(each for each in SHEETS if each.name == name), tmp_path)
    said = [line for each in proposal.matches for line in each.sheet.left_out]
    assert len(said) == len(rows_said)
    assert all(line.startswith(part) for line, part in zip(said, rows_said, strict=True))


@pytest.mark.parametrize("sheet", [SHEETS[9], SHEETS[13], SHEETS[35]], ids=lambda each: cast(KeptSheet, each).name)
def test_what_was_read_is_counted_in_the_ledger(sheet: KeptSheet, tmp_path: Path) -> None:
    farm = farm_of(sheet, tmp_path)
    refreshed(farm)
    found = rows(farm, "select picked_on, fresh_weight_g, container, batch from harvests")
    assert sorted(map(shown, found)) == said_of(sheet, "pick")


def test_nine_of_ten_sheets_take_only_yes_and_no_and_the_grower_never_edits_them(tmp_path: Path) -> None:
    plain = 0
    for sheet in SHEETS:
        met = MET[sheet.name] if sheet.name in MET else answered(sheet, tmp_path)[1]
        assert len(met) <= MOST_QUESTIONS.get(sheet.name, 4), sheet.name
        assert all(len(each.text) < 250 and "\n" not in each.text for each in met)
        plain += all(each.yes_no for each in met)
    assert len(SHEETS) >= 40
    assert plain >= 0.9 * len(SHEETS)
