"""Result tables of estimates for the tests of the report: decline, pins, comparisons, spawn rates, what is to come."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

from report_parts import by_batch

from schemas.contract import contract

Rows = list[dict[str, Any]]
SOAKS_FOR_LIMITS = 2


def row_of(table: str, **told: Any) -> dict[str, Any]:
    """A row of this result table: what is told, and nothing in its other columns."""
    unknown = told.keys() - {*contract(table).names, *contract("batches").names}
    assert not unknown, f"{table} has no {unknown}"
    return dict.fromkeys(contract(table).names) | told


def estimates(kinds: Mapping[str, Sequence[tuple[str, int, int]]]) -> dict[str, Rows]:
    """Tables of growth by substrate: per substrate its soaks as (name, units, lost). Figures are made up."""
    found: dict[str, Rows] = {name: [] for name in ("declines", "pins", "pins_curve", "another_flush")}
    for substrate, soaks in kinds.items():
        units, lost = sum(n for _, n, _ in soaks), sum(n for _, _, n in soaks)
        limits = len(soaks) >= SOAKS_FOR_LIMITS
        kind = {"substrate": substrate}
        pinned = units - lost
        found["declines"].append(
            row_of("declines", **kind, soaks=len(soaks), flushes_used=1, decline_per_flush_pct=48.25)
            | (_limits("decline_per_flush", 40.5, 55.125, "_pct") if limits else {"why_no_decline": "one soak"})
        )
        half = 24 if 2 * pinned > units else None
        found["pins"].append(
            row_of("pins", **kind, soaks=len(soaks), units=units, pinned=pinned, lost=lost, waiting=0, units_unnoted=0)
            | {"median_days": half, "pinned_by_14_pct": 0.0, "pinned_by_21_pct": 20.0, "pinned_by_28_pct": 80.0}
            | {"why_no_interval": None if limits else "fewer than three soaks"}
            | ({"median_low_days": 23, "median_high_days": 26} if limits and half else {})
        )
        found["pins_curve"] += [_day(substrate, day, pinned, lost, units, limits) for day in range(29)]
        found["another_flush"].append(_another(substrate, len(soaks), limits))
    return found


def _limits(name: str, low: float, high: float, unit: str = "") -> dict[str, float]:
    return {f"{name}_low{unit}": low, f"{name}_high{unit}": high}


def _day(substrate: str, day: int, pinned: int, lost: int, units: int, limits: bool) -> dict[str, Any]:
    share = min(1.0, max(0.0, (day - 18) / 10)) * 100 * pinned / units
    ends = {"low_pct": 0.8 * share, "high_pct": min(100.0, 1.2 * share)} if limits else {}
    rest = {"day": day, "at_risk": units, "soaks": 1, "pinned_pct": share, "lost_pct": 100 * lost / units}
    return row_of("pins_curve", substrate=substrate, **rest) | ends


def _another(substrate: str, soaks: int, limits: bool) -> dict[str, Any]:
    told = {"flush": 2, "soaks": soaks, "units_waited": 4, "units_not_held": 1, "gave_pct": 75.0, "wait_days": 13.0}
    told |= {"wait_g": 210.0, "wait_g_per_day": 16.0, "new_g_per_day": 11.25, "difference_g_per_day": 4.75}
    ends = _limits("difference_g_per_day", 1.5, 8.0) | {"answer": "wait"}
    none = {"answer": "cannot tell", "why": "fewer than two soaks"}
    return row_of("another_flush", substrate=substrate, **told) | (ends if limits else none)


def compared(substrates: Sequence[str]) -> dict[str, Rows]:
    """Tables of the substrates compared, each with the next: the first pair holds, the second has no interval."""
    pairs = []
    for at, (against, level) in enumerate(pairwise(substrates)):
        told = at % 2 == 0
        row = row_of("compared_pairs", factor="substrate", measure="be", level=level, against=against, varies="between")
        row |= {"soaks": 4, "soaks_against": 4 if told else 1, "soaks_split": 0, "difference": 24.5 if told else -3.0}
        row |= {
            "smallest_effect": 10.0,
            "unit": "points",
            "verdict": "more, worth it or not" if told else "cannot tell",
        }
        row |= {"direction": "more" if told else "cannot tell", "worth": "open" if told else "cannot tell"}
        row |= {"low": 11.0, "high": 38.0, "p": 0.004, "minimum_detectable": 14.0} if told else {}
        sentence = f"{level} against {against}: {'more by 11 to 38 points' if told else 'cannot tell'}."
        pairs.append(row | {"rules": "R9" if told else "R1", "sentence": sentence})
    levels = [
        row_of("compared_levels", factor="substrate", measure="be", level=name, soaks=4, batches=4, units=16, unit="%")
        | {"units_without": 0, "soaks_not_yet": 1, "units_not_yet": 4, "estimate": 80.0, "of_sums": 79.5}
        for name in substrates
    ]
    spread = [
        row_of("trial_spread", part=part, variance_points2=sd**2, sd_points=sd, degrees=3, planned_sd_points=1.5 * sd)
        for part, sd in (("soak", 9.5), ("container", 30.25))
    ]
    return {"compared_pairs": pairs, "compared_levels": levels, "trial_spread": spread}


def rates(substrate: str, batches: Sequence[str]) -> dict[str, Rows]:
    """Tables of spawn rates of one recipe, its batches in turn at four rates."""
    kind = {"substrate": substrate, "supplement": "", "treatment": "cold_lime", "strain": "", "spawn_form": "grain"}
    tested = (5.0, 10.0, 20.0, 30.0)
    points = [
        row_of(
            "spawn_points", **kind, batch=batch, soak=batch, rate_wet_pct=tested[at % 4], level_wet_pct=tested[at % 4]
        )
        | {"units": 4, "known": True, "be_pct": 60.0 + at, "days_to_pins": 24.0, "lost_pct": 0.0}
        for at, batch in enumerate(batches)
    ]
    several = len({row["level_wet_pct"] for row in points}) > 1
    levels = [
        row_of("spawn_levels", **kind, rate_wet_pct=rate, soaks=1, batches=1, units=4, units_not_yet=0, be_pct=60.0)
        | {"units_without_dry_mass": 0, "pickings_set_aside": 0, "lost": 0, "lost_pct": 0.0}
        for rate in tested[: len(points)]
    ]
    step = row_of("spawn_steps", **kind, from_rate_wet_pct=5.0, to_rate_wet_pct=10.0, soaks_from=3, soaks_to=3)
    step |= {"soaks_both": 0, "design": "between", "be_difference_pct": 35.125, "be_difference_low_pct": -2.5}
    step |= {"be_difference_high_pct": 72.5, "extra_spawn_per_kg_dry": 0.17, "answer": "cannot tell"}
    step |= {"why": "anything from -2.0 to 5.0 fits", "next_step": "Split the next soaks."}
    best = row_of("spawn_best", **kind, rates=len(levels), of="be", answer="cannot tell", why="too few rates")
    curve = [
        row_of("spawn_curves", **kind, measure="be_pct", rate_wet_pct=rate, value=60 + rate, low=50.0, high=75 + rate)
        for rate in tested
    ]
    if not several:
        return {"spawn_points": points, "spawn_levels": levels}
    return {
        "spawn_points": points,
        "spawn_levels": levels,
        "spawn_steps": [step],
        "spawn_best": [best],
        "spawn_curves": curve,
    }


def ahead(last: date, batches: Sequence[str]) -> dict[str, Rows]:
    """Tables of four weeks ahead of this day, and of three past days."""
    ends = {"median_kg": 5.0, "low50_kg": 3.5, "high50_kg": 6.25, "low80_kg": 2.0, "high80_kg": 8.5}
    weeks = []
    for week in range(4):
        first = last + timedelta(days=7 * week + 1)
        told = {"week": week + 1, "first_day": first, "last_day": first + timedelta(days=6), "widened_by": 1.25}
        told |= {"running_kg": 4.0, "planned_kg": 1.0, "batches_without_donors": 1 if week else 0, "past_seen": 3}
        held = {"past_held_50_pct": 100 / 3, "past_held_80_pct": 200 / 3, "past_kg": 5.5, "past_off_kg": 1.75}
        weeks.append(row_of("outlook", **told, **ends, **held))
    past = []
    for day in range(3):
        on = last - timedelta(days=7 * (3 - day))
        told = {"foreseen_on": on, "week": 1, "first_day": on + timedelta(days=1), "last_day": on + timedelta(days=7)}
        past.append(row_of("outlook_past", **told, **ends, actual_kg=4.0 + day, held_80=True))
    of = [
        row_of("outlook_batches", batch=batch, state="running", inoculated_on=last, containers=4, substrate_dry_kg=4.0)
        | {"running_pct": 75.0, "donors": 5, "borrowed_from": "all batches", "weeks_known": 4, "expected_kg": 2.25}
        for batch in batches
    ]
    parts = by_batch(4, batches, 5.0)
    return {"outlook": weeks, "outlook_past": past, "outlook_batches": of, "outlook_by_batch": parts}
