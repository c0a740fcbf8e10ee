"""Cells of a comparison: sums and shares of units as columns, the same as told one unit at a time."""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from math import fsum
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.compare.columns import Cells
from pipeline.compare.factor_column import FactorColumn, counted
from pipeline.compare.pairs import levels_of
from pipeline.compare.parts import Parts
from pipeline.farm.folder import open_farm
from pipeline.ledger.refresh import refresh
from pipeline.models.compared_columns import Labels, Runs
from pipeline.models.compared_units import farm_units
from pipeline.models.view import opened
from tests.simulated_sites import cell

# Per unit: its part, the label and the number in its row (None where blank), and whether it counts.
UNITS = st.lists(
    st.tuples(
        st.integers(0, 3), st.sampled_from("abc"), st.none() | st.floats(1e-3, 1e6, allow_nan=False), st.booleans()
    ),
    min_size=1,
    max_size=40,
)
Unit = tuple[int, str, float | None, bool]


def parts_of(units: list[Unit]) -> tuple[Parts, Labels, np.ndarray, np.ndarray]:
    keys, texts, numbers, counts = zip(*units, strict=True)
    labels = Labels.of(texts)
    return Parts.of(np.array(keys)), labels, np.array(numbers, dtype=float), np.array(counts, dtype=bool)


@given(UNITS)
def test_sums_and_means_are_those_of_exact_sums(units: list[Unit]) -> None:
    parts, _, numbers, counts = parts_of(units)
    chosen = counts & ~np.isnan(numbers)
    keys = sorted({each[0] for each in units})
    own = [[each[2] for each in units if each[0] == key and each[3] and each[2] is not None] for key in keys]
    assert parts.sums(numbers, chosen).tolist() == pytest.approx([fsum(each) for each in own], rel=1e-15)
    known = [[each[2] for each in units if each[0] == key and each[2] is not None] for key in keys]
    means = [fsum(each) / len(each) if each else np.nan for each in known]
    assert parts.means(numbers).tolist() == pytest.approx(means, rel=1e-15, nan_ok=True)


@given(UNITS)
def test_runs_of_like_units_tell_what_their_units_tell(units: list[Unit]) -> None:
    units = sorted(units, key=lambda each: each[1])
    parts, labels, numbers, _ = parts_of(units)
    of_label = np.array([numbers[labels.codes == code][0] for code in range(len(labels.texts))])[labels.codes]
    runs = Runs.of(labels, {"weight": Labels.of([str(at) for at in range(len(units))]), "label": labels})
    assert "weight" not in runs.columns
    fewer = parts.alike(runs.codes)
    assert len(fewer.rows) <= len(parts.rows)
    whole, thin = (FactorColumn.of_parts(each, labels) for each in (parts, fewer))
    assert [whole.every[at] for at in whole.codes.tolist()] == [thin.every[at] for at in thin.codes.tolist()]
    assert fewer.means(of_label).tolist() == pytest.approx(parts.means(of_label).tolist(), rel=1e-15, nan_ok=True)
    assert [fewer.texts(labels).at(at) for at in range(len(parts.starts))] == [
        tuple(sorted({each[1] for each in units if each[0] == key})) for key in sorted({each[0] for each in units})
    ]


def test_units_that_are_not_chosen_are_in_no_part() -> None:
    parts = Parts.of(np.array([2, 1, 2, 1]), np.array([True, False, True, True]))
    assert parts.rows.tolist() == [3, 0, 2]
    assert parts.sizes.tolist() == [1, 2]


def test_tallies_are_exact() -> None:
    shares = [{"a": Fraction(1, 3), "b": Fraction(2, 3)}, {"a": 1}, {"a": Fraction(1, 3), "b": Fraction(2, 3)}]
    assert FactorColumn.of(shares).tally == {"a": Fraction(5, 3), "b": Fraction(4, 3)}


def test_cells_side_by_side_are_the_cells_that_were_given() -> None:
    given_cells = [cell("S1", "straw", 60.0, strain="grey"), cell("S2", "straw", 70.0, strain="pink")]
    both = Cells(given_cells)
    assert list(both) == given_cells
    assert list(both.where(both.values > 65)) == given_cells[1:]
    assert both.column("strain").labels == ("grey", "pink")
    (straw,) = levels_of(given_cells, ["straw"])
    assert (straw.used.soaks, list(straw.waiting)) == (["soak S1", "soak S2"], [])


