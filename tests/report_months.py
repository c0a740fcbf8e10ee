"""Months for the tests of the report: result tables made from a few units, without a ledger, and the awkward ones."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cache
from typing import Any

from report_estimates import ahead, compared, estimates, rates, row_of
from report_parts import days_by_kind, months_by_kind

from reports.drawing import Chart
from reports.month import Month
from reports.page import charts, render
from schemas.finding import Finding

FIRST, LAST = date(2026, 9, 1), date(2026, 9, 30)
ENDS = {"low": 0.75, "high": 1.5}
STAGES = ("curled", "turned_down", "flat", "turned_up")


@dataclass(frozen=True)
class Unit:
    """A unit that finished in the month: masses in g of its flushes, and of its dry substrate (None: unknown)."""

    batch: str = "A"
    container: str = "1"
    strain: str = "grey"
    substrate: str = "straw"
    treatment: str = "cold_lime"
    flushes: tuple[float, ...] = (600.0, 300.0)
    dry_g: float | None = 1000.0
    soak: str = "S1"
    kind: str = "bucket"

    @property
    def fresh_g(self) -> float:
        return sum(self.flushes)

    @property
    def lost(self) -> bool:
        return not self.flushes


def a_month(units: Sequence[Unit] = (), before: Sequence[tuple[str, float]] = (), **other: Any) -> Month:
    """The month whose finished units these are; `before`: (month, g) of earlier months. `other`: parts of Month."""
    tables = {
        "months": _months(units, before),
        "weeks": _weeks(units),
        "picked_days": _days_of_month(units),
        "months_by_kind": months_by_kind(units, before),
        "days_by_kind": days_by_kind(units, _days_of_month(units)),
        "batch_courses": [_course(name, of) for (name,), of in _by(units, "batch").items()],
        "batch_pickings": [_batch_picking(name, of) for (name,), of in _by(units, "batch").items() if _fresh(of)],
        "batch_kinds": [_batch_kind(*key, of) for key, of in _by(units, "batch", "kind").items()],
        "picking_rows": [_picking_row(each, row) for row, each in enumerate(units, 2) if each.fresh_g],
        "today": [_due(each) for each in units if each.lost],
        "strains": _strains(units),
        "waiting_months": _waiting(_months(units, before)),
        "strains_begun": [{"strain": name, "first_on": FIRST} for (name,) in _by(units, "strain")],
        "finished_units": [_unit(each) for each in units],
        "finished_batches": [
            {"batch": batch, "substrate": of[0].substrate} | _counts(of) for (batch,), of in _by(units, "batch").items()
        ],
        "finished_recipes": [
            {"substrate": key[0], "treatment": key[1], "spawn_form": "grain"}
            | {"batches": len({each.batch for each in of})}
            | {"batches_in_be": len({each.batch for each in of if each.dry_g})}
            | _counts(of)
            for key, of in _by(units, "substrate", "treatment").items()
        ],
        "recipes": [_recipe(*key, of) for key, of in _by(units, "substrate", "treatment").items()],
        "flushes": [row for (name,), of in _by(units, "substrate").items() for row in _flushes(name, of)],
        "days": [row for (name,), of in _by(units, "substrate").items() for row in _days(name, of)],
        "losses": [_loss(*key, of) for key, of in _by(units, "substrate", "treatment").items()],
        "causes": [{"cause": "green_mould", "lost": n} for n in [sum(each.lost for each in units)] if n],
        "stages": _stages(units),
        "soaks": [_soak(name, of) for (name,), of in _by(units, "soak").items()],
    } | (_estimates(units) if units else {})
    return replace(Month("A farm", FIRST, LAST, "turned_up", tables, (), ()), **other)


def _estimates(units: Sequence[Unit]) -> dict[str, list[dict[str, Any]]]:
    substrates = {
        name: [(soak, len(own), sum(each.lost for each in own)) for (soak,), own in _by(of, "soak").items()]
        for (name,), of in _by(units, "substrate").items()
    }
    batches = list(dict.fromkeys(each.batch for each in units))
    first = next(iter(substrates))
    return estimates(substrates) | compared(list(substrates)) | rates(first, batches) | ahead(LAST, batches[:8])


def _by(units: Sequence[Unit], *columns: str) -> Mapping[tuple[str, ...], list[Unit]]:
    groups: dict[tuple[str, ...], list[Unit]] = {}
    for each in units:
        groups.setdefault(tuple(getattr(each, column) for column in columns), []).append(each)
    return groups


def _be(units: Sequence[Unit]) -> float | None:
    known = [each for each in units if each.dry_g]
    return 100 * sum(each.fresh_g for each in known) / sum(each.dry_g or 0 for each in known) if known else None


def _counts(units: Sequence[Unit]) -> dict[str, Any]:
    without = sum(1 for each in units if not each.dry_g)
    fresh = sum(each.fresh_g for each in units)
    dry = sum(each.dry_g or 0 for each in units) or None
    return {"units": len(units), "units_without_dry_mass": without, "fresh_g": fresh, "substrate_dry_g": dry} | {
        "be_pct": _be(units) or None
    }


def _recipe(substrate: str, treatment: str, units: Sequence[Unit]) -> dict[str, Any]:
    """A recipe; its interval, where it has one, is made up."""
    soaks, be = len({each.soak for each in units if each.dry_g}), _be(units) or None
    limits = (
        {"low_pct": 0.75 * be, "high_pct": 1.5 * be} if be and soaks > 2 else dict.fromkeys(("low_pct", "high_pct"))
    )
    why = None if limits["low_pct"] else "fewer than three soaks" if be else "no BE"
    return {
        "substrate": substrate,
        "treatment": treatment,
        "spawn_form": "grain",
        "soaks": soaks,
        "units": len(units),
    } | {
        "units_without_dry_mass": sum(1 for each in units if not each.dry_g),
        "contaminated_before_pick": sum(each.lost for each in units),
        "be_pct": be,
        **limits,
        "be_clean_pct": _be([each for each in units if not each.lost]) if be else None,
        "why_no_interval": why,
    }


def _unit(each: Unit) -> dict[str, Any]:
    return {
        "batch": each.batch,
        "container": each.container,
        "strain": each.strain,
        "substrate": each.substrate,
        "treatment": each.treatment,
        "spawn_form": "grain",
        "finished_on": LAST,
        "finished_by": "contaminated" if each.lost else "emptied",
        "fresh_g": each.fresh_g,
        "substrate_dry_g": each.dry_g,
        "be_pct": _be([each]),
        "contaminated_before_pick": each.lost,
        "kind": each.kind if each.container else "",
        "file": "fillings.csv",
        "row": 7,
    }


def _batch_kind(batch: str, kind: str, units: Sequence[Unit]) -> dict[str, Any]:
    first = units[0]
    own = {"strain": first.strain, "substrate": first.substrate, "treatment": first.treatment, "spawn_form": "grain"}
    where = {"containers": len(units), "file": "batches.csv", "row": 3}
    return {"batch": batch, "soak": first.soak} | own | {"kind": kind} | where


def _picking_row(unit: Unit, row: int) -> dict[str, Any]:
    own = {"batch": unit.batch, "container": unit.container, "picked_on": LAST, "fresh_g": unit.fresh_g}
    return own | {"file": "harvests.csv", "row": row}


def _months(units: Sequence[Unit], before: Sequence[tuple[str, float]]) -> list[dict[str, Any]]:
    lost = sum(each.lost for each in units)
    now = {"units_finished": len(units), "units_lost": lost, "be_finished_pct": _be(units) or None}
    nothing = {"units_finished": 0, "units_lost": 0, "be_finished_pct": None}
    told = [(name, fresh, nothing) for name, fresh in before]
    return [
        {"month": name, "fresh_g": fresh, "pickings": 3 if fresh else 0}
        | rest
        | {"units_inoculated": 2, "be_inoculated_pct": None}
        | {"picked_late_pct": 4.25 if fresh else None, "culled_pct": 1.5 if fresh else None}
        | dict.fromkeys(("sold_g", "revenue", "cost", "margin", "cost_per_kg", "lacks"))
        for name, fresh, rest in [*told, ("2026-09", sum(each.fresh_g for each in units), now)]
    ]


def _waiting(months: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Of each month that gave anything 250 g in one picking wait for a row of the batches."""
    return [
        {"month": row["month"], "pickings_waiting": 1, "waiting_g": 250.0, "rows_awaited": 1}
        | {"picked_and_waiting_g": row["fresh_g"] + 250.0, "awaited_file": "batches.csv"}
        for row in months
        if row["fresh_g"]
    ]


