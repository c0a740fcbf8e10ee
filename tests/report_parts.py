"""Of which parts the figures of a made-up month are: by recipe, strain and kind of container."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from report_months import Unit

Part = dict[str, Any]


def _whose(unit: Unit) -> Part:
    own = {"substrate": unit.substrate, "treatment": unit.treatment, "spawn_form": "grain", "strain": unit.strain}
    return own | {"kind": unit.kind if unit.container else None}


def months_by_kind(units: Sequence[Unit], before: Sequence[tuple[str, float]]) -> list[Part]:
    """A row a unit, and all of an earlier month as of the first unit's."""
    nothing = {"units_finished": 0, "units_lost": 0, "fresh_in_be_g": 0.0, "substrate_dry_g": 0.0}
    earlier = [
        {"month": name, **_whose(units[0]), "fresh_g": fresh, "pickings": 3, **nothing}
        for name, fresh in before
        if units and fresh
    ]
    now = [
        {"month": "2026-09", **_whose(each), "fresh_g": each.fresh_g, "pickings": len(each.flushes)}
        | {"units_finished": 1, "units_lost": int(each.lost)}
        | {"fresh_in_be_g": each.fresh_g if each.dry_g else 0.0, "substrate_dry_g": each.dry_g or 0.0}
        for each in units
    ]
    return earlier + now


def days_by_kind(units: Sequence[Unit], days: Sequence[Part]) -> list[Part]:
    """On each day with a picking, a row a unit that was picked."""
    whole = sum(each.fresh_g for each in units)
    return [
        {"day": row["day"], **_whose(each), "fresh_g": row["fresh_g"] * each.fresh_g / whole, "pickings": 1}
        for row in days
        if row["fresh_g"]
        for each in units
        if each.fresh_g
    ]


def by_batch(weeks: int, batches: Sequence[str], kg: float) -> list[Part]:
    """So many kg a week, of all batches alike."""
    each = kg / len(batches) if batches else 0.0
    return [{"week": 1 + at, "batch": name, "expected_kg": each} for at in range(weeks) for name in batches]
