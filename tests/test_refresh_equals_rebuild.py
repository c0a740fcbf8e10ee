"""After any sequence of edits a refresh equals a rebuild; row order, file split and the unit of mass do not matter."""

from __future__ import annotations

import copy
import random
import shutil
import tempfile
from collections import Counter
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule, run_state_machine_as_test
from ledgers import refreshed, tables

from pipeline.farm import open_farm
from pipeline.measures import runner
from schemas.finding import OutOfReach

QUICK = settings(
    deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck), print_blob=False
)
# Few values, so that keys meet; some of them faulty, so that rows are set aside, wait, and are freed.
CELLS: dict[str, dict[str, list[str]]] = {
    "batches": {
        "batch": ["A", "B", "C", ""],
        "inoculated_on": ["2026-01-01", "2026-01-01", "2026-02-01", "", "in May"],
        "strain": ["grey", "pink"],
        "substrate": ["straw", "sawdust"],
        "substrate_wet_kg": ["10", "12.5", "", "-1"],
        "moisture_pct": ["70", "30", ""],
        "spawn_kg": ["1", "6", ""],
        "ph_start": ["", "13.5"],
    },
    "fillings": {
        "batch": ["A", "B", "C", "D"],
        "container": ["1", "2", "3", ""],
        "fill_kg": ["5", "4.2", "", "full"],
        "volume_l": ["20", "5", ""],
        "kind": ["bucket", ""],
    },
    "observations": {
        "seen_on": ["2026-01-10", "2026-01-20", "2026-02-20", "2025-12-31", ""],
        "event": ["pins", "pins", "contaminated", "emptied", "opend"],
        "container": ["1", "2", "7", ""],
        "batch": ["A", "B", "Z", ""],
        "flush": ["", "1", "2"],
        "count": ["", "1"],
    },
    "harvests": {
        "picked_on": ["2026-01-20", "2026-01-25", "2026-02-10", "2026-02-20", "2025-12-31", "20 Feb"],
        "fresh_weight_g": ["300", "250.5", "300", "4000", "-3", ""],
        "container": ["1", "2", "3", "7", ""],
        "batch": ["A", "B", "Z", "", ""],
        "flush": ["", "", "1", "2", "2.5"],
        "culled_g": ["", "10", "5000"],
        "entry": ["", "", "e1"],
    },
}
MASSES = {"substrate_wet_kg", "spawn_kg", "fill_kg", "fresh_weight_g", "culled_g"}
LOADED = ("batches", "fillings", "observations", "harvests")

Row = tuple[str, ...]
Files = dict[tuple[str, str], list[Row]]  # (table, file) -> its rows; a row without any cell is a blank line

TABLES = st.sampled_from(sorted(CELLS))
NUMBERS = st.integers(0, 11)


def a_row(table: str) -> st.SearchStrategy[Row]:
    return st.tuples(*map(st.sampled_from, CELLS[table].values()))


def text_of(table: str, rows: list[Row]) -> str:
    return "\n".join([",".join(CELLS[table]), *(",".join(row) for row in rows)]) + "\n"


def write_farm(folder: Path, files: Files, farm_toml: str) -> None:
    """Makes the folder hold these files, and touches only those that differ."""
    (folder / "farm.toml").write_text(farm_toml, encoding="utf-8")
    for table in CELLS:
        (folder / table).mkdir(parents=True, exist_ok=True)
    wanted = {folder / file: text_of(table, rows) for (table, file), rows in files.items()}
    for path in folder.rglob("*.csv"):
        if path not in wanted:
            path.unlink()
    for path, text in wanted.items():
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8", newline="\n")


def names(table: str) -> list[str]:
    return [f"{table}.csv", f"{table}/a.csv", f"{table}/b.csv"]