def _strains(units: Sequence[Unit]) -> list[dict[str, Any]]:
    whole = sum(each.fresh_g for each in units)
    told = [(name, sum(each.fresh_g for each in of), len(of)) for (name,), of in _by(units, "strain").items()]
    return [
        {"strain": name, "fresh_g": fresh, "pickings": n, "share_pct": 100 * fresh / whole}
        for name, fresh, n in sorted(told, key=lambda row: (-row[1], row[0]))
        if fresh
    ]


def _weeks(units: Sequence[Unit]) -> list[dict[str, Any]]:
    mondays = [date(2026, 8, 31) + timedelta(weeks=at) for at in range(5)]
    return [
        {"week": day, "strain": row["strain"], "fresh_g": row["fresh_g"] / 5, "pickings": 1}
        for day in mondays
        for row in sorted(_strains(units), key=lambda row: row["strain"])
    ]


def _fresh(units: Sequence[Unit]) -> float:
    return sum(each.fresh_g for each in units)


def _days_of_month(units: Sequence[Unit]) -> list[dict[str, Any]]:
    days = [FIRST + timedelta(days=at) for at in range((LAST - FIRST).days + 1)]
    picked = {FIRST + timedelta(days=at): _fresh(units) / 3 for at in (2, 3, 20)}
    return [{"day": day, "fresh_g": picked.get(day, 0.0), "pickings": 2 * (day in picked)} for day in days]


