"""The units of a farm for a comparison: what each gave, and what went into it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import NamedTuple

from pipeline.models.flush_rule import FlushRule, flush_rule
from pipeline.models.view import Ledger, LedgerView, Query, Row
from schemas.answers import ComparedMeasure
from schemas.contract import ColumnRole, columns_with_role

# The columns of batches and fillings that can be compared: all that the contracts give a role.
COMPARED_COLUMNS = columns_with_role(*ColumnRole)
# What is compared beside them: % of wet substrate, the month of inoculation, the holes of the flush asked for.
SPAWN_RATE, MONTH, HOLES = "spawn_rate", "month", "holes"
# What can be compared as a share by a day: the measure of its days, and what its columns begin with.
WAITS = {ComparedMeasure.DAYS.value: "pins", ComparedMeasure.COLONISED.value: "colonised"}
# The columns of a unit's parts of each measure.
COLUMNS_OF_PARTS = {
    each.value: (f"{each.column}_over", f"{each.column}_under", f"{each.column}_resolved") for each in ComparedMeasure
}
# How the key of a soak without a name begins: the name of a batch follows.
NAMELESS = "batch "


class MeasureParts(NamedTuple):
    """What a unit adds to the two sums of a measure. under None: it has nothing to divide by, nor ever will; resolved:
    whether it is far enough to be compared.
    """

    over: float
    under: float | None
    resolved: bool


@dataclass(frozen=True)
class UnitWait:
    """How a unit stands to what it waits for: see unit_pinning.sql. day: to that fate; batch: the line of its batch."""

    fate: str
    day: float
    batch: int


@dataclass(frozen=True)
class UnitStart:
    """What starting a unit took: containers, and g of spawn and of dry substrate (None: unknown)."""

    containers: float
    spawn_g: float | None
    dry_g: float | None


@dataclass(frozen=True)
class ComparedUnit:
    """A unit: its soak (see soak_key of batches.sql), the text of each of its cells by column (blank where it has
    none), with its spawn rate, month and holes, and its parts of each measure. waits: by the measure of its days, how
    it stands to its pins and to being colonised; empty without a day of inoculation. start: None without that
    day, or a number of containers. size: kind and litres of its containers, see unit_sizes.sql. pickings,
    pickings_derived: how many it had, and those with a blank flush.
    """

    unit: str
    batch: str
    soak: str
    inoculated_on: date | None
    cells: Mapping[str, str]
    parts: Mapping[str, MeasureParts] = field(default_factory=dict)
    waits: Mapping[str, UnitWait] = field(default_factory=dict)
    start: UnitStart | None = None
    size: str = ""
    pickings: int = 0
    pickings_derived: int = 0


@dataclass(frozen=True)
class FarmUnits:
    """The units of a farm at a date, followed through a flush or to an age in days. look_gap: the usual days between
    two looks, None where there were none. rule: by which blank flush cells are numbered, None where all are written.
    """

    as_of: date
    through: int
    to_day: int | None
    rows: Sequence[ComparedUnit]
    look_gap: float | None
    rule: FlushRule | None = None


def farm_units(ledger: Ledger, as_of: date, through: int, to_day: int | None = None) -> FarmUnits:
    """Return all units of the farm as of a date, through a flush or, with to_day, to that age in days."""
    view = ledger.view(Query(as_of, COMPARED_COLUMNS, through))
    rows = compared_units(view, to_day)
    gaps = view.records("look_gap")
    gap = gaps[0]["gap"] if gaps else None
    return FarmUnits(as_of, through, to_day, rows, None if gap is None else float(gap), flush_rule(ledger))


def compared_units(view: LedgerView, to_day: int | None = None) -> list[ComparedUnit]:
    """Return the units of a view that is grouped by COMPARED_COLUMNS, in the order of their inoculation."""
    view.set_variables(to_day=to_day)
    groups = view.groups()
    return [_unit(record, groups[record["group_id"]]) for record in view.records("compared_units")]


def guessed_soaks(units: Sequence[ComparedUnit]) -> list[list[str]]:
    """Return the batches that count as one soak although none of them names it: one list per such soak, in order."""
    found: dict[str, set[str]] = {}
    for each in units:
        if each.soak.startswith(NAMELESS):
            found.setdefault(each.soak, set()).add(each.batch)
    return [sorted(batches) for _, batches in sorted(found.items()) if len(batches) > 1]


def _unit(record: Row, cells: Mapping[str, str]) -> ComparedUnit:
    rate = record["spawn_rate_pct"]
    return ComparedUnit(
        record["unit"],
        record["batch"],
        record["soak_key"],
        record["inoculated_on"],
        {
            **cells,
            SPAWN_RATE: "" if rate is None else repr(float(rate)),
            MONTH: record["month"] or "",
            HOLES: record["holes"] or "",
        },
        {
            name: MeasureParts(record[over], record[under], record[resolved])
            for name, (over, under, resolved) in COLUMNS_OF_PARTS.items()
        },
        {
            measure: UnitWait(record[f"{wait}_fate"], record[f"{wait}_day"], record["batch_line"])
            for measure, wait in WAITS.items()
            if record[f"{wait}_fate"]
        },
        UnitStart(record["start_containers"], record["start_spawn_g"], record["start_dry_g"])
        if record["start_containers"]
        else None,
        record["size"] or "",
        record["pickings"],
        record["pickings_derived"],
    )
