"""After any sequence of edits, losses and repairs a refresh equals a rebuild, and no row is lost with its file."""

from __future__ import annotations

import copy
import shutil
import tempfile
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule, run_state_machine_as_test
from ledgers import NOW, Table, refreshed, tables
from small_farms import CELLS, QUICK, Files, Key, Row, a_row, names, write_farm

from pipeline.farm.folder import open_farm
from pipeline.ledger.forget import forget
from pipeline.ledger.history import last_states, read_history
from schemas.finding import UnreadableFile

TABLES = st.sampled_from(sorted(CELLS))
NUMBERS = st.integers(0, 11)
# Empty; not UTF-8; a quotation mark that never closes; another table's header.
GARBAGE = st.sampled_from([b"", b"batch\xff\n", b'batch,picked_on,seen_on,container\n"', b"bees,hives\n1,2\n"])


class Edits(RuleBasedStateMachine):
    """A grower edits, loses, breaks and mends files in every way; now and then the ledger is refreshed and held against
    a rebuilt one, and against the ledger of a farm in which the files that are gone or broken stand as last read well.
    """

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        self.files: Files = {}
        self.broken: dict[Key, bytes] = {}
        self.farm_toml = ""
        self.last_good: Files = {}
        self.given_up: set[Key] = set()

    def teardown(self) -> None:
        shutil.rmtree(self.folder)

    @initialize(data=st.data())
    def a_farm(self, data: st.DataObject) -> None:
        for table in CELLS:
            self.files[table, f"{table}.csv"] = data.draw(st.lists(a_row(table), min_size=3, max_size=6))
        self.refresh_equals_rebuild()

    def pick(self, table: str, number: int) -> list[Row]:
        mine = [rows for (owner, _), rows in sorted(self.files.items()) if owner == table]
        return mine[number % len(mine)] if mine else self.files.setdefault((table, f"{table}.csv"), [])

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
        rows, name = self.pick(table, number), self.free_name(table)
        if name:
            self.files[table, name] = rows[at:]
            del rows[at:]
            if not rows:
                self.lose(next(key for key, mine in self.files.items() if mine is rows))

    @rule(table=TABLES)
    def merge_the_files_of_a_table(self, table: str) -> None:
        first, *others = sorted(key for key in self.files if key[0] == table) or [None]
        for key in others:
            self.files[first] += self.files[key]
            self.lose(key)

    @rule(text=st.sampled_from(["", "new_flush_after_days = 4\n", "new_flush_after_days = 30\nnam = 'x'\n"]))
    def change_the_settings(self, text: str) -> None:
        self.farm_toml = text

    def lose(self, key: Key) -> None:
        del self.files[key]
        self.broken.pop(key, None)

    @rule(number=NUMBERS)
    def a_file_vanishes(self, number: int) -> None:
        if self.files:
            self.lose(sorted(self.files)[number % len(self.files)])
            self.refresh_equals_rebuild()

    @rule(number=NUMBERS, garbage=GARBAGE)
    def a_file_breaks(self, number: int, garbage: bytes) -> None:
        if self.files:
            self.broken[sorted(self.files)[number % len(self.files)]] = garbage
            self.refresh_equals_rebuild()

    @rule(number=NUMBERS)
    def a_file_is_mended(self, number: int) -> None:
        if self.broken:
            del self.broken[sorted(self.broken)[number % len(self.broken)]]

    @rule(number=NUMBERS)
    def a_file_is_restored(self, number: int) -> None:
        gone = sorted(set(self.last_good) - set(self.files))
        if gone:
            key = gone[number % len(gone)]
            self.files[key] = list(self.last_good[key])

    @rule(number=NUMBERS)
    def a_file_is_forgotten(self, number: int) -> None:
        gone = set(self.last_good) - set(self.files)
        hopeless = sorted(gone | (set(self.broken) - self.given_up))
        if hopeless:
            key = hopeless[number % len(hopeless)]
            write_farm(self.folder, self.files, self.farm_toml, self.broken)
            forget(open_farm(self.folder), key[1], NOW)
            self.last_good.pop(key, None)
            self.given_up |= {key} & set(self.broken)
            self.refresh_equals_rebuild()

    def stand_elsewhere(self, key: Key) -> bool:
        """Do all rows of a vanished file stand, as often, in files of its table that are there to be read?"""
        there = [rows for other, rows in self.files.items() if other[0] == key[0] and other not in self.broken]
        found = Counter(row for rows in there for row in rows)
        wanted = Counter(row for row in self.last_good[key] if any(row))
        return all(found[row] >= times for row, times in wanted.items())

    @rule()
    def refresh_equals_rebuild(self) -> None:
        write_farm(self.folder, self.files, self.farm_toml, self.broken)
        self.last_good |= copy.deepcopy({key: rows for key, rows in self.files.items() if key not in self.broken})
        never_read = set(self.broken) - set(self.last_good) - self.given_up
        if never_read:
            ledger = self.folder / "ledger.duckdb"
            before = ledger.read_bytes()
            with pytest.raises(UnreadableFile):
                refreshed(self.folder)
            assert ledger.read_bytes() == before
            self.broken = {key: garbage for key, garbage in self.broken.items() if key not in never_read}
            self.refresh_equals_rebuild()
            return
        refreshed(self.folder)
        self.given_up &= set(self.broken) - set(self.last_good)
        gone = {key for key in self.last_good if key not in self.files}
        for key in {key for key in gone if self.stand_elsewhere(key)}:
            del self.last_good[key]
        found = tables(self.folder)
        assert found == self.rebuilt()
        assert without_status(found, self.given_up) == without_status(self.with_the_last_good_files(), set())
        states = last_states(read_history(open_farm(self.folder)).records)
        assert sorted(states) == sorted((table, file) for table, file, *_ in found["files"][1:])

    def rebuilt(self) -> dict[str, Table]:
        with tempfile.TemporaryDirectory() as fresh:
            skipped = shutil.ignore_patterns("ledger.*")
            folder = shutil.copytree(self.folder, Path(fresh) / "farm", ignore=skipped)
            refreshed(folder)
            return tables(folder)

    def with_the_last_good_files(self) -> dict[str, Table]:
        with tempfile.TemporaryDirectory() as fresh:
            write_farm(Path(fresh), self.last_good, self.farm_toml)
            refreshed(Path(fresh))
            return tables(Path(fresh))


def without_status(found: dict[str, Table], given_up: set[Key]) -> dict[str, Table]:
    """All tables but those that tell how the files stand, and what is told of the files that were given up."""
    kept = {name: rows for name, rows in found.items() if name not in ("files", "meta")}
    kept["row_counts"] = [row for row in kept["row_counts"] if row[:2] not in given_up]
    return kept


def test_after_any_edits_a_refresh_equals_a_rebuild() -> None:
    run_state_machine_as_test(Edits, settings=settings(QUICK, max_examples=6, stateful_step_count=14))  # type: ignore[no-untyped-call]