def _course(batch: str, units: Sequence[Unit]) -> dict[str, Any]:
    begun, fresh = FIRST - timedelta(days=40), _fresh(units)
    on = {"pins_on": begun + timedelta(days=20), "first_picked_on": begun + timedelta(days=24)} if fresh else {}
    days = {"colonised_on": None, "pins_on": None, "first_picked_on": None, "last_picked_on": LAST if fresh else None}
    return (
        {"batch": batch, "substrate": units[0].substrate, "soak": units[0].soak, "inoculated_on": begun}
        | days
        | on
        | {
            "ended_on": LAST,
            "units": len(units),
            "units_running": 0,
            "units_lost": sum(each.lost for each in units),
            "fresh_g": fresh,
        }
    )


def _batch_picking(batch: str, units: Sequence[Unit]) -> dict[str, Any]:
    return {"batch": batch, "picked_on": LAST, "fresh_g": _fresh(units), "flush": 1}


def _due(unit: Unit) -> dict[str, Any]:
    days = {"since": LAST - timedelta(days=3), "days": 3, "usual_days": None, "flush": None, "command": None}
    where = {"room": None, "position": None, "container": unit.container, "batch": unit.batch}
    return {"action": "look", "reason": "suspect"} | where | days


def _flushes(substrate: str, units: Sequence[Unit]) -> list[dict[str, Any]]:
    highest = max([1, *(len(each.flushes) for each in units)])
    fresh = [sum(each.flushes[at] for each in units if len(each.flushes) > at) for at in range(highest)]
    return [
        row_of("flushes", substrate=substrate, flush=at + 1, units_known=len(units), units_not_yet=at)
        | {"fresh_g": fresh[at], "share_pct": 100 * fresh[at] / sum(fresh) if sum(fresh) else None}
        | _decline(fresh, at)
        for at in range(highest)
    ]


def _decline(fresh: Sequence[float], at: int) -> dict[str, Any]:
    if not fresh[0]:
        return {"why_no_decline": "flush 1 gave nothing yet"}
    share = fresh[at] / fresh[0]
    told = {"decline_vs_first": share, "decline_started": share, "decline_gave": 1.25 * share if at else 1.0}
    if not at:
        return told
    limits = {f"decline_{name}_{end}": at_end * share for name in ("started", "gave") for end, at_end in ENDS.items()}
    return told | limits


def _days(substrate: str, units: Sequence[Unit]) -> list[dict[str, Any]]:
    n = sum(1 for each in units if not each.lost)
    told = {"mean_days": 21.25, "median_days": 21.0, "q1_days": 19.5, "q3_days": 23.0} if n else {}
    nothing = dict.fromkeys(("mean_days", "median_days", "q1_days", "q3_days"))
    waits = ("inoculated_to_colonised", "inoculated_to_pins", "flush_1_to_2", "cycle")
    rest = {"units_not_yet": 3, "units_lost": len(units) - n}
    return [{"substrate": substrate, "wait": wait, "n": n} | nothing | told | rest for wait in waits]


def _loss(substrate: str, treatment: str, units: Sequence[Unit]) -> dict[str, Any]:
    lost = [each for each in units if each.lost]
    soaks = {each.soak for each in units}
    interval = {"low_pct": 2.5, "high_pct": 40.0, "why_no_interval": None}
    none = {"low_pct": None, "high_pct": None, "why_no_interval": "fewer than three soaks"}
    return {
        "substrate": substrate,
        "treatment": treatment,
        "units": len(units) + 1,
        "units_not_yet": 1,
        "lost": len(lost),
        "lost_pct": 100 * len(lost) / len(units),
        "soaks": len(soaks),
        "soaks_with_loss": len({each.soak for each in lost}),
        "contaminated_before_pick": len(lost),
        "contaminated_after_pick": 0,
    } | (interval if len(soaks) > 2 else none)


