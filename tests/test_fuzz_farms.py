"""Whatever a farm's files hold, `gillbook check` ends as it says it does, without a traceback; no row is lost, and what
is loaded is what stands in the cells.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from conftest import Said
from fuzzed_farms import FuzzedFarm, Key, Standing, farm_tomls, farms, standings, told_of_cells
from fuzzed_files import mutated
from fuzzed_reading import Plain, faults, plainly_read
from fuzzed_settings import fuzzed
from hypothesis import strategies as st
from ledgers import here

from schemas.contract import INPUTS, contract


@contextmanager
def a_folder() -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as folder:
        yield Path(folder)


def checked(folder: Path, *words: str) -> Said:
    """What `gillbook check` says, which is never that it made a mistake."""
    said = here("check", "--farm", folder, "--as-of", "2026-06-01", *words)
    assert said.code in (0, 1, 2, 3)
    assert "made a mistake" not in said.err, (folder / "out" / "crash.txt").read_text(encoding="utf-8")
    assert "Traceback" not in said.err + said.out
    assert not (folder / "out" / "crash.txt").exists()
    return said


def must_add_up(plain: Plain, standing: Standing) -> None:
    """Each row that is not blank is loaded or listed as set aside, and the counts say so."""
    rows_in, loaded, aside, waiting, blank = standing.counts
    assert (rows_in, blank) == (len(plain.rows), len(plain.rows) - len(plain.filled))
    assert rows_in == loaded + aside + waiting + blank
    assert (loaded, aside + waiting) == (len(standing.loaded), len(standing.aside))
    assert sorted([*standing.loaded, *standing.aside]) == plain.filled


def must_be_as_written(key: Key, farm: FuzzedFarm, standing: Standing, filled: frozenset[str]) -> None:
    written, table = farm.files[key], contract(key[0])
    wrong = []
    for row in standing.loaded:
        values = told_of_cells(key, written, farm.own, row, standing, filled)
        wrong += faults(table, written.plain, farm.own, row, values, standing.found)
    assert not wrong, "\n".join(wrong)


@fuzzed(0.09, shrink=False, farm=farms(), words=st.sampled_from([(), ("--json",)]))
def test_of_a_whole_farm_no_row_is_lost_and_every_value_loaded_is_the_cells(
    farm: FuzzedFarm, words: tuple[str]
) -> None:
    with a_folder() as folder:
        farm.write(folder)
        said = checked(folder, *words)
        found = standings(folder)
        assert set(found) == set(farm.files)
        assert said.code == (1 if any(each.aside for each in found.values()) else 0)
        if words:
            assert {each["table"] for each in json.loads(said.out)} <= {*INPUTS}
        fillings = [each.loaded for (table, _), each in found.items() if table == "fillings"]
        filled = frozenset(row["batch"] for loaded in fillings for row in loaded.values())
        for key, standing in found.items():
            must_add_up(farm.files[key].plain, standing)
            must_be_as_written(key, farm, standing, filled)


@fuzzed(0.03, shrink=False, data=st.data(), farm=farms(10), number=st.integers(0, 7), known=st.booleans())
def test_a_file_of_any_bytes_is_read_whole_or_keeps_its_last_good_rows_or_stops_the_refresh(
    data: st.DataObject, farm: FuzzedFarm, number: int, known: bool
) -> None:
    keys = [key for key in sorted(farm.files) if not key[1].endswith(".xlsx")]
    broken = keys[number % len(keys)]
    with a_folder() as folder:
        farm.write(folder)
        if known:
            checked(folder)
        content = data.draw(mutated(farm.files[broken].data))
        (folder / broken[1]).write_bytes(content)
        said = checked(folder)
        if said.code == 3:
            assert not known
            assert said.err.rstrip().endswith("Nothing was refreshed.")
            return
        for key, standing in standings(folder).items():
            plain = farm.files[key].plain
            if key == broken and standing.stands == "present":
                read = plainly_read(content, standing.separator)
                assert read is not None
                plain = read
            must_add_up(plain, standing)


@fuzzed(0.06, toml=farm_tomls())
def test_any_farm_toml_is_understood_or_refused(toml: bytes) -> None:
    with a_folder() as folder:
        (folder / "harvests.csv").write_text(
            "picked_on,fresh_weight_g,container\n2026-01-05,412,B1\n", encoding="utf-8"
        )
        (folder / "log.csv").write_text("picked_on,fresh_weight_g,container\n2026-01-05,412,B1\n", encoding="utf-8")
        (folder / "farm.toml").write_bytes(toml)
        said = checked(folder)
        if said.code == 2:
            assert said.err.startswith("farm.toml")
