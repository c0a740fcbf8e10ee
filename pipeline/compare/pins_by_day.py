"""The share of units with pins by a day, put on each unit so that it is compared as any other measure is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

from pipeline.compare.factors import Levels

if TYPE_CHECKING:
    from pipeline.models.unit_arrays import Arrays

Row = Mapping[str, Any]

UNNOTED = "unnoted"
ROUNDING = 1e-9  # a pseudo-value that lies so near to 0 or 1 is it: what sums of floats leave


def with_pins_by(rows: Sequence[Row], of: Levels, day: int, as_of: date) -> list[Row]:
    """What does each unit say of the share with pins by `day`? The rows, their days_over (a pseudo-value: 1 had pins, 0
    had not, else what the others tell of one still waiting; it may lie beside 0 to 1), days_under and days_told anew.

    Pooled over the units compared, a loss ruling pins out; the mean over a soak is the soak's pseudo-value, as told by
    `pins.pinned_by_soak` (STATISTICS 2). A unit picked from without a note of its pins says what the noted ones of its
    batch do. At a level where nobody was followed to `day`, or all that are told fared alike, the waiting would add no
    more than a guess from the other levels, and no spread is no evidence: there, soaks younger than `day` wait.
    """
    table = [row for row in rows if row["pins_fate"] and row["unit"] in of.label_of]
    by_level: dict[str, list[Row]] = {}
    for row in table:
        by_level.setdefault(of.label_of[row["unit"]], []).append(row)
    alone = [row for own in by_level.values() if not _tells(own, day) for row in own]
    left_out = {row["unit"] for row in alone if (as_of - row["inoculated_on"]).days < day}
    apart = {row["unit"] for row in alone}
    value_of = _values([row for row in table if row["unit"] not in apart], day)
    value_of |= _values([row for row in alone if row["unit"] not in left_out], day)
    return [_told(row, value_of.get(row["unit"]), row["unit"] in left_out) for row in rows]


def _told(row: Row, value: float | None, left_out: bool) -> Row:
    counts = left_out or value is not None
    return {**row, "days_over": value or 0.0, "days_under": float(counts), "days_told": not left_out}


def _table(rows: Sequence[Row]) -> Arrays:
    import numpy as np

    return {
        "fate": np.array([row["pins_fate"] for row in rows], dtype=object),
        "days": np.array([row["pins_day"] for row in rows], dtype=float),
        "batch_line": np.array([row["pins_batch"] for row in rows], dtype=object),
        "soak_no": np.zeros(len(rows), dtype=int),
    }


def _tells(own: Sequence[Row], day: int) -> bool:
    """Do these units tell the share by `day`: was one followed so long, and did some have pins by then, some not?"""
    from pipeline.growth.pins import of_units

    own = [row for row in own if row["pins_fate"] != UNNOTED]
    with_pins = any(row["pins_fate"] == "pinned" and row["pins_day"] <= day for row in own)
    without = any(row["pins_fate"] == "lost" or row["pins_day"] > day for row in own)
    without = without or any(row["pins_fate"] == "waiting" and row["pins_day"] >= day for row in own)
    return with_pins and without and of_units(_table(own)).curve.covers(day)


def _values(kept: Sequence[Row], day: int) -> dict[str, float]:
    """The pseudo-value of each unit. Units of one day and fate say the same, so it is told once for them all."""
    import numpy as np

    from pipeline.growth.pins import of_units
    from pipeline.stats.incidence import pseudo_values

    pooled = of_units(_table(kept))
    if not len(pooled.days):
        return {}
    alike = (3 * pooled.days + pooled.ends).astype(int)
    told = pseudo_values(pooled.days, pooled.ends, alike, day, pooled.stands_for)
    noted = [row for row in kept if row["pins_fate"] != UNNOTED]
    found = {row["unit"]: _rounded(told[kind]) for row, kind in zip(noted, alike.tolist(), strict=True)}
    of_batch: dict[int, list[float]] = {}
    for row in noted:
        if row["pins_fate"] == "pinned":
            of_batch.setdefault(row["pins_batch"], []).append(found[row["unit"]])
    for row in kept:
        if row["pins_fate"] == UNNOTED and row["pins_batch"] in of_batch:
            found[row["unit"]] = float(np.mean(of_batch[row["pins_batch"]]))
    return found


def _rounded(value: float) -> float:
    whole = float(round(value))
    return whole if whole in (0.0, 1.0) and abs(value - whole) < ROUNDING else float(value)
