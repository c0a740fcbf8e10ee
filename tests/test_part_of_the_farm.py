"""What a change touches is decided for that part of the farm alone, and comes out as in a rebuild, row by row."""

from __future__ import annotations

import os
import random
import shutil
from datetime import date, timedelta
from pathlib import Path

import pytest
from ledgers import refreshed, tables
from small_farms import CELLS, Files, Row, write_farm

from pipeline.ledger import part

SEED = int(os.environ.get("GILLBOOK_FUZZ_SEED", "1"))
# `make fuzz` draws more farms.
FARMS = max(1, int(os.environ.get("GILLBOOK_FUZZ", "0")) // 100)
STEPS, BATCHES, CONTAINERS = 6, 24, 10
FIRST = date(2026, 1, 1)
# How many rows a file of each of these tables has; of the others 60.
ROWS = {"batches": 8, "fillings": 30, "prices": 4, "sales": 20, "promises": 4}


@pytest.fixture
def parts(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """Have the smallest farm decided in parts, and hear of each refresh whether it was."""
    decided: list[bool] = []

    def noted(*given: object) -> bool:
        decided.append(decide_part(*given))  # type: ignore[arg-type]
        return decided[-1]

    decide_part = part.decide_part
    monkeypatch.setattr(part, "LEAST_ROWS", 0)
    monkeypatch.setattr(part, "ONE_ROW_IN", 0)
    monkeypatch.setattr(part, "decide_part", noted)
    return decided


class RandomFarm:
    """Containers that are filled again and again, from batches of which some share a day; rows of every kind of fault
    and of every way to say where they belong. Some flushes are blank where `blank`.
    """

    def __init__(self, draw: random.Random, blank: bool) -> None:
        self.draw, self.blank = draw, blank
        self.files: Files = {}
        for table in CELLS:
            for name in (f"{table}/a.csv", f"{table}/b.csv"):
                self.files[table, name] = [self.row(table) for _ in range(ROWS.get(table, 60))]

    def day(self) -> str:
        return str(FIRST + timedelta(self.draw.randrange(140)))

    def name(self, names: int, letter: str) -> str:
        return self.draw.choice([*(f"{letter}{each}" for each in range(names)), "", f"{letter}99"])

    def row(self, table: str) -> Row:
        row = {column: self.draw.choice(cells) for column, cells in CELLS[table].items()}
        if "batch" in row:
            row["batch"] = self.name(BATCHES, "b")
        if "container" in row:
            row["container"] = self.name(CONTAINERS, "")
        for column in {"picked_on", "seen_on", "sold_on"} & set(row):
            row[column] = self.day()
        if table == "batches":
            row["inoculated_on"] = str(FIRST + timedelta(7 * self.draw.randrange(16)))
        if "flush" in row and not self.blank:
            row["flush"] = self.draw.choice("123")
        return tuple(row.values())

    def edit(self) -> None:
        """Change, add, delete or move one row; or give one the place of another."""
        key = self.draw.choice(sorted(self.files))
        table, rows = key[0], self.files[key]
        at = self.draw.randrange(len(rows) + 1)
        if self.draw.random() < 0.5 or not rows[at:]:
            rows.append(self.row(table))
        elif self.draw.random() < 0.6:
            new = self.row(table)
            column = self.draw.randrange(len(new))
            rows[at] = (*rows[at][:column], new[column], *rows[at][column + 1 :])
        elif self.draw.random() < 0.5:
            self.draw.choice([self.files[key], self.files[table, f"{table}/b.csv"]]).append(rows.pop(at))
        else:
            rows.pop(at)


def test_a_second_row_of_a_batch_touches_those_that_shared_a_soak_with_the_first(
    tmp_path: Path, parts: list[bool]
) -> None:
    """Found by `make fuzz`: both rows of the batch are set aside then, and the other is alone of its day and recipe."""
    folder, head = tmp_path / "farm", "batch,inoculated_on,substrate,substrate_wet_kg"
    (folder / "batches").mkdir(parents=True)
    (folder / "batches/a.csv").write_text(f"{head}\nb1,2026-01-08,straw,10\n", encoding="utf-8")
    (folder / "batches/b.csv").write_text(f"{head}\nb2,2026-01-08,straw,10\n", encoding="utf-8")
    refreshed(folder)
    assert [row for row in tables(folder)["findings"] if "soak_not_named" in row]
    for rows, found in (("b2,2026-01-01,mulch,12\n", 0), ("", 1)):
        (folder / "batches/c.csv").write_text(f"{head}\nb3,2026-02-05,straw,10\n{rows}", encoding="utf-8")
        refreshed(folder)
        assert len([row for row in tables(folder)["findings"] if "soak_not_named" in row]) == found
    assert parts == [True, True]


@pytest.mark.parametrize(("blank", "sold"), [(False, True), (True, False)])
def test_what_a_change_touches_is_decided_as_all_would_be(
    tmp_path: Path, parts: list[bool], blank: bool, sold: bool
) -> None:
    for number in range(FARMS):
        farm, folder = RandomFarm(random.Random(f"{SEED} {number} {blank}"), blank), tmp_path / str(number)
        if not sold:
            # What was found in the books can stand then, where none of them changed.
            farm.files = {key: rows for key, rows in farm.files.items() if key[0] != "sales"}
        folder.mkdir()
        write_farm(folder, farm.files, "")
        refreshed(folder)
        for step in range(STEPS):
            for _ in range(farm.draw.choice([1, 1, 2, 5])):
                farm.edit()
            write_farm(folder, farm.files, "")
            refreshed(folder)
            found = tables(folder)
            whole = shutil.copytree(folder, tmp_path / f"{number} whole", ignore=shutil.ignore_patterns("ledger.*"))
            refreshed(whole)
            expected = tables(whole)
            assert [name for name in expected if found[name] != expected[name]] == [], f"{SEED} {number} {step}"
            shutil.rmtree(whole)
        shutil.rmtree(folder)
    assert sum(parts) > len(parts) / 2, "most changes were decided for a part"