def test_cells_of_fillings_are_the_texts_of_their_rows(tmp_path: Path) -> None:
    batches = ["batch,inoculated_on,substrate", *(f"B{at},2026-01-05,straw" for at in range(1, 5))]
    # B3 and B4 are weighed together: what their containers do not agree in is blank.
    fillings = ["batch,container,kind,fill_kg", "B1,K1,bucket,2.0", "B1,K2,,2", "B2,K3,bag,3.5"]
    fillings += ["B3,K4,bucket,2.00", "B3,K5,bucket,2", "B4,K6,bucket,5", "B4,K7,bag,"]
    (tmp_path / "harvests").mkdir()
    (tmp_path / "farm.toml").write_text("")
    (tmp_path / "batches.csv").write_text("\n".join(batches))
    (tmp_path / "fillings.csv").write_text("\n".join(fillings))
    picked = "picked_on,fresh_weight_g,batch\n2026-01-25,500,B3\n2026-01-25,500,B4\n"
    (tmp_path / "harvests" / "2026-01.csv").write_text(picked)
    farm = open_farm(tmp_path)
    refresh(farm, "test")
    with opened(farm.ledger, farm.settings) as ledger:
        units = farm_units(ledger, date(2026, 2, 1), 2).rows
        own = farm_units(ledger, date(2026, 2, 1), 2, measures=["days", "kg"]).rows
    # Of the measures asked for there is what there is among all.
    assert (list(own.parts), list(own.waits)) == (["days", "kg"], ["days"])
    assert own.unit.tolist() == units.unit.tolist() == sorted(units.unit.tolist())
    for name, each in own.parts.items():
        assert np.array_equal(each.over, units.parts[name].over)
        assert np.array_equal(each.under, units.parts[name].under, equal_nan=True)
    columns = [units.batches, units.cells["kind"], units.cells["fill_kg"]]
    cells = zip(*([each.texts[code] for code in each.codes] for each in columns), strict=True)
    # One number is one label, however it is written.
    assert sorted(cells) == [
        ("B1", "", "2"),
        ("B1", "bucket", "2"),
        ("B2", "bag", "3.5"),
        ("B3", "bucket", "2"),
        ("B4", "", ""),
    ]


def test_shares_of_any_denominators_are_counted_whole() -> None:
    primes = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47)
    column = FactorColumn.of([{"a": Fraction(1, each), "b": 1 - Fraction(1, each)} for each in primes])
    assert column.tally == {"a": sum(Fraction(1, each) for each in primes), "b": 15 - column.tally["a"]}
    assert counted(column) == {label: float(count) for label, count in column.tally.items()}


def test_alike_are_shares_and_not_numbers() -> None:
    column = FactorColumn.of(
        [{"a": 1}, {"b": 1}, {"a": 1}, {"a": 1}, {"b": 1}, {"b": 1}, {"c": Fraction(1, 2), "a": Fraction(1, 2)}]
    )
    few, many, other = (column.where(np.array(at)) for at in ([0, 1], [2, 3, 4, 5], [0, 2, 1]))
    assert few.has_shares_of(many)
    assert not few.has_shares_of(other)
    assert few.has_shares_of(FactorColumn.of([{"a": 1}, {"b": 1}]))
    assert not few.has_shares_of(column)


@given(st.lists(st.tuples(st.integers(-1, 3), st.integers(0, 5)), min_size=1, max_size=40))
def test_parts_in_the_order_of_soaks_are_those_of_their_keys(units: list[tuple[int, int]]) -> None:
    levels, soaks = (np.array(each) for each in zip(*units, strict=True))
    keys, known = levels * 6 + soaks, levels >= 0
    sorted_whole = Parts.of(keys, known)
    by_soak = Parts.within(np.argsort(soaks, kind="stable"), levels, keys, known)
    assert by_soak.rows.tolist() == sorted_whole.rows.tolist()
    assert by_soak.starts.tolist() == sorted_whole.starts.tolist()