def _soak(name: str, units: Sequence[Unit]) -> dict[str, Any]:
    lost = sum(each.lost for each in units)
    share = 100 * lost / len(units)
    return {"soak": name, "inoculated_on": date(2026, 6, 6), "units": len(units), "lost": lost, "lost_pct": share}


def _stages(units: Sequence[Unit]) -> list[dict[str, Any]]:
    whole = sum(each.fresh_g for each in units)
    shares = (10.0, 60.0, 20.0, 5.0, 5.0) if whole else (None,) * 5
    return [
        {"cap_stage": stage, "fresh_g": whole * (share or 0) / 100, "pickings": 1, "share_pct": share}
        | {"share_of_staged_pct": share / 0.95 if share and stage else None}
        for stage, share in zip((*STAGES, ""), shares, strict=True)
    ]


def found(level: str, row: int = 7, value: str | None = "3o0", waiting: int = 0, file: str = "harvests.csv") -> Finding:
    """A finding of this level."""
    parent = ("batches.csv", 3) if level == "waiting" else None
    texts = ("is not a number", "digits", "Write digits.")
    return Finding("harvests", file, row, "fresh_weight_g", "number", level, value, *texts, parent, waiting)


LONG = "Donaudampfschifffahrtsgesellschaftskapitän" * 5
# No mark of these may turn into markup, script, template, formula, direction or address.
HOSTILE = (
    "<script>window.hit = 1</script>",
    "</script><img src=x onerror='window.hit = 2'>",
    "{{7*7}}{% raw %}${7*7}",
    '"\' onmouseover="window.hit = 3" x=\'',
    "abc\u202egpj.exe\u2066\u2028\u0007",
    "\U0001f344 grey \u05d0\u05d1\u05d2",
    "datum['x'] || alert(1) //",
    "https://example.org/a?b=<&>",
    "__proto__",
    "]]><!--",
)


def _grid(batches: int, containers: int) -> list[Unit]:
    return [
        Unit(f"B{at:02}", f"{at}-{n}", f"strain {at % 7}", f"substrate {at % 4}", soak=f"S{at // 2:02}")
        if (at + n) % 5
        else Unit(
            f"B{at:02}", f"{at}-{n}", f"strain {at % 7}", f"substrate {at % 4}", flushes=(), soak=f"S{at // 2:02}"
        )
        for at in range(batches)
        for n in range(containers)
    ]


def _named(names: Sequence[str]) -> Month:
    units = [Unit(name, name, name, name, name, soak=name) for name in names]
    findings = [found("set_aside", at, name, 2, f"{name}.csv") for at, name in enumerate(names, 2)]
    waiting = [found("waiting", at, name) for at, name in enumerate(names, 20)]
    missing = [found("missing", at, name) for at, name in enumerate(names, 30)]
    return a_month(units, farm_name=names[0], findings=[*findings, *waiting], missing=missing)


CASES: Mapping[str, Callable[[], Month]] = {
    "no_tables": lambda: a_month(tables={}, farm_name=None),
    "empty_month": lambda: a_month(before=[("2026-08", 1200.0)]),
    "first_month": lambda: a_month(_grid(3, 4)),
    "one_batch": lambda: a_month(_grid(1, 4), before=[("2026-08", 1200.0)]),
    "one_container": lambda: a_month([Unit()], before=[("2026-08", 1200.0)]),
    "whole_batch": lambda: a_month([Unit(container="")], before=[("2025-09", 800.0), ("2026-08", 1200.0)]),
    "no_dry_mass": lambda: a_month([replace(each, dry_g=None) for each in _grid(3, 3)]),
    "sixty_batches": lambda: a_month(
        _grid(60, 3), before=[(f"{2024 + at // 12}-{at % 12 + 1:02}", 1000.0 * at) for at in range(8, 32)]
    ),
    "long_names": lambda: _named([LONG, f"{LONG} {LONG}"]),
    "hostile_names": lambda: _named(HOSTILE),
    "unfinished_month": lambda: a_month(_grid(2, 3), before=[("2026-08", 1200.0)], as_of=date(2026, 9, 14)),
}


@cache
def page_of(case: str) -> str:
    """The page of a case, made once for all tests."""
    return render(CASES[case]())


@cache
def charts_of(case: str) -> list[Chart]:
    """The charts of the page of a case, made once for all tests."""
    return charts(CASES[case]())