class Edits(RuleBasedStateMachine):
    """A grower edits the files in every way; now and then the ledger is refreshed and held against a rebuilt one."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        self.files: Files = {}
        self.farm_toml = ""
        self.accepted: Files = {}

    def teardown(self) -> None:
        shutil.rmtree(self.folder)

    @initialize(data=st.data())
    def a_farm(self, data: st.DataObject) -> None:
        for table in CELLS:
            self.files[table, f"{table}.csv"] = data.draw(st.lists(a_row(table), min_size=3, max_size=6))
        self.refresh_equals_rebuild()

    def pick(self, table: str, number: int) -> list[Row]:
        mine = [rows for (owner, _), rows in sorted(self.files.items()) if owner == table]
        return mine[number % len(mine)]

    def free_name(self, table: str) -> str | None:
        return next((name for name in names(table) if (table, name) not in self.files), None)

    @rule(data=st.data(), table=TABLES, number=NUMBERS)
    def add_a_row(self, data: st.DataObject, table: str, number: int) -> None:
        self.pick(table, number).append(data.draw(a_row(table)))

    @rule(data=st.data(), table=TABLES, number=NUMBERS, at=NUMBERS, empty=st.booleans())
    def change_or_empty_a_cell(self, data: st.DataObject, table: str, number: int, at: int, empty: bool) -> None:
        rows = self.pick(table, number)
        if rows and rows[at % len(rows)]:
            column = data.draw(st.sampled_from(range(len(CELLS[table]))))
            cell = "" if empty else data.draw(a_row(table))[column]
            row = rows[at % len(rows)]
            rows[at % len(rows)] = (*row[:column], cell, *row[column + 1 :])

    @rule(table=TABLES, number=NUMBERS, at=NUMBERS)
    def delete_a_row(self, table: str, number: int, at: int) -> None:
        rows = self.pick(table, number)
        if rows:
            rows.pop(at % len(rows))

    @rule(table=TABLES, number=NUMBERS, at=NUMBERS, commas=st.booleans())
    def put_a_blank_row_in(self, table: str, number: int, at: int, commas: bool) -> None:
        self.pick(table, number).insert(at, ("",) * len(CELLS[table]) if commas else ())

    @rule(table=TABLES, number=NUMBERS, to=NUMBERS, at=NUMBERS, copied=st.booleans())
    def move_or_copy_a_row(self, table: str, number: int, to: int, at: int, copied: bool) -> None:
        rows = self.pick(table, number)
        if rows:
            row = rows[at % len(rows)] if copied else rows.pop(at % len(rows))
            self.pick(table, to).insert(0, row)

    @rule(mended=st.booleans())
    def break_or_mend_a_batch_key(self, mended: bool) -> None:
        rows = self.pick("batches", 0)
        broken = ("A", "2026-01-02", "grey", "straw", "9", "60", "1", "")
        if mended:
            rows[:] = [row for row in rows if row != broken]
        elif broken not in rows:
            rows.append(broken)

    @rule(table=TABLES, number=NUMBERS, at=NUMBERS)
    def split_or_rename_a_file(self, table: str, number: int, at: int) -> None:
        name, rows = self.free_name(table), self.pick(table, number)
        if name:
            self.files[table, name] = rows[at:]
            del rows[at:]
            if not rows:
                del self.files[next(key for key, mine in self.files.items() if mine is rows)]

    @rule(table=TABLES)
    def merge_the_files_of_a_table(self, table: str) -> None:
        first, *others = sorted(key for key in self.files if key[0] == table)
        for key in others:
            self.files[first] += self.files.pop(key)

    @rule(text=st.sampled_from(["", "new_flush_after_days = 4\n", "new_flush_after_days = 30\nnam = 'x'\n"]))
    def change_the_settings(self, text: str) -> None:
        self.farm_toml = text

    @precondition(lambda self: len(self.files) > len(CELLS))
    @rule(number=NUMBERS)
    def lose_a_file(self, number: int) -> None:
        spare = [key for key in sorted(self.files) if sum(key[0] == other for other, _ in self.files) > 1]
        del self.files[spare[number % len(spare)]]
        self.refresh_equals_rebuild()

    def rows_lost_with_their_file(self) -> int:
        """How many rows of files that are gone stand nowhere any more? A refresh must refuse to lose them."""
        lost = 0
        for (table, file), rows in self.accepted.items():
            if (table, file) not in self.files:
                before = Counter(row for (owner, _), mine in self.accepted.items() if owner == table for row in mine)
                now = Counter(row for (owner, _), mine in self.files.items() if owner == table for row in mine)
                lost += sum(max(0, before[row] - now[row]) for row in set(rows) if any(row))
        return lost

    @rule()
    def refresh_equals_rebuild(self) -> None:
        write_farm(self.folder, self.files, self.farm_toml)
        if self.rows_lost_with_their_file():
            before = (self.folder / "ledger.duckdb").read_bytes()
            with pytest.raises(OutOfReach, match="is gone"):
                refreshed(self.folder)
            assert (self.folder / "ledger.duckdb").read_bytes() == before
            self.files = copy.deepcopy(self.accepted)
            write_farm(self.folder, self.files, self.farm_toml)
        refreshed(self.folder)
        self.accepted = copy.deepcopy(self.files)
        with tempfile.TemporaryDirectory() as fresh:
            write_farm(Path(fresh), self.files, self.farm_toml)
            refreshed(Path(fresh))
            assert tables(self.folder) == tables(Path(fresh))


def test_after_any_edits_a_refresh_equals_a_rebuild() -> None:
    run_state_machine_as_test(Edits, settings=settings(QUICK, max_examples=6, stateful_step_count=12))  # type: ignore[no-untyped-call]


FARMS = st.fixed_dictionaries({table: st.lists(a_row(table), min_size=2, max_size=7) for table in CELLS})


def loaded(folder: Path, files: Files) -> dict[str, list[tuple[object, ...]]]:
    """The loaded tables without the columns that tell where a row stands."""
    write_farm(folder, files, "")
    refreshed(folder)
    found = {}
    for name, (columns, *rows) in tables(folder).items():
        if name in LOADED:
            kept = [at for at, column in enumerate(columns) if not column.endswith(("file", "row", "line"))]
            found[name] = sorted((tuple(row[at] for at in kept) for row in rows), key=repr)
    return found


@settings(QUICK, max_examples=6)
@given(farm=FARMS, order=st.randoms(use_true_random=False))
def test_row_order_and_file_split_do_not_matter(farm: dict[str, list[Row]], order: random.Random) -> None:
    with tempfile.TemporaryDirectory() as one, tempfile.TemporaryDirectory() as other:
        whole: Files = {(table, f"{table}.csv"): rows for table, rows in farm.items()}
        split: Files = {(table, name): [] for table in farm for name in names(table)}
        for table, rows in farm.items():
            for row in order.sample(rows, len(rows)):
                split[table, order.choice(names(table))].append(row)
        found = loaded(Path(one), whole)
        assert set(found) == set(LOADED)
        assert loaded(Path(other), split) == found


def yields_of(folder: Path, by: tuple[str, ...]) -> list[dict[str, Any]]:
    question = runner.Question(date(2026, 4, 1), by, through_flush=2)
    farm = open_farm(folder)
    with runner.open_ledger(farm.ledger) as con:
        runner.prepare(con, farm.settings, question)
        return runner.yields(con, question)


def thousandfold(table: str, row: Row) -> Row:
    """The same row, weighed in a unit a thousand times smaller."""
    cells = zip(CELLS[table], row, strict=True)
    numeric = {"-1", "-3"}.isdisjoint
    return tuple(
        str(Decimal(cell) * 1000) if name in MASSES and cell and cell != "full" and numeric({cell}) else cell
        for name, cell in cells
    )


@settings(QUICK, max_examples=6)
@given(farm=FARMS)
def test_ratios_do_not_depend_on_the_unit_of_mass_and_mass_in_is_mass_out(farm: dict[str, list[Row]]) -> None:
    with tempfile.TemporaryDirectory() as one, tempfile.TemporaryDirectory() as other:
        small = {table: [thousandfold(table, row) for row in rows] for table, rows in farm.items()}
        found = loaded(Path(one), {(table, f"{table}.csv"): rows for table, rows in farm.items()})
        loaded(Path(other), {(table, f"{table}.csv"): rows for table, rows in small.items()})
        weight = sum(row[1] for row in found["harvests"])  # type: ignore[misc]
        for by in ((), ("batch", "container"), ("strain", "kind")):
            kilograms, grams = yields_of(Path(one), by), yields_of(Path(other), by)
            assert sum(group["fresh_g"] for group in kilograms) == weight
            assert len(kilograms) == len(grams)
            for group, same in zip(kilograms, grams, strict=True):
                for name, value in group.items():
                    factor = 1000 if name.startswith("fresh_g") or name == "substrate_dry_g" else 1
                    scaled = value if isinstance(value, str) or value is None else float(value) * factor
                    assert same[name] == (pytest.approx(scaled, rel=1e-9) if isinstance(scaled, float) else scaled)
