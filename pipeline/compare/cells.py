"""Collapse first: one value per soak and level. Containers are never compared, for those of one soak share its fate."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from math import fsum
from typing import Any

from pipeline.compare.factors import AMOUNTS, BESIDE, CHOICES, RUNS, Levels, cell, number
from pipeline.compare.measures import Measure
from pipeline.stats.two_levels import Design, design_of


@dataclass(frozen=True)
class Cell:
    """The units of one soak (a batch without one is its own) at one level, as one value.

    value: sum over sum, times the measure's scale; None while a unit is not far enough, or where none adds anything.
    over, under: the sums; units: those that add to them; units_without: far enough, but nothing to add; units_not_yet:
    not far enough. Where there is any, the whole cell waits: a soak counts by its age, never by which of its
    containers were quick. shares: of each choice and run, the share of units at each of its labels. means: of each
    amount, the mean over the units that have one.
    """

    soak: str
    level: str
    value: float | None
    over: float
    under: float
    batches: tuple[str, ...]
    units: int
    units_without: int
    units_not_yet: int
    started: date | None
    shares: Mapping[str, Mapping[str, Fraction]]
    means: Mapping[str, float]


def cells(rows: Iterable[Mapping[str, Any]], of: Levels, measure: Measure) -> list[Cell]:
    """Which cells do the units make? rows: one per unit, in the columns of compared_units.sql; units without a level
    are in no cell. In the order of levels, then of soaks.
    """
    grouped: dict[tuple[str, str], list[Mapping[str, Any]]] = {}
    for row in rows:
        if row["unit"] in of.label_of:
            grouped.setdefault((of.label_of[row["unit"]], row["soak_key"]), []).append(row)
    place = {level: at for at, level in enumerate(of.order)}
    ordered = sorted(grouped.items(), key=lambda each: (place[each[0][0]], each[0][1]))
    return [_cell(soak, level, own, measure) for (level, soak), own in ordered]


def _cell(soak: str, level: str, rows: Sequence[Mapping[str, Any]], measure: Measure) -> Cell:
    over, under, told = (f"{measure.name}_{part}" for part in ("over", "under", "told"))
    adding = [row for row in rows if row[told] and row[under]]
    waiting = [row for row in rows if not row[told] and row[under] is not None]
    # Sums of floats depend on their order, fsum does not: the order of rows never matters.
    top, bottom = fsum(row[over] for row in adding), fsum(row[under] for row in adding)
    # What went into it is told of the units that count, or will.
    own = adding or rows
    started = [row["inoculated_on"] for row in own if row["inoculated_on"]]
    return Cell(
        soak,
        level,
        measure.scale * top / bottom if bottom > 0 and not waiting else None,
        top,
        bottom,
        tuple(sorted({row["batch"] for row in rows})),
        len(adding),
        len(rows) - len(adding) - len(waiting),
        len(waiting),
        min(started, default=None),
        {name: _shares(own, name) for name in (*CHOICES, *RUNS)},
        {name: mean for name in (*AMOUNTS, *BESIDE) if (mean := _mean(own, name)) is not None},
    )


def _shares(rows: Sequence[Mapping[str, Any]], factor: str) -> dict[str, Fraction]:
    labels = [cell(row, factor) for row in rows]
    return {label: Fraction(labels.count(label), len(labels)) for label in sorted(set(labels))}


def _mean(rows: Sequence[Mapping[str, Any]], factor: str) -> float | None:
    told = [value for row in rows if (value := number(row, factor)) is not None]
    return fsum(told) / len(told) if told else None


def varies(used: Sequence[Cell]) -> Design:
    """Return where the factor varies. used: cells with a value."""
    soaks: dict[str, set[str]] = {}
    for each in used:
        soaks.setdefault(each.level, set()).add(each.soak)
    return design_of(list(soaks.values()))
