"""Small farms of few values, drawn at random: keys meet, cells are faulty, rows are set aside, wait and are freed."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

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
CELLS |= {
    "prices": {
        "from_on": ["2026-01-01", "2026-02-01", ""],
        "item": ["fresh", "fresh", "spawn", "container_day", "rent"],
        "name": ["", "", "grey"],
        "buyer": ["", "inn"],
        "price": ["10", "12.5", "-1"],
        "per": ["kg", "kg", "lb", "day"],
    },
    "sales": {
        "sold_on": ["2026-01-25", "2026-02-21", "2026-02-21", "2025-12-31", ""],
        "weight_g": ["300", "250.5", "9000", "-3"],
        "buyer": ["inn", "", "market"],
        "price_per_kg": ["", "", "11"],
        "amount": ["", "", "3.3", "-1"],
        "kind": ["", "given", "returned", "lost"],
        "batch": ["A", "Z", "", ""],
        "picked_on": ["", "2026-02-20"],
        "entry": ["", "", "e1"],
    },
    "promises": {
        "due_on": ["2026-03-01", "2026-03-08", "Friday"],
        "buyer": ["inn", ""],
        "weight_g": ["1000", "2000", ""],
        "repeats": ["", "week", "month"],
        "until_on": ["", "2026-04-01", "2026-01-01"],
        "entry": ["", "", "e1"],
    },
}
MASSES = {"substrate_wet_kg", "spawn_kg", "fill_kg", "fresh_weight_g", "culled_g"}

Row = tuple[str, ...]
Key = tuple[str, str]
Files = dict[Key, list[Row]]  # (table, file) -> its rows; a row without any cell is a blank line

TABLES = st.sampled_from(sorted(CELLS))
NUMBERS = st.integers(0, 11)


def a_row(table: str) -> st.SearchStrategy[Row]:
    return st.tuples(*map(st.sampled_from, CELLS[table].values()))


def text_of(table: str, rows: list[Row]) -> str:
    return "\n".join([",".join(CELLS[table]), *(",".join(row) for row in rows)]) + "\n"


def write_farm(folder: Path, files: Files, farm_toml: str, broken: Mapping[Key, bytes] = {}) -> None:
    """Makes the folder hold these files, and touches only those that differ. `broken`: those that hold this instead."""
    (folder / "farm.toml").write_text(farm_toml, encoding="utf-8")
    for table in CELLS:
        (folder / table).mkdir(parents=True, exist_ok=True)
    wanted = {folder / key[1]: broken.get(key, text_of(key[0], rows).encode()) for key, rows in files.items()}
    for path in [*folder.glob("*.csv"), *(path for table in CELLS for path in (folder / table).glob("*.csv"))]:
        if path not in wanted:
            path.unlink()
    for path, content in wanted.items():
        if not path.exists() or path.read_bytes() != content:
            path.write_bytes(content)


def names(table: str) -> list[str]:
    return [f"{table}.csv", f"{table}/a.csv", f"{table}/b.csv"]
