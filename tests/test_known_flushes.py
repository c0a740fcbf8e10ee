"""When each flush of each unit was known, and what it gave: as looking at each unit by itself says."""

import math

import numpy as np
import pytest

from pipeline.models.known_flushes import FlushPickings, FlushPins, FlushUnits, KnownFlushes, resolved

NAN = math.nan


def units(held: list[float], through: list[int], flushes: int = 3, lines: list[int] | None = None) -> FlushUnits:
    count = len(held)
    some, whole = np.ones(count), np.ones(count, dtype=np.int64)
    return FlushUnits(
        np.array(lines or range(count), dtype=np.uint64),
        *(whole, whole, 100 * some, some, some, some, np.zeros(count, dtype=bool)),
        np.array(held),
        np.array(through),
        *(flushes * whole, flushes * whole),
    )


def picked(rows: list[tuple[int, int, float, float, float, float]]) -> FlushPickings:
    """Rows of unit, flush, g, first and last age, settled age."""
    of = np.array(rows or np.zeros((0, 6)), dtype=float).T
    return FlushPickings(of[0].astype(np.uint64), of[1].astype(np.int64), *of[2:])


def pins(rows: list[tuple[int, int, float]]) -> FlushPins:
    of = np.array(rows or np.zeros((0, 3)), dtype=float).T
    return FlushPins(of[0].astype(np.uint64), of[1].astype(np.int64), of[2])


def ages(known: KnownFlushes) -> list[list[float | None]]:
    return [[None if math.isnan(age) else age for age in of] for of in known.resolved_age.tolist()]


def test_a_flush_is_known_on_the_first_day_that_tells_it() -> None:
    found = resolved(
        # By itself; by the flush after it; by pins of a flush that nobody picked yet; by its end; not yet.
        units([NAN, NAN, NAN, 50, NAN], [2, 1, 2, 32767, 0]),
        picked(
            [
                (0, 1, 500, 30, 31, 41),
                (0, 2, 200, 60, 61, 71),
                (1, 1, 500, 30, 31, 41),
                (1, 2, 200, 38, 39, NAN),
                (2, 2, 300, 45, 45, NAN),
                (3, 1, 400, 30, 55, NAN),
                (4, 1, 300, 30, 30, NAN),
            ]
        ),
        pins([(2, 4, 52), (2, 2, 40), (1, 3, 99)]),
    )
    assert ages(found) == [[41, 38, 40, 50, None], [71, None, 52, 50, None], [None, None, None, 50, None]]
    assert found.fresh_g.tolist() == [[500, 500, 0, 400, 300], [200, 200, 300, 0, 0], [0, 0, 0, 0, 0]]
    assert found.last_age[0].tolist() == pytest.approx([31, 31, NAN, 55, 30], nan_ok=True)
    # Of a unit that gave it or flush 1, the oldest.
    assert [found.oldest_resolved(flush) for flush in (1, 2, 3)] == [50, 71, 50]
    assert found.oldest_resolved(3, np.array([True, True, True, False, True])) == 0


@pytest.mark.parametrize("seed", range(5))
def test_all_units_together_are_as_each_alone(seed: int) -> None:
    dice = np.random.default_rng(seed)
    lines = dice.permutation(1000)[:30].tolist()
    held = np.where(dice.random(30) < 0.5, dice.integers(20, 90, 30), NAN)
    through = np.where(np.isnan(held), dice.integers(0, 4, 30), 32767)
    rows = [
        (line, flush, 100.0 * flush, float(first), float(first + 2), float(first + 12) if dice.random() < 0.5 else NAN)
        for line in lines
        for flush in range(1, 5)
        for first in dice.integers(20, 80, int(dice.random() < 0.6))
    ]
    seen = [(line, flush, float(dice.integers(20, 80))) for line in lines for flush in (2, 5) if dice.random() < 0.3]
    found = ages(resolved(units(held.tolist(), through.tolist(), 4, lines), picked(rows), pins(seen)))
    for at, line in enumerate(lines):
        for flush in range(1, 5):
            days = [held[at], *(row[5] for row in rows if row[:2] == (line, flush))]
            days += [row[3] for row in rows if row[0] == line and row[1] > flush]
            days += [age for unit, of, age in seen if unit == line and of > flush]
            told = [day for day in days if not math.isnan(day)]
            assert found[flush - 1][at] == (min(told, default=None) if through[at] >= flush else None)
