"""Amounts, ranges of names, and ids of entries, each by itself."""

from __future__ import annotations

import time
from decimal import Decimal

import pytest

from pipeline.logbook.amounts import amount, in_unit
from pipeline.logbook.container_names import expand_ranges
from pipeline.logbook.entry_ids import entry_time_ms, new_entry_ids
from schemas.cell_format import CellFormat
from schemas.finding import WrongRequest


# What 14.5 of each is, by the definitions that tests/test_units.py cites.
@pytest.mark.parametrize(
    ("unit", "ours", "exact"),
    [
        ("g", "g", "14.5"),
        ("kg", "g", "14500"),
        ("lb", "g", "6577.089365"),
        ("oz", "g", "411.0680853125"),
        ("lb", "kg", "6.577089365"),
        ("gal", "L", "54.888470868"),
    ],
)
def test_units_are_as_they_are_defined(unit: str, ours: str, exact: str) -> None:
    mine = amount("weight", f"14.5 {unit}", ours, ours, CellFormat())
    assert mine.exact == Decimal(exact)
    word = {"gal": "US gal"}.get(unit, unit)
    assert in_unit(mine.exact, word, ours) == Decimal("14.5")


@pytest.mark.parametrize("ours", ["g", "kg"])
@pytest.mark.parametrize("unit", ["g", "kg", "lb", "oz"])
def test_what_is_written_in_another_unit_reads_as_what_was_typed(unit: str, ours: str) -> None:
    factor = amount("", f"1 {unit}", ours, ours, CellFormat()).exact
    for thousandths in (1, 7, 411_068, 510_291, 6_350_293, 999_999_999):
        grams = Decimal(thousandths) / 1000
        value = grams if ours == "g" else grams / 1000
        again = in_unit(value, unit, ours) * factor
        assert abs(again - value) * (1 if ours == "g" else 1000) < Decimal("0.0005")


def test_containers_are_named_one_by_one_or_as_a_range() -> None:
    known = ("7", "9", "B01", "B02", "B10", "left-2", "b")
    assert expand_ranges(["7", "9", "11-13", "7"], known) == ["7", "9", "11", "12", "13"]
    assert expand_ranges(["B01-B03", "b09-10"], known) == ["B01", "B02", "B03", "b09", "B10"]
    assert expand_ranges(["left-2", "B"], known) == ["left-2", "b"]
    for typed in ("20-11", "1-1000"):
        with pytest.raises(WrongRequest, match=f"{typed}: a range goes from the lower number to the higher"):
            expand_ranges([typed], known)


def test_ids_are_short_unique_and_sorted_by_time() -> None:
    now = time.time_ns() // 1_000_000
    calls = [new_entry_ids(now + at, 40) for at in range(50)]
    ids = [each for call in calls for each in call]
    assert len(set(ids)) == 2000
    assert {len(each) for each in ids} == {15}
    assert [entry_time_ms(call[0]) for call in calls] == [now + at for at in range(50)]
    assert sorted(calls, key=min) == calls
    assert [entry_time_ms(each) for each in ("", "p0123456789abcdef0123", "w1234", "wu00000000zzzzz")] == [None] * 4
