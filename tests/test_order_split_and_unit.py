"""Row order, file split and the unit of mass do not matter; mass in is mass out."""

from __future__ import annotations

import random
import tempfile
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ledgers import refreshed, tables
from small_farms import CELLS, MASSES, QUICK, Files, Row, a_row, names, write_farm

from pipeline.farm.folder import open_farm
from pipeline.models import measures
from pipeline.models.view import Query, opened

LOADED = ("batches", "fillings", "observations", "harvests")
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
    query = Query(date(2026, 4, 1), by, through_flush=2)
    farm = open_farm(folder)
    with opened(farm.ledger, farm.settings) as ledger:
        return measures.yields(ledger.view(query))


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
